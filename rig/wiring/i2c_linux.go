package wiring

import (
	"fmt"
	"os"

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
	if _, missing := os.Stat("/dev/i2c-" + number); err != nil && missing != nil {
		return nil, fmt.Errorf("I2C bus %q is not there (/dev/i2c-%s): is it switched on, its kernel module i2c-dev loaded? proofpot sensors lists those that are", number, number)
	}
	if err != nil {
		return nil, fmt.Errorf("I2C bus %q cannot be opened: %w; is it switched on, and is the user in its group, often called i2c?", number, err)
	}
	return bus, nil
}
