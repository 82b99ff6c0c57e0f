package bme280

import (
	"context"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"

	"proofpot/sensors"
	"proofpot/sensors/poll"
)

// The outputs of a device, in the order of its results. A BMP280 has no humidity.
const (
	Pressure    = iota // Pa absolute
	Temperature        // °C
	Humidity           // %
)

// Registers (BME280, table 18).
const (
	regLow     = 0x88
	regID      = 0xD0
	regReset   = 0xE0
	regHigh    = 0xE1
	regCtrlHum = 0xF2
	regStatus  = 0xF3
	regCtrl    = 0xF4

	resetWord = 0xB6

	ctrlHum  = 0x01 // humidity once
	ctrl     = 0x54 // temperature twice, pressure sixteen times, asleep
	forced   = 0x01 // measure once
	modeBits = 0x03

	statusBusy = 0x09 // measuring, or copying its calibration
)

const (
	resetWait   = 5 * time.Millisecond  // 2 ms, table 1
	measureWait = 50 * time.Millisecond // 1.25 + 2.3·2 + 2.3·16 + 0.575 + 2.3 + 0.575 = 46.1 ms at most, 9.1
	moreWait    = 5 * time.Millisecond
	moreMost    = 5
)

// What the parts are specified for.
const (
	lowPa, highPa = 300e2, 1100e2
	lowC, highC   = -40, 85
)

// Device is a part on a bus. It is a poll.Device.
type Device struct {
	dev   i2c.Dev
	name  string
	id    byte
	humid bool
	c     Calibration
}

// NewBME280 makes a BME280 at an address. Nothing is sent yet.
func NewBME280(bus i2c.Bus, addr uint16) (*Device, error) {
	return newDevice(bus, addr, "BME280", 0x60, true)
}

// NewBMP280 makes a BMP280 at an address. Nothing is sent yet.
func NewBMP280(bus i2c.Bus, addr uint16) (*Device, error) {
	return newDevice(bus, addr, "BMP280", 0x58, false)
}

func newDevice(bus i2c.Bus, addr uint16, name string, id byte, humid bool) (*Device, error) {
	if addr != 0x76 && addr != 0x77 {
		return nil, fmt.Errorf("0x%02x is no address of a %s; 0x76 and 0x77 are", addr, name)
	}
	return &Device{dev: i2c.Dev{Bus: bus, Addr: addr}, name: name, id: id, humid: humid}, nil
}

// Start implements poll.Device: identity, reset, calibration.
func (d *Device) Start(ctx context.Context) error {
	var id [1]byte
	if err := d.dev.Tx([]byte{regID}, id[:]); err != nil {
		return err
	}
	if id[0] != d.id {
		return poll.Fault(sensors.Garbled, "its identity is %02X hex, not the %02X of a %s", id[0], d.id, d.name)
	}
	if err := d.dev.Tx([]byte{regReset, resetWord}, nil); err != nil {
		return err
	}
	if err := poll.Wait(ctx, resetWait); err != nil {
		return err
	}
	var low [lowBytes]byte
	var high [highBytes]byte
	if err := d.twice(regLow, low[:]); err != nil {
		return err
	}
	if d.humid {
		if err := d.twice(regHigh, high[:]); err != nil {
			return err
		}
	}
	d.c = parse(low, high)
	// What cannot be: a bus that is held low or high. Bosch's own driver takes a
	// P1 of 0 for the end of arithmetic.
	for _, word := range []uint16{d.c.T1, uint16(d.c.T2), d.c.P1} {
		if word == 0 || word == 0xFFFF {
			return poll.Fault(sensors.Garbled, "its calibration holds %04X hex, which no factory writes", word)
		}
	}
	if d.humid && (d.c.H2 == 0 || d.c.H2 == -1) {
		return poll.Fault(sensors.Garbled, "its humidity calibration holds %d, which no factory writes", d.c.H2)
	}
	return nil
}

