//go:build !unix

package sensortest

import (
	"fmt"
	"os"
	"runtime"
)

func openPair() (master, slave *os.File, err error) {
	return nil, nil, fmt.Errorf("an emulated serial port needs a pseudo-terminal, which %s has not", runtime.GOOS)
}
