//go:build unix

package record

import (
	"os"

	"golang.org/x/sys/unix"
)

// lock keeps two processes from writing one record. The lock ends with the process.
func lock(f *os.File) error { return unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB) }
