package ads1115

import (
	"context"
	"math"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2ctest"

	"proofpot/sensors"
	"proofpot/sensors/poll"
	"proofpot/sensors/scale"
	"proofpot/sensors/sensortest"
	"proofpot/sensors/sensortest/parttest"
)

// traffic is a start and one measurement of supply and three inputs, assembled by
// hand from the data sheet; none was recorded.
func traffic() []i2ctest.IO {
	word := func(w uint16) []byte { return []byte{byte(w >> 8), byte(w)} }
	io := func(w []byte, r ...byte) i2ctest.IO { return i2ctest.IO{Addr: 0x48, W: w, R: r} }
	first := config(0, V6)
	ops := []i2ctest.IO{io(append([]byte{regConfig}, word(first)...)), io([]byte{regConfig}, word(first|ready)...)}
	for _, c := range []struct {
		channel int
		r       Range
		volts   float64
	}{{3, V6, 5}, {0, V6, 2.5}, {1, V4, 1.8}, {2, V6, 2.5}} {
		want := config(c.channel, c.r)
		code := uint16(math.Round(c.volts / fullScale[c.r] * 32768))
		ops = append(ops, io(append([]byte{regConfig}, word(want|ready)...)), io([]byte{regConfig}, word(want|ready)...), io([]byte{regConversion}, word(code)...))
	}
	return ops
}

// The part has no check bytes. What it converted is not protected, so a bit of
// that may turn over; a bit of what it was set to may not.
func TestEveryTransferThatIsSpoiledGivesNoValue(t *testing.T) {
	ops := traffic()
	parttest.EachTransfer(t, ops, func(ctx context.Context, bus i2c.Bus) (values []float64, err error) {
		d, err := New(bus, 0x48, five, inputs)
		if err != nil {
			return nil, err
		}
		if err := d.Start(ctx); err != nil {
			return nil, err
		}
		results := make([]poll.Result, len(inputs))
		if err := d.Measure(ctx, results); err != nil {
			return nil, err
		}
		for _, r := range results {
			if r.Kind == sensors.OK {
				values = append(values, r.Value)
			}
		}
		return values, nil
	}, func(at, bit int) bool { return ops[at].W[0] == regConversion || at == 1 && bit == 0 })
}

func TestItDoesWhatADriverMust(t *testing.T) {
	const interval = 5 * time.Millisecond
	good := [4]float64{2.5, 1.8, 2.5, 5}
	sensortest.Suite(t, func(t *testing.T, clock *sensortest.Clock) sensortest.Subject {
		p := &part{volts: good}
		bus := parttest.NewPart(0x48, func(w, r []byte) error { return p.Tx(0x48, w, r) })
		d, err := New(bus, 0x48, five, inputs[:2])
		if err != nil {
			t.Fatal(err)
		}
		gated := parttest.NewGated(d)
		driver, err := poll.New(gated, poll.Options{Sensor: "adc", Interval: interval, Clock: clock.Now, Room: scale.NewRoom(0, false),
			Fields: []scale.Scale{{From: "ain0", Quantity: sensors.ChamberPressure, Unit: "bar", Reference: scale.Absolute},
				{From: "ain1", Quantity: sensors.UnitPressure, Unit: "bar", Reference: scale.Absolute}}})
		if err != nil {
			t.Fatal(err)
		}
		turn := func(volts [4]float64, spoil func(byte, []byte)) func() {
			return func() { bus.Do(func() { p.volts, p.spoil = volts, spoil }); gated.Turn() }
		}
		flip := func(register byte, r []byte) {
			if register == regConfig {
				r[1] ^= 0x20
			}
		}
		return sensortest.Subject{
			Driver: driver, Sensor: "adc", Silence: poll.SilentIntervals * interval,
			Want:       map[sensors.Quantity]float64{sensors.ChamberPressure: 30e5, sensors.UnitPressure: 50e5},
			Within:     map[sensors.Quantity]float64{sensors.ChamberPressure: 500, sensors.UnitPressure: 500},
			Good:       turn(good, nil),
			Garbled:    turn(good, flip),
			OutOfRange: turn([4]float64{0.2, 3.7 * 0.15, 2.5, 5}, nil),
			Gone:       func() { bus.Unplug(true); gated.Turn() },
			Back:       func() { bus.Unplug(false) },
		}
	})
}

// Whatever the converter holds, a value lies within what its signal can say.
func FuzzCodesNeverPassForAnImpossibleValue(f *testing.F) {
	f.Add(int16(26667), int16(13333), uint8(0), uint8(0))
	f.Add(int16(26667), int16(14400), uint8(1), uint8(1))
	f.Add(int16(26667), int16(26667), uint8(2), uint8(0))
	f.Add(int16(26667), int16(-1), uint8(3), uint8(0))
	f.Fuzz(func(t *testing.T, supply, code int16, kind, span uint8) {
		in := Input{Range: Range(span % 6), Kind: Kind(kind % 4), Low: -1, High: 60, ShuntOhm: 12, SeriesOhm: 1e4, R25Ohm: 1e4, BetaK: 3950, EndOhm: 1e4}
		got := in.result(in.Range.Volts(code), V6.Volts(supply), five)
		if (got.Kind == sensors.OK) == math.IsNaN(got.Value) {
			t.Fatalf("%+v", got)
		}
		if got.Kind != sensors.OK {
			return
		}
		low, high := in.Low-0.025*61-1e-9, in.High+0.0313*61
		switch in.Kind {
		case Thermistor:
			low, high = thermistorLowC, thermistorHighC
		case WetProbe:
			low, high = 0, 1
		}
		if got.Value < low || got.Value > high {
			t.Fatalf("kind %d reads %v", in.Kind, got.Value)
		}
	})
}
