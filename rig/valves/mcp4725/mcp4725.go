package mcp4725

import (
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/i2c"
)

// Options are the amplifier and the regulator behind the converter.
type Options struct {
	Address     uint16
	FullScaleV  float64 // V at full code
	LowV, HighV float64 // V at the ends of the regulator's range
	LowPa       float64 // Pa gauge at LowV
	HighPa      float64 // Pa gauge at HighV
}

// Regulator is the converter on its bus.
type Regulator struct {
	dev  i2c.Dev
	opts Options
}

const (
	fullCode    = 4095
	codes       = 4096
	eepromWrite = 50 * time.Millisecond // DS22039D table 1-1, at most
	ready       = 0x80
)

// New sets the regulator to nothing, and sees to it that it does so whenever its
// power comes. The bus stays the caller's.
func New(bus i2c.Bus, o Options) (*Regulator, error) {
	if !(o.FullScaleV > 0 && o.HighV > o.LowV && o.LowV >= 0 && o.HighPa > o.LowPa) {
		return nil, fmt.Errorf("regulator at %#x: its ranges do not rise: %+v", o.Address, o)
	}
	r := &Regulator{dev: i2c.Dev{Bus: bus, Addr: o.Address}, opts: o}
	state, err := r.read()
	if err != nil {
		return nil, fmt.Errorf("regulator at %#x does not answer: %w", o.Address, err)
	}
	if state.eeprom != 0 {
		if err := r.dev.Tx([]byte{0x60, 0, 0}, nil); err != nil {
			return nil, fmt.Errorf("regulator at %#x: its start value could not be set to nothing: %w", o.Address, err)
		}
		time.Sleep(eepromWrite)
		if state, err = r.read(); err != nil {
			return nil, fmt.Errorf("regulator at %#x does not answer once its start value was set: %w", o.Address, err)
		}
		if state.eeprom != 0 || !state.ready {
			return nil, fmt.Errorf("regulator at %#x keeps a start value of %d of %d: it would press as soon as power comes", o.Address, state.eeprom, fullCode)
		}
	}
	return r, r.SetGaugePa(0)
}

// state is what the part says of itself.
type state struct {
	ready  bool
	code   uint16
	eeprom uint16
}

func (r *Regulator) read() (state, error) {
	var b [5]byte
	if err := r.dev.Tx(nil, b[:]); err != nil {
		return state{}, err
	}
	return state{
		ready:  b[0]&ready != 0,
		code:   uint16(b[1])<<4 | uint16(b[2])>>4,
		eeprom: uint16(b[3]&0x0f)<<8 | uint16(b[4]),
	}, nil
}

// Code is the code for a gauge pressure; what the range does not reach is an
// error, and never the nearest that it does. Below the range, down to 0, the
// output is nothing.
func (r *Regulator) code(gaugePa float64) (uint16, error) {
	o := r.opts
	switch {
	case !(gaugePa >= 0) || gaugePa > o.HighPa:
		return 0, fmt.Errorf("%.0f Pa gauge lies outside the regulator's range of %.0f to %.0f", gaugePa, o.LowPa, o.HighPa)
	case gaugePa == 0 || gaugePa < o.LowPa:
		return 0, nil
	}
	volts := o.LowV + (gaugePa-o.LowPa)/(o.HighPa-o.LowPa)*(o.HighV-o.LowV)
	// Rounded down: never above what was asked for.
	return uint16(min(math.Floor(volts/o.FullScaleV*codes), fullCode)), nil
}

// SetGaugePa sets the pressure, Pa gauge, and reads the register back.
func (r *Regulator) SetGaugePa(pa float64) error {
	code, err := r.code(pa)
	if err != nil {
		_ = r.write(0) // the error that counts is the one at hand
		return err
	}
	if err := r.write(code); err != nil {
		return err
	}
	back, err := r.read()
	if err != nil {
		return fmt.Errorf("cannot be read back: %w", err)
	}
	if back.code != code {
		return fmt.Errorf("reads back %d, was set to %d of %d", back.code, code, fullCode)
	}
	return nil
}

func (r *Regulator) write(code uint16) error {
	return r.dev.Tx([]byte{byte(code >> 8), byte(code)}, nil)
}

// Close sets the regulator to nothing.
func (r *Regulator) Close() error { return r.SetGaugePa(0) }
