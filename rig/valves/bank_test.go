package valves

import (
	"errors"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

// relay is a valve behind a device that can be made to fail and to hang.
type relay struct {
	mu              sync.Mutex
	open            bool
	blind           bool // cannot read back
	setErr, readErr error
	stuck           bool // takes commands, and does not move
	hang            chan struct{}
	opened          time.Duration // in all
	since           time.Time
	sets            int
	closed          bool
	gaugePa         float64
}

func (r *relay) Set(open bool) error {
	if r.hang != nil {
		<-r.hang
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.sets++
	if r.setErr != nil {
		return r.setErr
	}
	if r.stuck || open == r.open {
		return nil
	}
	if r.open = open; open {
		r.since = time.Now()
	} else {
		r.opened += time.Since(r.since)
	}
	return nil
}

func (r *relay) Stands() (bool, bool, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.open, !r.blind, r.readErr
}

func (r *relay) Close() error { r.closed = true; return nil }

func (r *relay) SetGaugePa(pa float64) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.gaugePa = pa
	return r.setErr
}

func (r *relay) isOpen() bool { r.mu.Lock(); defer r.mu.Unlock(); return r.open }

// bench gives a bank whose valves were told where they rest.
func bench(o Options) (*Bank, *relay, *relay) {
	fill, vent := &relay{}, &relay{}
	o.Fill, o.Vent = fill, vent
	b := New(o)
	synctest.Wait()
	return b, fill, vent
}

const period = 500 * time.Millisecond

func TestABankBeginsWithTheFillShutAndTheVentOpenAndEndsSo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, fill, vent := bench(Options{})
		if fill.isOpen() || !vent.isOpen() || !b.VentOpen() {
			t.Fatal("not at rest")
		}
		drive(t, b, false, false, 0)
		drive(t, b, true, false, 0)
		if !fill.isOpen() || vent.isOpen() {
			t.Fatal("not filling")
		}
		if err := b.Close(); err != nil || fill.isOpen() || !vent.isOpen() || !fill.closed || !vent.closed {
			t.Errorf("closed: fill open %v, vent open %v, let go %v %v, %v", fill.isOpen(), vent.isOpen(), fill.closed, vent.closed, err)
		}
		if b.Close() != nil || b.Drive(true, false, 0, 0) == nil {
			t.Error("a closed bank is driven")
		}
	})
}

// drive posts an order and lets a period pass; nothing may go wrong.
func drive(t *testing.T, b *Bank, fill, vent bool, pulse time.Duration) {
	t.Helper()
	if err := b.Drive(fill, vent, pulse, 0); err != nil {
		t.Error(err)
	}
	time.Sleep(period)
	synctest.Wait()
}

func TestTheFillWaitsForTheVentAndTheTwoAreNeverAskedOpenTogether(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, fill, vent := bench(Options{})
		defer b.Close()
		if err := b.Drive(true, false, 0, 0); err != nil {
			t.Fatal(err)
		}
		synctest.Wait()
		if fill.isOpen() {
			t.Error("the fill opened while the vent was not yet known to be shut")
		}
		drive(t, b, true, false, 0)
		if !fill.isOpen() {
			t.Error("the fill does not open once the vent is shut")
		}
		if err := b.Drive(true, true, 0, 0); err == nil || !strings.Contains(err.Error(), "open together") {
			t.Errorf("both: %v", err)
		}
		synctest.Wait()
		if fill.isOpen() || !vent.isOpen() {
			t.Error("asked for both, the fill must shut and the vent open")
		}
	})
}

func TestAPulseEndsByItself(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, fill, vent := bench(Options{FillMinOn: 40 * time.Millisecond})
		defer b.Close()
		drive(t, b, false, false, 0)
		drive(t, b, true, false, 120*time.Millisecond)
		drive(t, b, true, false, 10*time.Millisecond) // shorter than the valve follows
		if fill.isOpen() || fill.opened != 160*time.Millisecond {
			t.Errorf("the fill stood open for %v, and stands open: %v", fill.opened, fill.isOpen())
		}
		drive(t, b, false, true, 70*time.Millisecond)
		if vent.isOpen() {
			t.Error("a pulse of the vent does not end")
		}
		drive(t, b, false, true, 0)
		time.Sleep(time.Hour)
		if !vent.isOpen() {
			t.Error("an open vent shuts by itself")
		}
	})
}

