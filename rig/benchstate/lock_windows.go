package benchstate

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// lockAt is far behind the text of the file: a lock here keeps others from
// reading what it covers (LockFileEx).
const lockAt = 1 << 30

func tryLock(f *os.File) error {
	err := windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY,
		0, 1, 0, &windows.Overlapped{Offset: lockAt})
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return errHeld
	}
	return err
}
