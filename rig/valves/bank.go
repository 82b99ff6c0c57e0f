package valves

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// Setter is a pressure regulator: it is told a gauge pressure.
type Setter interface {
	SetGaugePa(pa float64) error
	Close() error
}

// Options are the outputs of a bank.
type Options struct {
	Fill, Vent           Output
	FillMinOn, VentMinOn time.Duration // the shortest pulse that each follows
	Regulator            Setter        // nil: none
	RoomPa               float64       // Pa absolute, what a regulator's gauge pressure stands on
	Heartbeat            Output        // nil: none; it changes with each command, while fill and vent can be told
	Patience             time.Duration // for an output that does not come back; 0: 1 s
	DeadMan              time.Duration // an open fill without a further command is shut; 0: 2 s
	KeepVent             bool          // leave the vent as it stands until the first Drive: a run that goes on
}

// Bank is the valves of a bench. Its methods are for one goroutine, the loop's.
type Bank struct {
	fill, vent, beat *actuator
	regulator        *actuator
	roomPa           float64
	patience         time.Duration
	beatHigh         bool
	silent           bool
	closed           bool
}

// New takes over the outputs and puts them where nothing can happen: fill shut,
// vent open (unless it is kept as it stands), regulator at nothing.
func New(o Options) *Bank {
	if o.Patience == 0 {
		o.Patience = time.Second
	}
	if o.DeadMan == 0 {
		o.DeadMan = 2 * time.Second
	}
	b := &Bank{patience: o.Patience, roomPa: o.RoomPa}
	b.fill = (&actuator{name: "valve fill", out: o.Fill, minOn: o.FillMinOn, deadMan: o.DeadMan}).start()
	b.vent = (&actuator{name: "valve vent", out: o.Vent, minOn: o.VentMinOn}).start()
	if o.Heartbeat != nil {
		b.beat = (&actuator{name: "heartbeat", out: o.Heartbeat}).start()
	}
	if o.Regulator != nil {
		b.regulator = (&actuator{name: "regulator", setter: o.Regulator}).start()
		b.regulator.post(order{})
	}
	b.fill.post(order{})
	if !o.KeepVent {
		b.vent.post(order{open: true})
	}
	return b
}

// Drive posts where the valves are wanted: open for a pulse, or until the next
// call, and the absolute pressure that a regulator is to hold, 0 for none. The
// error is what is known to be wrong by now, one line; what is safe has been
// posted all the same.
func (b *Bank) Drive(fill, vent bool, pulse time.Duration, regulatePa float64) error {
	if b.closed {
		return errors.New("the valves were driven after they were closed")
	}
	var wrong error
	_, _, _, fillHung, fillErr := b.fill.state(b.patience)
	_, _, _, ventHung, ventErr := b.vent.state(b.patience)
	ventShut := b.vent.shut() // of a moment ago: a fill that must wait for it is opened by the next call
	if fill && vent {
		fill, wrong = false, errors.New("fill and vent were asked to be open together; the fill stays shut")
	}
	b.vent.post(order{open: vent, pulse: pulse})
	b.fill.post(order{open: fill && ventShut, pulse: pulse})
	err := errors.Join(fillErr, ventErr)
	if b.regulator != nil {
		b.regulator.post(order{gaugePa: b.gaugePa(regulatePa)})
		_, _, _, hung, rerr := b.regulator.state(b.patience)
		err, fillHung = errors.Join(err, rerr), fillHung || hung
	}
	if b.beat != nil {
		if !b.silent && !fillHung && !ventHung && fillErr == nil && ventErr == nil { // else let its relay take the valves' power
			b.beatHigh = !b.beatHigh
			b.beat.post(order{open: b.beatHigh})
		}
		_, _, _, _, berr := b.beat.state(b.patience)
		err = errors.Join(err, berr)
	}
	return first(wrong, err)
}

// Silence stops the heartbeat, or lets it go on: so that it can be seen what its
// relay does then. It is an error where there is none.
func (b *Bank) Silence(on bool) error {
	if b.beat == nil {
		return errors.New("there is no heartbeat")
	}
	b.silent = on
	return nil
}

// Hung says whether an output does not come back: the process should not tell
// any watchdog that all is well.
func (b *Bank) Hung() bool {
	_, _, _, fill, _ := b.fill.state(b.patience)
	_, _, _, vent, _ := b.vent.state(b.patience)
	return fill || vent
}

// VentOpen says whether the vent is known to have been told to stand open, and
// to stand there where its device reads back.
func (b *Bank) VentOpen() bool {
	open, known, settled, _, err := b.vent.state(b.patience)
	return open && known && settled && err == nil
}

// Close shuts the fill and opens the vent, waits until both have been taken and
// lets go of the outputs. It may be called again.
func (b *Bank) Close() error {
	if b.closed {
		return nil
	}
	b.closed = true
	b.fill.post(order{})
	b.vent.post(order{open: true})
	if b.regulator != nil {
		b.regulator.post(order{})
	}
	for deadline := time.Now().Add(b.patience); time.Now().Before(deadline) && !b.safe(); {
		time.Sleep(2 * time.Millisecond)
	}
	_, _, _, _, fillErr := b.fill.state(b.patience)
	_, _, _, _, ventErr := b.vent.state(b.patience)
	all := []error{fillErr, ventErr}
	if b.beat != nil {
		all = append(all, b.beat.stop(b.patience))
	}
	all = append(all, b.vent.stop(b.patience), b.fill.stop(b.patience))
	if b.regulator != nil {
		all = append(all, b.regulator.stop(b.patience))
	}
	return first(all...)
}

// safe says that nothing is left to be taken.
func (b *Bank) safe() bool {
	_, _, fill, _, _ := b.fill.state(b.patience)
	_, _, vent, _, _ := b.vent.state(b.patience)
	if b.regulator == nil || !fill || !vent {
		return fill && vent
	}
	_, _, settled, _, _ := b.regulator.state(b.patience)
	return settled
}

// gaugePa is what a regulator is set to for an absolute pressure; 0 for none.
func (b *Bank) gaugePa(absolutePa float64) float64 {
	if absolutePa <= 0 {
		return 0
	}
	return math.Max(0, absolutePa-b.roomPa)
}

// first makes one line of several errors: the first, and how many more.
func first(errs ...error) error {
	var found []error
	var walk func(error)
	walk = func(err error) {
		if joined, ok := err.(interface{ Unwrap() []error }); ok {
			for _, e := range joined.Unwrap() {
				walk(e)
			}
			return
		}
		if err != nil {
			found = append(found, err)
		}
	}
	for _, err := range errs {
		walk(err)
	}
	switch len(found) {
	case 0:
		return nil
	case 1:
		return found[0]
	}
	return fmt.Errorf("%w (and %d more)", found[0], len(found)-1)
}
