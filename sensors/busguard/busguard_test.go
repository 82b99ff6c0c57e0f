package busguard

import (
	"errors"
	"io"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"
)

// fake is a bus that does what a test says.
type fake struct {
	tx    func(addr uint16, w, r []byte) error
	busy  atomic.Int32
	twice atomic.Bool
}

func (f *fake) String() string                  { return "fake" }
func (f *fake) SetSpeed(physic.Frequency) error { return nil }
func (f *fake) Tx(addr uint16, w, r []byte) error {
	if f.busy.Add(1) > 1 {
		f.twice.Store(true)
	}
	defer f.busy.Add(-1)
	return f.tx(addr, w, r)
}

func TestATransferGoesThroughAsItIs(t *testing.T) {
	played := &i2ctest.Playback{DontPanic: true, Ops: []i2ctest.IO{
		{Addr: 0x76, W: []byte{0xD0}, R: []byte{0x60}}, {Addr: 0x44, W: []byte{0x94}}, {Addr: 0x44, R: []byte{1, 2}},
	}}
	b := New("1", played, 0)
	defer b.Close()
	id, two := []byte{0}, []byte{0, 0}
	if err := errors.Join(b.Tx(0x76, []byte{0xD0}, id), b.Tx(0x44, []byte{0x94}, nil), b.Tx(0x44, nil, two)); err != nil {
		t.Fatal(err)
	}
	if id[0] != 0x60 || two[1] != 2 {
		t.Error(id, two)
	}
	if err := played.Close(); err != nil {
		t.Error(err)
	}
	if b.SetSpeed(physic.MegaHertz) == nil {
		t.Error("a part changed the speed of everybody's bus")
	}
}

func TestAFailedTransferNamesBusAndAddressAndLeavesNoBytes(t *testing.T) {
	b := New("1", &fake{tx: func(_ uint16, _, r []byte) error { r[0] = 0xAA; return io.ErrUnexpectedEOF }}, 0)
	defer b.Close()
	r := []byte{7}
	err := b.Tx(0x76, []byte{1}, r)
	if !errors.Is(err, io.ErrUnexpectedEOF) || !strings.Contains(err.Error(), "I2C bus 1, address 0x76") || r[0] != 7 {
		t.Error(err, r)
	}
}

func TestOneTransferAtATimeAndNoneInBetween(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var order []uint16 // touched by the bus alone
		f := &fake{}
		f.tx = func(addr uint16, _, _ []byte) error {
			time.Sleep(time.Millisecond)
			order = append(order, addr)
			return nil
		}
		b := New("1", f, 0)
		var all sync.WaitGroup
		for i := range 20 {
			all.Go(func() {
				if err := b.Together(func(bus i2c.Bus) error {
					return errors.Join(bus.Tx(uint16(i), []byte{1}, nil), bus.Tx(uint16(i), []byte{2}, nil))
				}); err != nil {
					t.Error(err)
				}
			})
		}
		all.Wait()
		if f.twice.Load() {
			t.Error("two transfers at once")
		}
		if len(order) != 40 {
			t.Fatal(len(order))
		}
		for i := 0; i < 40; i += 2 {
			if order[i] != order[i+1] {
				t.Errorf("%v came between what was to be done together", order)
			}
		}
		if err := errors.Join(b.Close(), b.Close()); err != nil {
			t.Error(err)
		}
		if err := b.Tx(1, []byte{1}, nil); !errors.Is(err, ErrClosed) {
			t.Error(err)
		}
	})
}

func TestABusThatHangsIsReportedAndComesBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		release := make(chan struct{})
		var free atomic.Bool
		f := &fake{}
		f.tx = func(_ uint16, _, r []byte) error {
			if !free.Load() {
				<-release
			}
			if len(r) > 0 {
				r[0] = 0x55
			}
			return nil
		}
		b := New("1", f, 0)
		r, start := []byte{7}, time.Now()
		err := b.Tx(0x76, []byte{1}, r)
		if took := time.Since(start); !errors.Is(err, ErrHangs) || took != Timeout {
			t.Fatalf("%v after %v", err, took)
		}
		if !strings.Contains(err.Error(), "address 0x76") {
			t.Error(err)
		}
		// The next ones do not wait, whoever asks.
		start = time.Now()
		if err := b.Tx(0x44, []byte{1}, r); !errors.Is(err, ErrHangs) || time.Since(start) != 0 {
			t.Errorf("%v after %v", err, time.Since(start))
		}
		free.Store(true)
		close(release)
		synctest.Wait()
		if r[0] != 7 {
			t.Error("bytes of a transfer that was given up reached its caller")
		}
		if err := b.Tx(0x76, []byte{1}, r); err != nil || r[0] != 0x55 {
			t.Error(err, r)
		}
		b.Close()
	})
}

func TestWhatIsDoneTogetherEndsWithTheTransferThatHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		release := make(chan struct{})
		var done atomic.Int32
		f := &fake{tx: func(uint16, []byte, []byte) error { done.Add(1); <-release; return nil }}
		b := New("1", f, time.Second)
		waiting := make(chan error)
		go func() {
			time.Sleep(time.Millisecond) // it has the turn by then
			waiting <- b.Tx(2, []byte{1}, nil)
		}()
		var later error
		err := b.Together(func(bus i2c.Bus) error {
			first := bus.Tx(1, []byte{1}, nil)
			later = bus.Tx(1, []byte{2}, nil)
			return first
		})
		if !errors.Is(err, ErrHangs) || !errors.Is(later, ErrHangs) || done.Load() != 1 {
			t.Error(err, later, done.Load())
		}
		if err := <-waiting; !errors.Is(err, ErrHangs) {
			t.Errorf("who waited for a turn: %v", err)
		}
		if err := b.Close(); !errors.Is(err, ErrHangs) {
			t.Errorf("closing: %v", err)
		}
		close(release)
	})
}

func TestABusyBusIsNotWaitedForWithoutEnd(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := New("1", &fake{tx: func(uint16, []byte, []byte) error { time.Sleep(900 * time.Millisecond); return nil }}, time.Second)
		var one, two error
		var all sync.WaitGroup
		all.Go(func() {
			one = b.Together(func(bus i2c.Bus) error {
				return errors.Join(bus.Tx(1, []byte{1}, nil), bus.Tx(1, []byte{1}, nil))
			})
		})
		all.Go(func() { time.Sleep(time.Millisecond); two = b.Tx(2, []byte{1}, nil) })
		all.Wait()
		if one != nil || two == nil || !strings.Contains(two.Error(), "busy") {
			t.Error(one, two)
		}
		b.Close()
	})
}

func TestAClosedBusDoesNothingMore(t *testing.T) {
	b := New("1", &fake{tx: func(uint16, []byte, []byte) error { return nil }}, 0)
	err := b.Together(func(bus i2c.Bus) error {
		b.Close()
		for bus.Tx(1, []byte{1}, nil) == nil { // the last one may still be taken
		}
		if bus.String() != "I2C bus 1" || bus.SetSpeed(physic.Hertz) == nil {
			t.Error(bus)
		}
		return bus.Tx(1, []byte{1}, nil)
	})
	if !errors.Is(err, ErrClosed) {
		t.Error(err)
	}
}
