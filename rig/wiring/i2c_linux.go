package wiring

import (
	"fmt"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2creg"
	"periph.io/x/host/v3"
)

// openI2C opens /dev/i2c-N.
func openI2C(number string) (i2c.BusCloser, error) {
	if _, err := host.Init(); err != nil {
		return nil, err
	}
	bus, err := i2creg.Open(number)
	if err != nil {
		return nil, fmt.Errorf("I2C bus %q cannot be opened: %w; is it switched on, and is the user in its group, often called i2c?", number, err)
	}
	return bus, nil
}
