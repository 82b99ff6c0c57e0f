//go:build unix

package fileline

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
	"golang.org/x/term"
)

// openWithoutWaiting opens a pipe whether or not somebody writes to it.
func openWithoutWaiting(path string) (*os.File, error) {
	return os.OpenFile(path, os.O_RDONLY|unix.O_NONBLOCK, 0)
}

// openInput makes standard input one that a read does not wait for for ever.
func openInput() (*Port, error) {
	fd := int(os.Stdin.Fd())
	if term.IsTerminal(fd) {
		return nil, errors.New("standard input is a terminal; a line-protocol sensor reads another program's output: LOGGER | proofpot …")
	}
	info, err := os.Stdin.Stat()
	if err != nil {
		return nil, err
	}
	if info.Mode().IsRegular() || info.Mode()&os.ModeCharDevice != 0 {
		return nil, errors.New("standard input is no pipe; it reads another program's output: LOGGER | proofpot …")
	}
	copied, err := unix.Dup(fd)
	if err != nil {
		return nil, err
	}
	if err := unix.SetNonblock(copied, true); err != nil {
		return nil, errors.Join(err, unix.Close(copied))
	}
	return &Port{file: os.NewFile(uintptr(copied), "standard input"), path: StandardInput, pipe: true, info: info, wait: waits}, nil
}
