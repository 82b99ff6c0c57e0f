//go:build !unix

package fileline

import (
	"errors"
	"os"
)

func openWithoutWaiting(path string) (*os.File, error) { return os.Open(path) }

func openInput() (*Port, error) {
	return nil, errors.New("standard input cannot be read as a sensor here; use a file")
}
