package benchstate

import (
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/pelletier/go-toml/v2"
)

// Holder says who controls a bench.
type Holder struct {
	PID   int       `toml:"pid"`
	Since time.Time `toml:"since"`
	Verb  string    `toml:"verb"`
}

// HeldError is the error of a bench that another process controls.
type HeldError struct {
	Bench  string
	Holder Holder // zero where it does not say
}

// Error says who holds the bench.
func (e *HeldError) Error() string {
	if e.Holder.PID == 0 {
		return fmt.Sprintf("bench %s is controlled by another process", e.Bench)
	}
	return fmt.Sprintf("bench %s is controlled by process %d, proofpot %s, since %s; a bench has one controller",
		e.Bench, e.Holder.PID, e.Holder.Verb, e.Holder.Since.Format(time.RFC3339))
}

// Lock is the control of a bench.
type Lock struct{ f *os.File }

// errHeld is what tryLock gives for a lock that another process has.
var errHeld = errors.New("held")

// Lock takes control of the bench, or gives a *HeldError that says who has it.
func (d Dir) Lock(benchID, verb string, now time.Time) (*Lock, error) {
	f, err := os.OpenFile(d.Path(lockFile), os.O_RDWR|os.O_CREATE, 0o666)
	if err != nil {
		return nil, fmt.Errorf("the lock of bench %s: %w", benchID, err)
	}
	if err := tryLock(f); err != nil {
		defer f.Close()
		if !errors.Is(err, errHeld) {
			return nil, fmt.Errorf("the lock of bench %s: %w", benchID, err)
		}
		held := &HeldError{Bench: benchID}
		if data, err := os.ReadFile(d.Path(lockFile)); err == nil {
			_ = toml.Unmarshal(data, &held.Holder) // being written just now: then it does not say
		}
		return nil, held
	}
	data, err := toml.Marshal(Holder{os.Getpid(), now.UTC().Truncate(time.Second), verb})
	if err == nil {
		err = f.Truncate(0)
	}
	if err == nil {
		_, err = f.WriteAt(data, 0)
	}
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("the lock of bench %s: %w", benchID, err)
	}
	return &Lock{f}, nil
}

// Release gives the bench up.
func (l *Lock) Release() error {
	if l == nil {
		return nil
	}
	return errors.Join(l.f.Truncate(0), l.f.Close())
}
