// Package busguard guards a bus that several parts share: I2C, 1-Wire, SPI. One
// transfer is under way at a time; a sequence that nobody may come in between
// (choose a multiplexer's channel, talk, let go of it) is done together. A
// transfer that does not end in time is reported, and so is every later one until
// it ends: a bus whose clock is held low hangs no caller for longer than the
// timeout.
//
// What a transfer that hangs brings in the end is thrown away: the caller's
// bytes are its own again when Tx returns.
package busguard

import (
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// Bus is a guarded I2C bus. It is an i2c.Bus that any number of goroutines may
// use.
type Bus struct {
	*guard
	bus i2c.Bus
}

// New guards an I2C bus. The name stands in errors, "1" for /dev/i2c-1 say; a
// timeout of 0 is Timeout.
func New(name string, bus i2c.Bus, timeout time.Duration) *Bus {
	return &Bus{newGuard("I2C bus "+name, "a part may hold its clock or data line low", timeout), bus}
}

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
	return b.together(func() error { return do(&turn{b}) })
}

// turn is the bus of who has the turn.
type turn struct{ b *Bus }

func (t *turn) String() string                    { return t.b.String() }
func (t *turn) SetSpeed(f physic.Frequency) error { return t.b.SetSpeed(f) }

// Tx implements i2c.Bus.
func (t *turn) Tx(addr uint16, w, r []byte) error {
	return t.b.transfer(fmt.Sprintf("address 0x%02x", addr), w, r, func(w, r []byte) error { return t.b.bus.Tx(addr, w, r) })
}
