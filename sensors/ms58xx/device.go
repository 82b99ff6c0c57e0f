package ms58xx

import (
	"context"
	"fmt"
	"slices"
	"time"

	"periph.io/x/conn/v3/i2c"

	"proofpot/sensors"
	"proofpot/sensors/poll"
)

// The outputs of a device, in the order of its results.
const (
	Pressure    = iota // Pa absolute
	Temperature        // °C
	Outputs
)

// Commands of all models (data sheet, COMMANDS).
const (
	cmdReset = 0x1E
	cmdADC   = 0x00
	cmdPROM  = 0xA0 // to AE, two a word
)

// resetWait is what the part needs to reload its calibration: 2.8 ms by the
// MS5803-14BA's sheet, with a margin.
const resetWait = 10 * time.Millisecond

// Device is a part on a bus. It is a poll.Device.
type Device struct {
	dev   i2c.Dev
	model *Model
	c     Coefficients
}

// New makes the device at an address. Nothing is sent yet.
func New(bus i2c.Bus, addr uint16, model *Model) (*Device, error) {
	if !slices.Contains(model.Addresses, addr) {
		return nil, fmt.Errorf("0x%02x is no address of a %s; %#02x are", addr, model.Name, model.Addresses)
	}
	return &Device{dev: i2c.Dev{Bus: bus, Addr: addr}, model: model}, nil
}

// Start implements poll.Device: reset, then the calibration words, whose CRC is
// the part's identity.
func (d *Device) Start(ctx context.Context) error {
	if err := d.dev.Tx([]byte{cmdReset}, nil); err != nil {
		return err
	}
	if err := poll.Wait(ctx, resetWait); err != nil {
		return err
	}
	var words [8]uint16
	for i := range d.model.Layout.Words() {
		var b [2]byte
		if err := d.dev.Tx([]byte{cmdPROM + 2*byte(i)}, b[:]); err != nil {
			return err
		}
		words[i] = uint16(b[0])<<8 | uint16(b[1])
	}
	c, err := d.model.Coefficients(words)
	if err != nil {
		return err
	}
	d.c = c
	return nil
}

// Measure implements poll.Device.
func (d *Device) Measure(ctx context.Context, results []poll.Result) error {
	d2, err := d.convert(ctx, d.model.Convert2, "temperature")
	if err != nil {
		return err
	}
	d1, err := d.convert(ctx, d.model.Convert1, "pressure")
	if err != nil {
		return err
	}
	d.model.results(d.model.Compensate(d.c, d1, d2), results)
	return nil
}

// results judges what was measured. A temperature that the part is not made for
// takes the pressure with it: nothing says what that is then.
func (m *Model) results(r Measured, results []poll.Result) {
	results[Temperature] = poll.Result{Value: r.C}
	results[Pressure] = poll.Result{Value: r.Pa}
	if r.C < m.LowC || r.C > m.HighC {
		results[Temperature] = poll.Bad(sensors.OutOfRange, "%.2f °C is outside the %v to %v °C of a %s", r.C, m.LowC, m.HighC, m.Name)
		results[Pressure] = poll.Bad(sensors.OutOfRange, "at %.2f °C, outside the %v to %v °C of a %s, nothing says what its pressure is", r.C, m.LowC, m.HighC, m.Name)
		return
	}
	if r.Pa < m.LowPa || r.Pa > m.HighPa {
		results[Pressure] = poll.Bad(sensors.OutOfRange, "%.0f Pa is outside the %v to %v Pa absolute of a %s", r.Pa, m.LowPa, m.HighPa, m.Name)
	}
}

// convert starts a conversion, waits for it and reads its number.
func (d *Device) convert(ctx context.Context, command byte, what string) (uint32, error) {
	if err := d.dev.Tx([]byte{command}, nil); err != nil {
		return 0, err
	}
	if err := poll.Wait(ctx, time.Duration(d.model.ConvertMS)*time.Millisecond); err != nil {
		return 0, err
	}
	var b [3]byte
	if err := d.dev.Tx([]byte{cmdADC}, b[:]); err != nil {
		return 0, err
	}
	return number(b, what)
}

// number reads the answer to an ADC read.
func number(b [3]byte, what string) (uint32, error) {
	switch n := uint32(b[0])<<16 | uint32(b[1])<<8 | uint32(b[2]); n {
	case 0: // data sheet, CONVERSION SEQUENCE
		return 0, poll.Fault(sensors.NoReading, "it gives 0 for its %s: asked too early, or no conversion was begun", what)
	case 0xFFFFFF:
		return 0, poll.Fault(sensors.Saturated, "its converter stands at its end for %s", what)
	default:
		return n, nil
	}
}
