//go:build !unix && !windows

package benchstate

import (
	"errors"
	"os"
)

// tryLock: a bench is controlled from a machine whose locks are known.
func tryLock(*os.File) error { return errors.New("a bench can be locked on Unix and Windows only") }
