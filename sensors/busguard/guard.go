package busguard

import (
	"errors"
	"fmt"
	"sync"
	"time"
)

// Timeout is how long a transfer may take, and how long one waits for its turn.
// The kernel gives up on a bus by itself after some 1 s (the default of most
// adapters), with a better word for what is wrong.
const Timeout = 2 * time.Second

// ErrHangs is the error, wrapped, of a transfer that did not end in time, and of
// each after it until it has ended.
var ErrHangs = errors.New("the bus hangs")

// ErrClosed is the error, wrapped, of a transfer on a bus that was closed.
var ErrClosed = errors.New("the bus is closed")

// guard is what the guards of all kinds of buses are made of.
type guard struct {
	name    string // in errors, "I2C bus 1"
	why     string // what may make it hang
	timeout time.Duration
	turn    chan struct{} // holds one token; who has it may use the bus
	jobs    chan *job     // to the goroutine that does transfers
	closed  chan struct{} // closed by Close
	shut    sync.Once

	mu      sync.Mutex
	hanging *job
}

// job is one transfer. It owns its bytes, since its caller may have left.
type job struct {
	place string // which part, "address 0x76"; may be empty
	do    func(w, r []byte) error
	w, r  []byte
	err   error
	done  chan struct{}
	at    time.Time
}

func newGuard(name, why string, timeout time.Duration) *guard {
	if timeout == 0 {
		timeout = Timeout
	}
	g := &guard{name: name, why: why, timeout: timeout,
		turn: make(chan struct{}, 1), jobs: make(chan *job), closed: make(chan struct{})}
	g.turn <- struct{}{}
	go g.work()
	return g
}

// work does the transfers.
func (g *guard) work() {
	for {
		select {
		case <-g.closed:
			return
		case j := <-g.jobs:
			j.err = j.do(j.w, j.r)
			close(j.done)
		}
	}
}

// String gives the bus its name.
func (g *guard) String() string { return g.name }

// together lets do make several transfers that no other comes in between.
func (g *guard) together(do func() error) error {
	if err := g.hangs(); err != nil {
		return err
	}
	timer := time.NewTimer(g.timeout)
	defer timer.Stop()
	select {
	case <-g.turn:
	case <-g.closed:
		return fmt.Errorf("%v: %w", g, ErrClosed)
	case <-timer.C:
		if err := g.hangs(); err != nil {
			return err
		}
		return fmt.Errorf("%v is busy: no turn within %v", g, g.timeout)
	}
	defer g.giveBack()
	return do()
}

// hangs gives the error of a bus that hangs.
func (g *guard) hangs() error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.hanging == nil {
		return nil
	}
	return fmt.Errorf("%s: %w, for %v now; %s", g.at(g.hanging.place), ErrHangs, time.Since(g.hanging.at).Round(100*time.Millisecond), g.why)
}

func (g *guard) at(place string) string {
	if place == "" {
		return g.name
	}
	return g.name + ", " + place
}

// giveBack hands the turn on: now, or once the transfer that hangs has ended.
func (g *guard) giveBack() {
	g.mu.Lock()
	defer g.mu.Unlock()
	j := g.hanging
	if j == nil {
		g.turn <- struct{}{}
		return
	}
	go func() {
		<-j.done
		g.mu.Lock()
		g.hanging = nil
		g.mu.Unlock()
		g.turn <- struct{}{}
	}()
}

// Close ends the guard; the bus below is the caller's to close. It may be called
// again. A transfer that hangs is left behind, with an error.
func (g *guard) Close() error {
	g.shut.Do(func() { close(g.closed) })
	return g.hangs()
}

// transfer makes one transfer for who has the turn. Where the error is not nil, r
// is as it was.
func (g *guard) transfer(place string, w, r []byte, do func(w, r []byte) error) error {
	if err := g.hangs(); err != nil {
		return err
	}
	// A length of 0 stays nil: it is no transfer in that direction. What a bus leaves
	// of r as it is, stays as it is.
	j := &job{place: place, do: do, done: make(chan struct{}), at: time.Now(), w: append([]byte(nil), w...), r: append([]byte(nil), r...)}
	select {
	case g.jobs <- j:
	case <-g.closed:
		return fmt.Errorf("%v: %w", g, ErrClosed)
	}
	timer := time.NewTimer(g.timeout)
	defer timer.Stop()
	select {
	case <-j.done:
	case <-timer.C:
		g.mu.Lock()
		g.hanging = j
		g.mu.Unlock()
		return g.hangs()
	}
	if j.err != nil {
		return fmt.Errorf("%s: %w", g.at(place), j.err)
	}
	copy(r, j.r)
	return nil
}
