//go:build !linux

package wiring

import (
	"fmt"
	"runtime"

	"periph.io/x/conn/v3/onewire"
)

func openOneWire(number string) (onewire.BusCloser, error) {
	return nil, fmt.Errorf("1-Wire bus %q: %s gives programs no 1-Wire bus; run the bench on Linux, or read the parts with a microcontroller (driver serial-line)", number, runtime.GOOS)
}
