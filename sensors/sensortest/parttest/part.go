// Package parttest plays parts on an I2C bus to drivers: traffic whose every
// transfer is spoiled in every way, and a part that answers.
package parttest

import (
	"context"
	"sync"
	"time"

	"periph.io/x/conn/v3/physic"

	"proofpot/sensors/poll"
)

// Part is an I2C bus with one part on it, which Answer plays: what is written in
// one transfer, and the bytes that are read after it.
type Part struct {
	mu     sync.Mutex
	Addr   uint16
	answer func(w, r []byte) error
	gone   bool
}

// NewPart makes a bus with a part.
func NewPart(addr uint16, answer func(w, r []byte) error) *Part {
	return &Part{Addr: addr, answer: answer}
}

// Do changes what answer looks at, between two transfers.
func (p *Part) Do(change func()) { p.mu.Lock(); defer p.mu.Unlock(); change() }

// Unplug takes the part off the bus, or puts it back.
func (p *Part) Unplug(gone bool) { p.Do(func() { p.gone = gone }) }

func (p *Part) String() string { return "test" }

// SetSpeed implements i2c.Bus.
func (p *Part) SetSpeed(physic.Frequency) error { return nil }

// Tx implements i2c.Bus.
func (p *Part) Tx(addr uint16, w, r []byte) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if addr != p.Addr || p.gone {
		return errNoAnswer
	}
	return p.answer(w, r)
}

// Gated is a device that measures when the test says so, by Turn.
type Gated struct {
	poll.Device
	turns chan chan struct{}
}

// NewGated makes one of a device.
func NewGated(d poll.Device) *Gated { return &Gated{d, make(chan chan struct{})} }

// turnWithin is how long a device may take to be ready, and to measure.
const turnWithin = 2 * time.Second

// Turn lets the device measure once, and waits until it has: nothing is on its way
// then.
func (g *Gated) Turn() {
	done := make(chan struct{})
	select {
	case g.turns <- done:
	case <-time.After(turnWithin):
		return
	}
	select {
	case <-done:
	case <-time.After(turnWithin):
	}
}

// Measure implements poll.Device.
func (g *Gated) Measure(ctx context.Context, results []poll.Result) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case done := <-g.turns:
		defer close(done)
		return g.Device.Measure(ctx, results)
	}
}
