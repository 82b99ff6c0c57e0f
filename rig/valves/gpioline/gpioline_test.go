package gpioline

import (
	"errors"
	"strings"
	"testing"

	"proofpot/sensors/gpiochip"
)

// wire is a line without a kernel.
type wire struct {
	level       uint64
	setErr, got error
	closed      bool
}

func (w *wire) Set(bits, mask uint64) error {
	if w.setErr != nil {
		return w.setErr
	}
	if mask != 1 {
		return errors.New("another line was written")
	}
	w.level = bits
	return nil
}

func (w *wire) Get() (uint64, error) { return w.level, w.got }
func (w *wire) Close() error         { w.closed = true; return nil }

func TestAValveStandsWhereItsCoilPutsIt(t *testing.T) {
	for _, c := range []struct {
		o    Options
		open uint64 // of the line while the valve stands open
		what string
	}{
		{Options{OpenWithPower: true}, 1, "normally closed"},
		{Options{OpenWithPower: true, ActiveLow: true}, 0, "normally closed on an active-low board"},
		{Options{}, 0, "normally open"},
		{Options{ActiveLow: true}, 1, "normally open on an active-low board"},
	} {
		p := &wire{}
		out := New(p, c.o)
		for _, open := range []bool{true, false, true} {
			if err := out.Set(open); err != nil {
				t.Fatal(err)
			}
			if stands, known, err := out.Stands(); stands != open || !known || err != nil {
				t.Errorf("%s: set %v, stands %v, %v, %v", c.what, open, stands, known, err)
			}
			if (p.level == c.open) != open {
				t.Errorf("%s: open %v puts the line at %v", c.what, open, p.level)
			}
		}
		if err := out.Close(); err != nil || !p.closed {
			t.Error("the line is not given back")
		}
	}
}

func TestALineThatVanishesIsAnErrorAndNeverLow(t *testing.T) {
	gone := errors.New("no such device")
	p := &wire{setErr: gone, got: gone}
	out := New(p, Options{OpenWithPower: true})
	if err := out.Set(true); !errors.Is(err, gone) {
		t.Errorf("set: %v", err)
	}
	if _, known, err := out.Stands(); known || !errors.Is(err, gone) {
		t.Errorf("read back: known %v, %v", known, err)
	}
}

func TestAChipThatIsNotThereIsNamed(t *testing.T) {
	_, err := Open("gpiochip77", "17", Options{})
	if errors.Is(err, gpiochip.ErrNotHere) {
		t.Skip(err)
	}
	if err == nil || !strings.Contains(err.Error(), `GPIO chip "gpiochip77"`) || strings.Contains(err.Error(), "\n") {
		t.Errorf("%v", err)
	}
}
