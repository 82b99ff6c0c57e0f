package max31865

import (
	"context"
	"fmt"
	"time"

	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"proofpot/sensors"
	"proofpot/sensors/poll"
)

// Registers, data sheet table 1; writing adds 80 hex.
const (
	regConfig = 0x00
	regHigh   = 0x03
	regWrite  = 0x80
)

// Bits of the configuration, table 2.
const (
	configBias      = 0x80
	configAuto      = 0x40
	configThreeWire = 0x10
	configDetect    = 0x04 // fault detection with automatic delay
	configClear     = 0x02
	config50Hz      = 0x01
)

// Bits of the fault status, table 7.
const (
	faultHigh      = 0x80 // above the upper limit
	faultLow       = 0x40 // below the lower limit
	faultRefHigh   = 0x20 // REFIN− above 0.85 of the bias
	faultRefOpen   = 0x10 // REFIN− below 0.85 of the bias with FORCE− open
	faultRTDOpen   = 0x08 // RTDIN− below 0.85 of the bias with FORCE− open
	faultVoltage   = 0x04 // an input above the supply or below ground
	faultsReserved = 0x03
)

const (
	biasWait    = 15 * time.Millisecond // 10.5 time constants of the input filter, 100 nF with the largest reference, and 1 ms
	detectWait  = 5 * time.Millisecond  // some 0.6 ms
	convertWait = 90 * time.Millisecond // the first takes 66 ms at most at 50 Hz

	fullScale = 1 << 15
	// The part's own limits: beyond them a wire is broken or shorted. What a
	// bench can have, −60 to 150 °C, lies well within.
	limitLowC, limitHighC = -100, 200
)

// Speed and Mode are how its SPI is set; it allows 5 MHz.
const (
	Speed = physic.MegaHertz
	Mode  = spi.Mode1
)

// Element is what is connected.
type Element struct {
	R0Ohm        float64 // at 0 °C: 100 or 1000
	ReferenceOhm float64 // the resistor on the board: 400 or 430 for a Pt100, 4000 or 4300 for a Pt1000
	Wires        int     // 2, 3 or 4
	MainsHz      int     // 50 or 60, what is filtered out
}

// Check says what of an element cannot be: the key of bench.toml, and the text.
func (e Element) Check() (key, text string) {
	switch {
	case e.R0Ohm != 100 && e.R0Ohm != 1000:
		return "r0_ohm", fmt.Sprintf("%g is no platinum thermometer of this part; give 100 for a Pt100 or 1000 for a Pt1000", e.R0Ohm)
	case !(e.ReferenceOhm > Ohm(e.R0Ohm, limitHighC) && e.ReferenceOhm <= 10*e.R0Ohm):
		return "reference_ohm", fmt.Sprintf("%g cannot be the reference resistor of a Pt%g; above %.0f and at most %g ohm can: it is printed on the board as 430 or 4300, say",
			e.ReferenceOhm, e.R0Ohm, Ohm(e.R0Ohm, limitHighC), 10*e.R0Ohm)
	case e.Wires < 2 || e.Wires > 4:
		return "wires", fmt.Sprintf("%d is no number of wires; give 2, 3 or 4, as the board is jumpered", e.Wires)
	case e.MainsHz != 50 && e.MainsHz != 60:
		return "mains_hz", fmt.Sprintf("%d is no mains; give 50 or 60, what hums where the bench stands", e.MainsHz)
	}
	return "", ""
}

// Device is a part on SPI. It is a poll.Device of one output, in °C.
type Device struct {
	conn      spi.Conn
	element   Element
	config    byte
	low, high uint16 // limits, as registers

	wait func(context.Context, time.Duration) error // poll.Wait; tests do not wait
}

// New makes the part. Nothing is sent yet. conn is set to Speed and Mode.
func New(conn spi.Conn, e Element) (*Device, error) {
	if key, text := e.Check(); key != "" {
		return nil, fmt.Errorf("%s: %s", key, text)
	}
	d := &Device{conn: conn, element: e, wait: poll.Wait}
	if e.Wires == 3 {
		d.config |= configThreeWire
	}
	if e.MainsHz == 50 {
		d.config |= config50Hz
	}
	limit := func(c float64) uint16 { return uint16(Ohm(e.R0Ohm, c)/e.ReferenceOhm*fullScale) << 1 }
	d.low, d.high = limit(limitLowC), limit(limitHighC)
	return d, nil
}

