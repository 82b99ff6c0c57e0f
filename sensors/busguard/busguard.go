// Package busguard guards an I2C bus that several parts share. One transfer is
// under way at a time; a sequence that nobody may come in between (choose a
// multiplexer's channel, talk, let go of it) is done together. A transfer that
// does not end in time is reported, and so is every later one until it ends: a
// bus whose clock is held low hangs no caller for longer than the timeout.
//
// What a transfer that hangs brings in the end is thrown away: the caller's
// bytes are its own again when Tx returns.
package busguard

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
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

// Bus is a guarded bus. It is an i2c.Bus that any number of goroutines may use.
type Bus struct {
	bus     i2c.Bus
	name    string
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
	addr uint16
	w, r []byte
	err  error
	done chan struct{}
	at   time.Time
}

// New guards a bus. The name stands in errors, "1" for /dev/i2c-1 say; a timeout
// of 0 is Timeout.
func New(name string, bus i2c.Bus, timeout time.Duration) *Bus {
	if timeout == 0 {
		timeout = Timeout
	}
	b := &Bus{bus: bus, name: name, timeout: timeout,
		turn: make(chan struct{}, 1), jobs: make(chan *job), closed: make(chan struct{})}
	b.turn <- struct{}{}
	go b.work()
	return b
}

// work does the transfers.
func (b *Bus) work() {
	for {
		select {
		case <-b.closed:
			return
		case j := <-b.jobs:
			j.err = b.bus.Tx(j.addr, j.w, j.r)
			close(j.done)
		}
	}
}

// String gives the bus its name.
func (b *Bus) String() string { return "I2C bus " + b.name }

// SetSpeed implements i2c.Bus. The speed of a bus that is shared is not a part's
// to choose: it is set in the kernel's device tree.
func (b *Bus) SetSpeed(physic.Frequency) error {
	return fmt.Errorf("%v: the speed of a shared bus is not changed", b)
}

// Tx implements i2c.Bus: one transfer. Where the error is not nil, r is as it
// was.
func (b *Bus) Tx(addr uint16, w, r []byte) error {
	return b.Together(func(bus i2c.Bus) error { return bus.Tx(addr, w, r) })
}

// Together lets do make several transfers, on the bus that it is given, which no
// other comes in between. After one that hung, the rest of them fail at once. do
// must not use b itself, nor keep its bus.
func (b *Bus) Together(do func(bus i2c.Bus) error) error {
	if err := b.hangs(); err != nil {
		return err
	}
	timer := time.NewTimer(b.timeout)
	defer timer.Stop()
	select {
	case <-b.turn:
	case <-b.closed:
		return fmt.Errorf("%v: %w", b, ErrClosed)
	case <-timer.C:
		if err := b.hangs(); err != nil {
			return err
		}
		return fmt.Errorf("%v is busy: no turn within %v", b, b.timeout)
	}
	defer b.giveBack()
	return do(&turn{b})
}

// hangs gives the error of a bus that hangs.
func (b *Bus) hangs() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.hanging == nil {
		return nil
	}
	return fmt.Errorf("%v, address 0x%02x: %w, for %v now; a part may hold its clock or data line low",
		b, b.hanging.addr, ErrHangs, time.Since(b.hanging.at).Round(100*time.Millisecond))
}

// giveBack hands the turn on: now, or once the transfer that hangs has ended.
func (b *Bus) giveBack() {
	b.mu.Lock()
	defer b.mu.Unlock()
	j := b.hanging
	if j == nil {
		b.turn <- struct{}{}
		return
	}
	go func() {
		<-j.done
		b.mu.Lock()
		b.hanging = nil
		b.mu.Unlock()
		b.turn <- struct{}{}
	}()
}

// Close ends the guard; the bus below is the caller's to close. It may be called
// again. A transfer that hangs is left behind, with an error.
func (b *Bus) Close() error {
	b.shut.Do(func() { close(b.closed) })
	return b.hangs()
}

// turn is the bus of who has the turn.
type turn struct{ b *Bus }

func (t *turn) String() string                    { return t.b.String() }
func (t *turn) SetSpeed(f physic.Frequency) error { return t.b.SetSpeed(f) }

// Tx implements i2c.Bus.
func (t *turn) Tx(addr uint16, w, r []byte) error {
	b := t.b
	if err := b.hangs(); err != nil {
		return err
	}
	j := &job{addr: addr, done: make(chan struct{}), at: time.Now()}
	// A length of 0 stays nil: it is no transfer in that direction.
	j.w = append(j.w, w...)
	if len(r) > 0 {
		j.r = make([]byte, len(r))
	}
	select {
	case b.jobs <- j:
	case <-b.closed:
		return fmt.Errorf("%v: %w", b, ErrClosed)
	}
	timer := time.NewTimer(b.timeout)
	defer timer.Stop()
	select {
	case <-j.done:
	case <-timer.C:
		b.mu.Lock()
		b.hanging = j
		b.mu.Unlock()
		return b.hangs()
	}
	if j.err != nil {
		return fmt.Errorf("%v, address 0x%02x: %w", b, addr, j.err)
	}
	copy(r, j.r)
	return nil
}
