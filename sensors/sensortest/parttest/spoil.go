package parttest

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"

	"proofpot/sensors/busguard"
)

// errNoAnswer is what an I2C bus says when nobody answers at an address.
var errNoAnswer = errors.New("remote I/O error")

// Spoiled plays traffic and spoils one transfer of it.
type Spoiled struct {
	i2ctest.Playback
	At  int                  // which transfer, from 0; negative: none
	How func(r []byte) error // does it to the bytes that are read; its error is the transfer's
}

// Play makes a bus that plays ops, and once: what is left of them is looked for
// by Close.
func Play(ops ...i2ctest.IO) *Spoiled {
	return &Spoiled{Playback: i2ctest.Playback{Ops: ops, DontPanic: true}, At: -1}
}

// SetSpeed implements i2c.Bus.
func (*Spoiled) SetSpeed(physic.Frequency) error { return nil }

// Tx implements i2c.Bus.
func (s *Spoiled) Tx(addr uint16, w, r []byte) error {
	at := s.Count
	if at == s.At {
		if err := s.How(nil); err != nil {
			return err
		}
	}
	if err := s.Playback.Tx(addr, w, r); err != nil {
		return err
	}
	if at == s.At {
		return s.How(r)
	}
	return nil
}

// EachTransfer plays ops again and again, and spoils every transfer of them in
// every way: nobody answers; it ends in the middle; it hangs until the guard of
// the bus gives up; each bit that is read is turned over once; all of them are 0,
// or 1. try uses the part on the bus once, from its start, and gives what it took
// for values. It must give none after a transfer that failed. After bytes that
// were altered it must give none either, unless open says that nothing protects
// that bit of that transfer. It is called in a bubble of synctest: waits take no
// time.
func EachTransfer(t *testing.T, ops []i2ctest.IO, try func(ctx context.Context, bus i2c.Bus) (values []float64, err error), open func(at, bit int) bool) {
	t.Helper()
	run := func(what string, at int, how func(r []byte) error, mayPass bool) {
		t.Helper()
		synctest.Test(t, func(t *testing.T) {
			played := Play(ops...)
			played.At, played.How = at, how
			guard := busguard.New("test", played, 0)
			values, err := try(t.Context(), guard)
			time.Sleep(time.Minute) // what hangs ends
			guard.Close()
			switch {
			case at < 0 && (err != nil || len(values) == 0):
				t.Fatalf("%s: %v %v", what, values, err)
			case at < 0:
				if err := played.Close(); err != nil {
					t.Fatalf("%s: %v", what, err)
				}
			case err == nil && len(values) > 0 && !mayPass:
				t.Fatalf("%s: it gives %v", what, values)
			}
		})
	}
	run("as recorded", -1, nil, false)
	for at, op := range ops {
		name := fmt.Sprintf("transfer %d (0x%02x, writes % x)", at, op.Addr, op.W)
		run(name+" is not answered", at, func([]byte) error { return errNoAnswer }, false)
		run(name+" hangs", at, func(r []byte) error {
			if r == nil {
				time.Sleep(30 * time.Second)
			}
			return nil
		}, false)
		if len(op.R) == 0 {
			continue
		}
		run(name+" ends in the middle", at, func(r []byte) error {
			if r == nil {
				return nil
			}
			clear(r[len(r)/2:])
			return errNoAnswer
		}, false)
		if open == nil || !open(at, -1) {
			for _, fill := range []byte{0, 0xFF} {
				if slices.ContainsFunc(op.R, func(b byte) bool { return b != fill }) {
					run(fmt.Sprintf("%s reads nothing but %02x", name, fill), at, func(r []byte) error {
						for i := range r {
							r[i] = fill
						}
						return nil
					}, false)
				}
			}
		}
		for bit := range 8 * len(op.R) {
			run(fmt.Sprintf("%s with bit %d turned over", name, bit), at, func(r []byte) error {
				if r != nil {
					r[bit/8] ^= 0x80 >> (bit % 8)
				}
				return nil
			}, open != nil && open(at, bit))
		}
	}
}
