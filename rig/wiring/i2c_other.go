//go:build !linux

package wiring

import (
	"fmt"
	"runtime"

	"periph.io/x/conn/v3/i2c"
)

func openI2C(number string) (i2c.BusCloser, error) {
	return nil, fmt.Errorf("I2C bus %q: %s gives programs no I2C bus; run the bench on Linux, or read the parts with a microcontroller (driver serial-line)", number, runtime.GOOS)
}
