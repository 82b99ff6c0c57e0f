package max31865

import (
	"context"
	"math"
	"slices"
	"strings"
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

func TestTheTableOfIEC60751ComesOutBothWays(t *testing.T) {
	// The table names the source and the tolerance of its rows.
	for _, row := range sensortest.Table(t, "../../testdata/reference/pt100_iec60751.csv", 20) {
		c, ohm := sensortest.Number(t, row[0]), sensortest.Number(t, row[1])
		within, kelvin := 0.005+1e-9, 0.02
		if row[2] == "computed" {
			within, kelvin = 1e-6, 1e-5
		}
		if got := Ohm(100, c); !(math.Abs(got-ohm) <= within) {
			t.Errorf("%v °C is %v ohm, want %v", c, got, ohm)
		}
		if got := Celsius(100, ohm); !(math.Abs(got-c) <= kelvin) {
			t.Errorf("%v ohm is %v °C, want %v", ohm, got, c)
		}
		if got := Celsius(1000, 10*ohm); !(math.Abs(got-c) <= kelvin) {
			t.Errorf("%v ohm of a Pt1000 is %v °C, want %v", 10*ohm, got, c)
		}
	}
	for c := -200.0; c <= 850; c += 0.37 {
		if got := Celsius(100, Ohm(100, c)); !(math.Abs(got-c) < 1e-8) {
			t.Fatalf("%v °C comes back as %v", c, got)
		}
	}
	for _, x := range []float64{-200.1, 850.1, math.NaN(), math.Inf(1)} {
		if got := Ohm(100, x); !math.IsNaN(got) {
			t.Errorf("%v °C is %v ohm", x, got)
		}
	}
	for _, x := range []float64{-1, 0, 18, 391, math.NaN(), math.Inf(1)} {
		if got := Celsius(100, x); !math.IsNaN(got) {
			t.Errorf("%v ohm is %v °C", x, got)
		}
	}
}

var pt100 = Element{R0Ohm: 100, ReferenceOhm: 430, Wires: 3, MainsHz: 50}

const settings = configThreeWire | config50Hz

// limits are 175.856 and 60.256 ohm (IEC 60751, 200 and −100 °C) of 430, × 32768,
// cut to a whole number, × 2.
var limits = []byte{0x68, 0xB2, 0x23, 0xDE}

func shows(config byte, code uint16, fault byte) []byte {
	return slices.Concat([]byte{0, config, byte(code >> 8), byte(code)}, limits, []byte{fault})
}

// at25 is 109.73 ohm of 430, × 32768 × 2.
const at25 = 8362 << 1

// traffic is a start and a measurement, assembled by hand from the data sheet;
// none of it was recorded.
func traffic(code uint16, fault byte) []i2ctest.IO {
	set := func(config byte) i2ctest.IO {
		return i2ctest.IO{W: []byte{0x80, config}, R: make([]byte, 2)}
	}
	all := func(r []byte) i2ctest.IO { return i2ctest.IO{W: make([]byte, 9), R: r} }
	idle, on := shows(settings, 0, 0), shows(settings|0xC0, code, fault)
	return []i2ctest.IO{
		set(settings), {W: append([]byte{0x83}, limits...), R: make([]byte, 5)}, all(idle), all(idle),
		set(settings | 0x82), set(settings | 0x84), set(settings | 0xC0), all(on), all(on), set(settings),
	}
}

func device(t testing.TB, bus i2c.Bus) *Device {
	t.Helper()
	d, err := New(parttest.SPI(bus), pt100)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func measure(t testing.TB, ctx context.Context, bus i2c.Bus) (poll.Result, error) {
	d, results := device(t, bus), make([]poll.Result, 1)
	if err := d.Start(ctx); err != nil {
		return poll.Result{}, err
	}
	err := d.Measure(ctx, results)
	return results[0], err
}

func TestEveryTransferThatIsSpoiledGivesNoValue(t *testing.T) {
	ops := traffic(at25, 0)
	parttest.EachTransfer(t, ops, func(ctx context.Context, bus i2c.Bus) ([]float64, error) {
		r, err := measure(t, ctx, bus)
		if err != nil || r.Kind != sensors.OK {
			return nil, err
		}
		return []float64{r.Value}, nil
	}, func(at, bit int) bool { // while it is written to, the address among it, it says nothing
		return len(ops[at].R) < 9 || bit >= 0 && bit < 8
	})
}

func TestATemperatureIsThatOfItsResistance(t *testing.T) {
	r, err := measure(t, t.Context(), parttest.Play(traffic(at25, 0)...))
	if err != nil || r.Kind != sensors.OK || math.Abs(r.Value-25) > 0.02 {
		t.Errorf("%+v %v", r, err)
	}
}

func TestBrokenAndShortedWiresAreFaults(t *testing.T) {
	for _, f := range []struct {
		name  string
		code  uint16
		fault byte
		kind  sensors.Status
	}{
		{"open element", 0xFFFF, faultHigh | faultRefHigh, sensors.Disconnected},
		{"open force wire", at25 | 1, faultRefOpen, sensors.Disconnected},
		{"open sense wire", at25 | 1, faultRTDOpen, sensors.Disconnected},
		{"above the limit", 0x7001, faultHigh, sensors.Disconnected},
		{"shorted element", 0x0001, faultLow, sensors.OutOfRange},
		{"a wire at the supply", at25 | 1, faultVoltage, sensors.SupplyOff},
		{"at its end, and it does not say so", 0xFFFE, 0, sensors.Saturated},
		{"nothing", 0, 0, sensors.Saturated},
		{"beyond the limit, and it does not say so", 0x7000, 0, sensors.Garbled},
		{"a fault without its bit", at25, faultHigh, sensors.Garbled},
		{"the bit without its fault", at25 | 1, 0, sensors.Garbled},
		{"a fault that does not exist", at25 | 1, 1, sensors.Garbled},
	} {
		r, err := measure(t, t.Context(), parttest.Play(traffic(f.code, f.fault)...))
		if err != nil {
			r.Status = poll.StatusOf(err)
		}
		if r.Kind != f.kind || r.Text == "" {
			t.Errorf("%s: %+v", f.name, r)
		}
	}
}

func TestAPartThatIsNotSetAsItWasToldGivesNothing(t *testing.T) {
	powerOn := []byte{0, 0, 0, 0, 0xFF, 0xFF, 0, 0, 0}
	notYet := shows(settings|0x80, at25, 0) // it does not convert on its own: the number may be old
	for _, f := range []struct {
		name string
		r    []byte
		kind sensors.Status
	}{
		{"power on", powerOn, sensors.Restarted},
		{"no conversion", notYet, sensors.Garbled},
		{"nobody, low", make([]byte, 9), sensors.Disconnected},
		{"nobody, high", []byte{255, 255, 255, 255, 255, 255, 255, 255, 255}, sensors.Disconnected},
	} {
		ops := traffic(at25, 0)
		ops[7].R, ops[8].R = f.r, f.r
		if r, err := measure(t, t.Context(), parttest.Play(ops...)); err == nil || poll.StatusOf(err).Kind != f.kind {
			t.Errorf("%s: %+v %v", f.name, r, err)
		}
	}
}

func TestAnElementThatCannotBeIsRefused(t *testing.T) {
	for want, change := range map[string]func(e *Element){
		"r0_ohm: ":        func(e *Element) { e.R0Ohm = 10 },
		"reference_ohm: ": func(e *Element) { e.R0Ohm = 1000 },
		"wires: ":         func(e *Element) { e.Wires = 0 },
		"mains_hz: ":      func(e *Element) { e.MainsHz = 55 },
	} {
		e := pt100
		change(&e)
		if _, err := New(nil, e); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%s%v", want, err)
		}
	}
	if _, err := New(nil, Element{R0Ohm: 1000, ReferenceOhm: 4300, Wires: 4, MainsHz: 60}); err != nil {
		t.Error(err)
	}
}

func TestItDoesWhatADriverMust(t *testing.T) {
	const interval = 5 * time.Millisecond
	sensortest.Suite(t, func(t *testing.T, clock *sensortest.Clock) sensortest.Subject {
		var config, fault, flip byte
		code := uint16(at25)
		bus := parttest.NewPart(0, func(w, r []byte) error {
			switch {
			case w[0] == 0x80:
				config = w[1] &^ (configClear | configDetect)
			case w[0] == 0:
				copy(r, shows(config, code, fault))
				if flip != 0 {
					flip++
					r[3] ^= flip << 1 // another number each time
				}
			}
			return nil
		})
		d := device(t, bus)
		d.wait = func(context.Context, time.Duration) error { return nil }
		gated := parttest.NewGated(d)
		driver, err := poll.New(gated, poll.Options{Sensor: "t1", Interval: interval, Clock: clock.Now,
			Fields: []scale.Scale{{From: "temperature", Quantity: sensors.ChamberWater, Unit: "C"}}})
		if err != nil {
			t.Fatal(err)
		}
		turn := func(c uint16, f, x byte) func() {
			return func() { bus.Do(func() { code, fault, flip = c, f, x }); gated.Turn() }
		}
		return sensortest.Subject{
			Driver: driver, Sensor: "t1", Silence: poll.SilentIntervals * interval,
			Want:   map[sensors.Quantity]float64{sensors.ChamberWater: 25},
			Within: map[sensors.Quantity]float64{sensors.ChamberWater: 0.02},
			Good:   turn(at25, 0, 0), Garbled: turn(at25, 0, 1), OutOfRange: turn(1, faultLow, 0),
			Gone: func() { bus.Unplug(true); gated.Turn() },
			Back: func() { bus.Unplug(false) },
		}
	})
}

func FuzzRegistersNeverPassForAnImpossibleTemperature(f *testing.F) {
	f.Add(shows(settings|0xC0, at25, 0)[1:])
	d := device(f, nil)
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) < 8 {
			return
		}
		r, err := d.result(registers(b))
		if err == nil && r.Kind == sensors.OK && !(r.Value > limitLowC-0.1 && r.Value < limitHighC+0.1) {
			t.Fatalf("% x reads %+v", b, r)
		}
	})
}