func (d *Device) write(register byte, values ...byte) error {
	w := append([]byte{register | regWrite}, values...)
	return d.conn.Tx(w, make([]byte, len(w)))
}

// registers are all eight of them.
type registers [8]byte

// read reads them until two reads agree: a conversion may end between them.
func (d *Device) read() (registers, error) {
	var w, r [9]byte
	w[0] = regConfig
	var last registers
	for i := range 3 {
		clear(r[:])
		if err := d.conn.Tx(w[:], r[:]); err != nil {
			return last, err
		}
		now := registers(r[1:])
		if i > 0 && now == last {
			return now, nil
		}
		last = now
	}
	return last, poll.Fault(sensors.Garbled, "three reads of its registers in a row do not agree")
}

// Start implements poll.Device: settings and limits, read back.
func (d *Device) Start(context.Context) error {
	if err := d.write(regConfig, d.config); err != nil {
		return err
	}
	if err := d.write(regHigh, byte(d.high>>8), byte(d.high), byte(d.low>>8), byte(d.low)); err != nil {
		return err
	}
	r, err := d.read()
	if err != nil {
		return err
	}
	return d.settings(r, d.config)
}

// settings looks whether the part is set as it was told.
func (d *Device) settings(r registers, config byte) error {
	high, low := uint16(r[3])<<8|uint16(r[4]), uint16(r[5])<<8|uint16(r[6])
	switch {
	case r == registers{} || r == registers{0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}:
		return poll.Fault(sensors.Disconnected, "nobody answers: every byte is %02X hex", r[0])
	case r[0] == 0 && high == 0xFFFF && low == 0:
		return poll.Fault(sensors.Restarted, "it lost its power: its settings are those of power on")
	case r[0] != config || high != d.high || low != d.low:
		return poll.Fault(sensors.Garbled, "its settings read % X hex, not as they were written: no MAX31865, or a bad wire", r[:])
	}
	return nil
}

// Measure implements poll.Device.
func (d *Device) Measure(ctx context.Context, results []poll.Result) error {
	on := d.config | configBias
	for _, step := range []struct {
		config byte
		wait   time.Duration
	}{{on | configClear, biasWait}, {on | configDetect, detectWait}, {on | configAuto, convertWait}} {
		if err := d.write(regConfig, step.config); err != nil {
			return err
		}
		if err := d.wait(ctx, step.wait); err != nil {
			return err
		}
	}
	r, err := d.read()
	if err != nil {
		return err
	}
	if err := d.write(regConfig, d.config); err != nil { // no current until the next
		return err
	}
	results[0], err = d.result(r)
	return err
}

// result reads the registers of a measurement.
func (d *Device) result(r registers) (poll.Result, error) {
	if err := d.settings(r, d.config|configBias|configAuto); err != nil {
		return poll.Result{}, err
	}
	code, fault := uint16(r[1])<<8|uint16(r[2]), r[7]
	ohm := float64(code>>1) / fullScale * d.element.ReferenceOhm
	switch {
	case fault&faultsReserved != 0 || (fault != 0) != (code&1 != 0):
		return poll.Result{}, poll.Fault(sensors.Garbled, "its fault register reads %02X hex, which does not agree with its number %04X", fault, code)
	case fault&faultVoltage != 0:
		return poll.Bad(sensors.SupplyOff, "an input lies above its supply or below ground (fault %02X hex): look for a wire that touches another", fault), nil
	case fault&(faultRefHigh|faultRefOpen|faultRTDOpen|faultHigh) != 0:
		return poll.Bad(sensors.Disconnected, "%.1f ohm: its element or a wire of it is broken (fault %02X hex)", ohm, fault), nil
	case fault&faultLow != 0:
		return poll.Bad(sensors.OutOfRange, "%.1f ohm: its element is shorted (fault %02X hex)", ohm, fault), nil
	case code == 0 || code>>1 == fullScale-1:
		return poll.Bad(sensors.Saturated, "its number stands at the end, %04X hex", code), nil
	case code < d.low || code > d.high:
		return poll.Result{}, poll.Fault(sensors.Garbled, "%.1f ohm lies beyond its limits and it does not say so", ohm)
	}
	return poll.Result{Value: Celsius(d.element.R0Ohm, ohm)}, nil
}
