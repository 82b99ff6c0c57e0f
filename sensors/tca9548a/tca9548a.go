// Package tca9548a knows the I2C multiplexer TCA9548A (eight channels, address 70
// to 77 hex): each channel is a bus of its own, so that parts with one address
// can be on one bench.
//
// Data sheet: TI TCA9548A, SCPS207 (control register 8.6.2, from memory; revision
// not at hand). Known errors in it: none known to us.
//
// A transfer to a channel is three: choose it, talk, let go of it, with nobody in
// between. The choice is read back before anybody talks, since the value of
// another part would look like one of this one; it is let go of, so that a part
// behind the multiplexer never answers for one before it, or behind a second.
// What cannot be let go of is an error of the transfer: it has no value then.
package tca9548a

import (
	"errors"
	"fmt"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// Channels is how many a multiplexer has.
const Channels = 8

// Guarded is a bus on which several transfers can be done together.
// busguard.Bus is one.
type Guarded interface {
	i2c.Bus
	Together(do func(bus i2c.Bus) error) error
}

// Channel is a channel as a bus.
type Channel struct {
	bus     Guarded
	addr    uint16
	channel int
}

// New makes the bus of a channel, 0 to 7, of the multiplexer at an address.
func New(bus Guarded, addr uint16, channel int) (*Channel, error) {
	if addr < 0x70 || addr > 0x77 {
		return nil, fmt.Errorf("0x%02x is no address of a TCA9548A; 0x70 to 0x77 are", addr)
	}
	if channel < 0 || channel >= Channels {
		return nil, fmt.Errorf("%d is no channel of a TCA9548A; 0 to %d are", channel, Channels-1)
	}
	return &Channel{bus, addr, channel}, nil
}

func (c *Channel) String() string {
	return fmt.Sprintf("%v, channel %d of multiplexer 0x%02x", c.bus, c.channel, c.addr)
}

// SetSpeed implements i2c.Bus.
func (c *Channel) SetSpeed(f physic.Frequency) error { return c.bus.SetSpeed(f) }

// Tx implements i2c.Bus. Where the error is not nil, r is as it was.
func (c *Channel) Tx(addr uint16, w, r []byte) error {
	if addr == c.addr {
		return fmt.Errorf("%v: 0x%02x is the multiplexer's own address", c, addr)
	}
	got := make([]byte, len(r))
	err := c.bus.Together(func(bus i2c.Bus) (err error) {
		defer func() { err = errors.Join(err, c.set(bus, 0)) }()
		if err := c.set(bus, 1<<c.channel); err != nil {
			return err
		}
		return bus.Tx(addr, w, got)
	})
	if err != nil {
		return fmt.Errorf("%v: %w", c, oneLine{err})
	}
	copy(r, got)
	return nil
}

// set writes the control register and reads it back.
func (c *Channel) set(bus i2c.Bus, control byte) error {
	if err := bus.Tx(c.addr, []byte{control}, nil); err != nil {
		return err
	}
	var is [1]byte
	if err := bus.Tx(c.addr, nil, is[:]); err != nil {
		return err
	}
	if is[0] != control {
		return fmt.Errorf("its channels stand at %08b, not at %08b", is[0], control)
	}
	return nil
}

// oneLine puts joined errors on one line.
type oneLine struct{ error }

func (e oneLine) Unwrap() error { return e.error }

func (e oneLine) Error() string {
	var all interface{ Unwrap() []error }
	if !errors.As(e.error, &all) {
		return e.error.Error()
	}
	text := ""
	for i, err := range all.Unwrap() {
		if i > 0 {
			text += "; "
		}
		text += err.Error()
	}
	return text
}