func TestALoopThatHangsLeavesTheFillShutAndTheHeartbeatStill(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		beat := &relay{blind: true}
		b, fill, _ := bench(Options{Heartbeat: beat})
		defer b.Close()
		drive(t, b, false, false, 0)
		before := beat.isOpen()
		drive(t, b, true, false, 0)
		if beat.isOpen() == before {
			t.Error("the heartbeat does not change with a command")
		}
		sets := beat.sets
		time.Sleep(2 * time.Second) // no command any more
		synctest.Wait()
		if fill.isOpen() || beat.sets != sets {
			t.Errorf("without commands: fill open %v, %d beats", fill.isOpen(), beat.sets-sets)
		}
	})
}

func TestAnOutputThatHangsIsReportedTheOtherStillMovesAndTheHeartbeatStops(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		beat := &relay{}
		b, fill, vent := bench(Options{Heartbeat: beat})
		drive(t, b, false, false, 0)
		drive(t, b, true, false, 0)
		fill.hang = make(chan struct{})
		var err error
		for range 4 {
			if err = b.Drive(false, false, 0, 0); err != nil {
				break
			}
			time.Sleep(period)
		}
		if err == nil || !strings.Contains(err.Error(), "valve fill: no answer for") || !b.Hung() {
			t.Fatalf("a hung fill: %v", err)
		}
		sets := beat.sets
		_ = b.Drive(false, true, 0, 0)
		synctest.Wait()
		if !vent.isOpen() || beat.sets != sets {
			t.Errorf("vent open %v, %d beats while the fill hangs", vent.isOpen(), beat.sets-sets)
		}
		if err := b.Close(); err == nil || !strings.Contains(err.Error(), "valve fill") || fill.closed {
			t.Errorf("closed with a hung fill: %v", err)
		}
		close(fill.hang)
		time.Sleep(time.Second)
	})
}

func TestEveryFailureOfAnOutputIsReportedByTheNextCommand(t *testing.T) {
	gone := errors.New("no such device")
	for _, c := range []struct {
		what string
		harm func(*relay)
		want string
	}{
		{"a write that fails", func(r *relay) { r.setErr = gone }, "valve fill could not be told to be open: no such device"},
		{"a read-back that fails", func(r *relay) { r.readErr = gone }, "valve fill was told to be open and cannot be read back: no such device"},
		{"a relay that does not move", func(r *relay) { r.stuck = true }, "valve fill was told to be open and reads back shut"},
	} {
		synctest.Test(t, func(t *testing.T) {
			b, fill, _ := bench(Options{})
			defer b.Close()
			drive(t, b, false, false, 0)
			c.harm(fill)
			drive(t, b, true, false, 0)
			if err := b.Drive(false, true, 0, 0); err == nil || err.Error() != c.want {
				t.Errorf("%s: %v, want %s", c.what, err, c.want)
			}
		})
	}
}

func TestARelayBoardThatRestartsIsNoticed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, _, vent := bench(Options{})
		defer b.Close()
		drive(t, b, false, false, 0)
		vent.mu.Lock()
		vent.open = true // back at its rest
		vent.mu.Unlock()
		drive(t, b, false, false, 0)
		if err := b.Drive(false, false, 0, 0); err == nil || !strings.Contains(err.Error(), "valve vent was shut and stands open") {
			t.Errorf("%v", err)
		}
	})
}

func TestARegulatorFollowsAboveTheRoomAndIsSetToNothingAtTheEnd(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := &relay{}
		b, _, _ := bench(Options{Regulator: r, RoomPa: 98000})
		for _, c := range []struct{ absolute, gauge float64 }{{398000, 300000}, {0, 0}, {90000, 0}, {498000, 400000}} {
			if err := b.Drive(false, false, 0, c.absolute); err != nil {
				t.Error(err)
			}
			synctest.Wait()
			if r.gaugePa != c.gauge {
				t.Errorf("%v Pa absolute sets %v Pa gauge", c.absolute, r.gaugePa)
			}
		}
		r.setErr = errors.New("remote I/O error")
		_ = b.Drive(false, false, 0, 398000)
		synctest.Wait()
		if err := b.Drive(false, false, 0, 398000); err == nil || !strings.Contains(err.Error(), "regulator could not be set to 300000 Pa gauge") {
			t.Errorf("%v", err)
		}
		r.setErr = nil
		_ = b.Close()
		if r.gaugePa != 0 || !r.closed {
			t.Errorf("left at %v Pa", r.gaugePa)
		}
	})
}