// twice reads registers two times, which must agree.
func (d *Device) twice(register byte, into []byte) error {
	again := make([]byte, len(into))
	if err := d.dev.Tx([]byte{register}, into); err != nil {
		return err
	}
	if err := d.dev.Tx([]byte{register}, again); err != nil {
		return err
	}
	if string(into) != string(again) {
		return poll.Fault(sensors.Garbled, "registers from %02X hex read % x, then % x", register, into, again)
	}
	return nil
}

// Measure implements poll.Device.
func (d *Device) Measure(ctx context.Context, results []poll.Result) error {
	from, begin := byte(regStatus), []byte{regCtrl, ctrl | forced}
	if d.humid {
		from, begin = regCtrlHum, []byte{regCtrlHum, ctrlHum, regCtrl, ctrl | forced}
	}
	if err := d.dev.Tx(begin, nil); err != nil {
		return err
	}
	if err := poll.Wait(ctx, measureWait); err != nil {
		return err
	}
	// Registers F2 (or F3) to FE (or FC): settings and result in one transfer.
	var block [13]byte
	got := block[from-regCtrlHum:]
	if !d.humid {
		got = got[:10]
	}
	for try := 0; ; try++ {
		if err := d.twice(from, got); err != nil {
			return err
		}
		if block[regStatus-regCtrlHum]&statusBusy == 0 && block[regCtrl-regCtrlHum]&modeBits == 0 {
			break
		}
		if try == moreMost {
			return poll.Fault(sensors.NoReading, "it is still measuring after %v", measureWait+moreMost*moreWait)
		}
		if err := poll.Wait(ctx, moreWait); err != nil {
			return err
		}
	}
	return d.results(block, results)
}

// results makes results of the registers F2 to FE.
func (d *Device) results(block [13]byte, results []poll.Result) error {
	hum, control, config := block[0], block[2], block[3]
	if control != ctrl || config != 0 || d.humid && hum != ctrlHum {
		return poll.Fault(sensors.Restarted, "its settings are % x, not what was set: it lost its power, or somebody else sets it", block[:4])
	}
	p := uint32(block[5])<<12 | uint32(block[6])<<4 | uint32(block[7])>>4
	t := uint32(block[8])<<12 | uint32(block[9])<<4 | uint32(block[10])>>4
	h := uint32(block[11])<<8 | uint32(block[12])
	all := func(r poll.Result) error {
		for i := range results {
			results[i] = r
		}
		return nil
	}
	// Without its temperature nothing else can be worked out.
	if bad, is := end(t, 20, "temperature"); is {
		return all(bad)
	}
	celsius, fine := d.c.Temperature(t)
	if !(celsius >= lowC && celsius <= highC) {
		return all(poll.Bad(sensors.OutOfRange, "%.2f °C is outside the %d to %d °C of a %s", celsius, lowC, highC, d.name))
	}
	results[Temperature] = poll.Result{Value: celsius}
	pa := d.c.Pressure(p, fine)
	results[Pressure] = poll.Result{Value: pa}
	if bad, is := end(p, 20, "pressure"); is {
		results[Pressure] = bad
	} else if !(pa >= lowPa && pa <= highPa) {
		results[Pressure] = poll.Bad(sensors.OutOfRange, "%.0f Pa is outside the %.0f to %.0f Pa absolute of a %s", pa, lowPa, highPa, d.name)
	}
	if d.humid {
		results[Humidity] = poll.Result{Value: d.c.Humidity(h, fine)}
		if bad, is := end(h, 16, "humidity"); is {
			results[Humidity] = bad
		}
	}
	return nil
}

// end says whether a number stands at an end of its bits, or is what stands there
// when nothing was measured: the half.
func end(n uint32, bits uint, what string) (poll.Result, bool) {
	switch n {
	case 1 << (bits - 1):
		return poll.Bad(sensors.NoReading, "it did not measure %s", what), true
	case 0, 1<<bits - 1:
		return poll.Bad(sensors.Saturated, "its converter stands at its end for %s (%X hex)", what, n), true
	}
	return poll.Result{}, false
}
