//go:build !linux

package wiring

import (
	"fmt"
	"runtime"

	"periph.io/x/conn/v3/spi"
)

func openSPI(place string) (spi.PortCloser, error) {
	return nil, fmt.Errorf("SPI %q: %s gives programs no SPI; run the bench on Linux, or read the part with a microcontroller (driver serial-line)", place, runtime.GOOS)
}
