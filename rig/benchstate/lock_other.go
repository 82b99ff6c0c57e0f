//go:build !unix

package benchstate

import (
	"errors"
	"os"
)

// tryLock: a bench is controlled from a Unix machine.
func tryLock(*os.File) error { return errors.New("a bench can be locked on Unix only") }
