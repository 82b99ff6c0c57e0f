//go:build unix

package serialport

import (
	"io"
	"os"

	"golang.org/x/sys/unix"
)

// hold takes the lock of a port: a second open file on it, not waiting for a
// carrier and not becoming the process's terminal.
func hold(path string) (io.Closer, error) {
	f, err := os.OpenFile(path, os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	raw, err := f.SyscallConn()
	if err == nil {
		var locked error
		err = raw.Control(func(fd uintptr) { locked = unix.Flock(int(fd), unix.LOCK_EX|unix.LOCK_NB) })
		if err == nil {
			err = locked
		}
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}