func TestARunThatGoesOnLeavesTheVentAsItStands(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, fill, vent := bench(Options{KeepVent: true})
		if fill.sets != 1 || vent.sets != 0 {
			t.Errorf("the fill was told %d times, the vent %d", fill.sets, vent.sets)
		}
		drive(t, b, false, true, 0)
		if !vent.isOpen() {
			t.Error("the vent does not open")
		}
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	})
}

// TestAValveThatCannotBeToldLosesItsPower: where its board does not answer, only
// the watchdog relay can shut a fill, and it must not be held.
func TestAValveThatCannotBeToldLosesItsPower(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		beat := &relay{blind: true}
		b, fill, _ := bench(Options{Heartbeat: beat})
		drive(t, b, false, false, 0)
		drive(t, b, true, false, 0)
		fill.mu.Lock()
		fill.setErr = errors.New("no answer")
		fill.mu.Unlock()
		_ = b.Drive(false, true, 0, 0)
		synctest.Wait()
		sets := beat.sets
		for range 4 {
			if err := b.Drive(false, true, 0, 0); err == nil {
				t.Error("a fill that cannot be told is not reported")
			}
			time.Sleep(period)
			synctest.Wait()
		}
		if beat.sets != sets {
			t.Errorf("%d beats while the fill cannot be told", beat.sets-sets)
		}
		fill.mu.Lock()
		fill.setErr = nil
		fill.mu.Unlock()
		b.Close()
	})
}

// board is a relay that ends a pulse by itself.
type board struct {
	relay
	pulses []time.Duration
}

func (b *board) EndsPulses() bool { return true }

func (b *board) Pulse(d time.Duration) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.pulses = append(b.pulses, d)
	return b.setErr
}

// TestWhereABoardEndsItsPulsesTheFillIsOpenedByNothingElse: not even for a fill
// that is to stand open until the next call.
func TestWhereABoardEndsItsPulsesTheFillIsOpenedByNothingElse(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		fill, vent := &board{}, &relay{}
		b := New(Options{Fill: fill, Vent: vent, FillMinOn: 40 * time.Millisecond, DeadMan: 1500 * time.Millisecond})
		synctest.Wait()
		drive(t, b, false, false, 0)
		drive(t, b, false, false, 0)
		for _, pulse := range []time.Duration{300 * time.Millisecond, 10 * time.Millisecond, 0} {
			drive(t, b, true, false, pulse)
		}
		drive(t, b, false, false, 0)
		fill.mu.Lock()
		if len(fill.pulses) < 3 || fill.pulses[0] != 300*time.Millisecond || fill.pulses[1] != 40*time.Millisecond || fill.pulses[len(fill.pulses)-1] != 1500*time.Millisecond || fill.open {
			t.Errorf("pulses of %v, set open %v", fill.pulses, fill.open)
		}
		fill.setErr = errors.New("no answer")
		fill.mu.Unlock()
		_ = b.Drive(true, false, 300*time.Millisecond, 0)
		synctest.Wait()
		if err := b.Drive(false, true, 0, 0); err == nil || !strings.Contains(err.Error(), "valve fill could not be told to open for 300ms: no answer") {
			t.Error(err)
		}
		fill.mu.Lock()
		fill.setErr = nil
		fill.mu.Unlock()
		b.Close()
	})
}

func TestAHeartbeatThatIsSilencedStandsStillAndGoesOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		beat := &relay{blind: true}
		b, _, _ := bench(Options{Heartbeat: beat})
		defer b.Close()
		drive(t, b, false, false, 0)
		if err := b.Silence(true); err != nil {
			t.Fatal(err)
		}
		sets := beat.sets
		drive(t, b, false, false, 0)
		if beat.sets != sets {
			t.Error("it beats on")
		}
		if err := b.Silence(false); err != nil {
			t.Fatal(err)
		}
		if drive(t, b, false, false, 0); beat.sets != sets+1 {
			t.Error("it does not go on")
		}
		none, _, _ := bench(Options{})
		defer none.Close()
		if none.Silence(true) == nil {
			t.Error("a heartbeat that is not there is silenced")
		}
	})
}
