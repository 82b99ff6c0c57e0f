package record

import (
	"os"

	"golang.org/x/sys/windows"
)

// lock keeps two processes from writing one record. It covers the last byte that
// a file can have, so that others may read (LockFileEx). It ends with the process.
func lock(f *os.File) error {
	return windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY,
		0, 1, 0, &windows.Overlapped{Offset: ^uint32(0), OffsetHigh: 1<<31 - 1})
}
