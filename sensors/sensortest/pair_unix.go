//go:build unix

package sensortest

import (
	"os"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// openPair opens a pseudo-terminal pair whose master's writes have a deadline,
// which they do not have as the library opens it.
func openPair() (master, slave *os.File, err error) {
	blocking, slave, err := pty.Open()
	if err != nil {
		return nil, nil, err
	}
	defer blocking.Close()
	fd, err := unix.FcntlInt(blocking.Fd(), unix.F_DUPFD_CLOEXEC, 0)
	if err == nil {
		err = unix.SetNonblock(fd, true)
	}
	if err != nil {
		slave.Close()
		return nil, nil, err
	}
	return os.NewFile(uintptr(fd), blocking.Name()), slave, nil
}
