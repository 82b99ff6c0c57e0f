package wiring

import (
	"fmt"
	"os"

	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spireg"
	"periph.io/x/host/v3"
)

// openSPI opens /dev/spidevN.M.
func openSPI(place string) (spi.PortCloser, error) {
	if _, err := host.Init(); err != nil {
		return nil, err
	}
	if _, err := os.Stat("/dev/spidev" + place); err != nil {
		return nil, fmt.Errorf("SPI %q is not there (/dev/spidev%s): is it switched on, and is this its bus and chip select?", place, place)
	}
	port, err := spireg.Open("/dev/spidev" + place)
	if err != nil {
		return nil, fmt.Errorf("SPI %q cannot be opened: %w; is it switched on, and is the user in its group, often called spi?", place, err)
	}
	return port, nil
}
