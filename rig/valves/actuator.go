package valves

import (
	"fmt"
	"sync"
	"time"
)

// Output is one valve as its device gives it. Its calls may hang: each output is
// called from one goroutine that nothing waits for.
type Output interface {
	// Set opens or shuts the valve. It returns when the device has taken it.
	Set(open bool) error
	// Stands reads back where the output stands; known is false where the device
	// cannot tell.
	Stands() (open, known bool, err error)
	// Close lets go of the output as it stands.
	Close() error
}

// Pulser is an output whose device shuts it by itself after a time, where it says
// so: it needs nobody who is still alive then.
type Pulser interface {
	EndsPulses() bool
	Pulse(d time.Duration) error
}

// order is what an actuator is to do.
type order struct {
	open    bool
	pulse   time.Duration // open for so long, then shut; 0: until the next order
	gaugePa float64       // of a regulator
}

// actuator carries out the last order that was posted, in a goroutine of its own.
type actuator struct {
	name    string
	out     Output
	setter  Setter // of a regulator, instead of out
	minOn   time.Duration
	deadMan time.Duration // an open output without a further order is shut after so long; 0: never
	wake    chan struct{}
	quit    chan struct{}
	ended   chan struct{}

	mu     sync.Mutex
	next   order     // the last that was posted
	now    order     // the one under way, while busy
	posted uint64    // orders posted
	done   uint64    // the last one that was carried out
	busy   time.Time // since when a call is under way; zero: none is
	open   bool      // as last set
	known  bool      // it has been set
	err    error     // of the last call
}

func (a *actuator) start() *actuator {
	a.wake, a.quit, a.ended = make(chan struct{}, 1), make(chan struct{}), make(chan struct{})
	go a.run()
	return a
}

// post hands over an order. It never waits; an order that was not begun yet is
// replaced.
func (a *actuator) post(o order) {
	a.mu.Lock()
	a.next = o
	a.posted++
	a.mu.Unlock()
	select {
	case a.wake <- struct{}{}:
	default:
	}
}

// state says what is known: err is what the last call gave, or that one hangs.
func (a *actuator) state(patience time.Duration) (open, known, settled, hung bool, err error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	err = a.err
	if !a.busy.IsZero() && time.Since(a.busy) > patience {
		hung = true
		err = fmt.Errorf("%s: no answer for %s; it may stand anywhere", a.name, time.Since(a.busy).Round(100*time.Millisecond))
	}
	return a.open, a.known, a.done == a.posted && a.busy.IsZero(), hung, err
}

// shut says that the output is known to stand shut, and that nothing which was
// posted will open it.
func (a *actuator) shut() bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.known && !a.open && !a.next.open && (a.busy.IsZero() || !a.now.open)
}

func (a *actuator) run() {
	defer close(a.ended)
	var shutAt <-chan time.Time
	for {
		var o order
		var n uint64
		select {
		case <-a.quit:
			return
		case <-a.wake:
			a.mu.Lock()
			o, n = a.next, a.posted
			a.mu.Unlock()
		case <-shutAt: // a pulse is over, or nobody gives orders any more
			a.mu.Lock()
			n = a.done
			a.mu.Unlock()
		}
		shutAt = nil
		err := a.move(o)
		a.mu.Lock()
		a.done, a.err = n, err
		a.mu.Unlock()
		switch {
		case !o.open || err != nil:
		case o.pulse > 0:
			shutAt = time.After(max(o.pulse, a.minOn))
		case a.deadMan > 0:
			shutAt = time.After(a.deadMan)
		}
	}
}

// move carries out one order and reads back what came of it.
func (a *actuator) move(o order) error {
	a.mu.Lock()
	was, known := a.open, a.known
	a.busy, a.now = time.Now(), o
	a.mu.Unlock()
	var err error
	if a.setter != nil {
		if err = a.setter.SetGaugePa(o.gaugePa); err != nil {
			err = fmt.Errorf("%s could not be set to %.0f Pa gauge: %w", a.name, o.gaugePa, err)
		}
	} else {
		err = a.carry(o, was, known)
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	a.busy = time.Time{}
	a.open, a.known = o.open, err == nil
	return err
}

func (a *actuator) carry(o order, was, known bool) error {
	open := o.open
	if p, ok := a.out.(Pulser); ok && open && p.EndsPulses() {
		length := max(o.pulse, a.minOn)
		if o.pulse == 0 {
			length = a.deadMan
		}
		if err := p.Pulse(length); err != nil {
			return fmt.Errorf("%s could not be told to open for %s: %w", a.name, length, err)
		}
		return nil // it may have shut again by the time it is asked
	}
	var moved error
	if known && was == open { // nothing was to change since: a relay board that restarted has
		if stands, tells, err := a.out.Stands(); err == nil && tells && stands != was {
			moved = fmt.Errorf("%s was %s and stands %s: did its relays restart?", a.name, word(was), word(stands))
		}
	}
	if err := a.out.Set(open); err != nil {
		return fmt.Errorf("%s could not be told to be %s: %w", a.name, word(open), err)
	}
	stands, tells, err := a.out.Stands()
	switch {
	case err != nil:
		return fmt.Errorf("%s was told to be %s and cannot be read back: %w", a.name, word(open), err)
	case tells && stands != open:
		return fmt.Errorf("%s was told to be %s and reads back %s", a.name, word(open), word(stands))
	}
	return moved
}

// stop ends the goroutine, if it is not stuck in a call, and lets go of the
// output. A call that hangs keeps its output: nothing can be done about it here.
func (a *actuator) stop(patience time.Duration) error {
	close(a.quit)
	select {
	case <-a.ended:
		close := func() error { return a.out.Close() }
		if a.setter != nil {
			close = a.setter.Close
		}
		if err := close(); err != nil {
			return fmt.Errorf("%s: %w", a.name, err)
		}
		return nil
	case <-time.After(patience):
		return fmt.Errorf("%s does not answer and was left as it stands: take its power", a.name)
	}
}

func word(open bool) string {
	if open {
		return "open"
	}
	return "shut"
}
