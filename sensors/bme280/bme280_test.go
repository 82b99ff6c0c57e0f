package bme280

import (
	"context"
	"encoding/json"
	"math"
	"os"
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

// reference is the table, which names the source of each case.
type reference struct {
	Calibration Calibration
	Cases       []struct {
		ADCT uint32  `json:"adc_T"`
		ADCP uint32  `json:"adc_P"`
		ADCH uint32  `json:"adc_H"`
		Fine float64 `json:"t_fine_double"`
		C    float64 `json:"T_double_degC"`
		Pa   float64 `json:"P_double_unrounded_t_fine_Pa"`
		Int  float64 `json:"P_int64_Pa"`
		H    float64 `json:"H_double_percent"`
	}
}

func load(t testing.TB) (r reference) {
	t.Helper()
	text, err := os.ReadFile("../../testdata/reference/bmp280_bme280_compensation.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &r); err != nil || len(r.Cases) < 5 {
		t.Fatal(len(r.Cases), err)
	}
	return r
}

func TestTheExampleOfTheDataSheetComesOut(t *testing.T) {
	r := load(t)
	for i, c := range r.Cases {
		celsius, fine := r.Calibration.Temperature(c.ADCT)
		pa := r.Calibration.Pressure(c.ADCP, fine)
		if math.Abs(celsius-c.C) > 1e-5 || math.Abs(fine-c.Fine) > 1e-4 {
			t.Errorf("case %d: %v °C, fine %v", i, celsius, fine)
		}
		if math.Abs(pa-c.Pa) > 1e-3 || math.Abs(pa-c.Int) > 0.1 {
			t.Errorf("case %d: %v Pa, want %v", i, pa, c.Pa)
		}
		if c.ADCH == 0 {
			continue
		}
		if h := r.Calibration.Humidity(c.ADCH, fine); math.Abs(h-c.H) > 0.002 {
			t.Errorf("case %d: %v %%, want %v", i, h, c.H)
		}
	}
	celsius, fine := r.Calibration.Temperature(519888) // BST-BMP280-DS001, 3.12
	if pa := r.Calibration.Pressure(415148, fine); math.Abs(pa-100653.27) > 0.005 || math.Abs(celsius-25.08) > 0.005 {
		t.Errorf("the sheet's example reads %v Pa at %v °C", pa, celsius)
	}
}

// blocks writes a calibration as the part holds it.
func blocks(c Calibration) (low [lowBytes]byte, high [highBytes]byte) {
	for i, w := range []uint16{c.T1, uint16(c.T2), uint16(c.T3), c.P1, uint16(c.P2), uint16(c.P3), uint16(c.P4), uint16(c.P5),
		uint16(c.P6), uint16(c.P7), uint16(c.P8), uint16(c.P9)} {
		low[2*i], low[2*i+1] = byte(w), byte(w>>8)
	}
	low[25] = c.H1
	high = [highBytes]byte{byte(c.H2), byte(uint16(c.H2) >> 8), c.H3, byte(c.H4 >> 4), byte(c.H4&0xF) | byte(c.H5&0xF)<<4, byte(c.H5 >> 4), byte(c.H6)}
	return low, high
}

func TestACalibrationIsReadAsItIsWritten(t *testing.T) {
	c := load(t).Calibration
	for _, h := range [][2]int16{{334, 50}, {-1, -2048}, {2047, -17}, {-2048, 2047}} {
		c.H4, c.H5 = h[0], h[1]
		if got := parse(blocks(c)); got != c {
			t.Errorf("%+v, want %+v", got, c)
		}
	}
}

// numbers are what the converter gives, with the settings around it.
type numbers struct {
	t, p, h uint32
	status  byte
	control byte
}

func (n numbers) block() []byte {
	return []byte{ctrlHum, n.status, n.control, 0, 0, byte(n.p >> 12), byte(n.p >> 4), byte(n.p << 4),
		byte(n.t >> 12), byte(n.t >> 4), byte(n.t << 4), byte(n.h >> 8), byte(n.h)}
}

var good = numbers{t: 519888, p: 415148, h: 30000, control: ctrl}

// traffic is a start and one measurement, assembled by hand from the sheets; none
// of it was recorded.
func traffic(c Calibration, humid bool, ns ...numbers) []i2ctest.IO {
	low, high := blocks(c)
	io := func(w []byte, r ...byte) i2ctest.IO { return i2ctest.IO{Addr: 0x76, W: w, R: r} }
	id := byte(0x58)
	if humid {
		id = 0x60
	}
	ops := []i2ctest.IO{io([]byte{regID}, id), io([]byte{regReset, resetWord}), io([]byte{regLow}, low[:]...), io([]byte{regLow}, low[:]...)}
	if humid {
		ops = append(ops, io([]byte{regHigh}, high[:]...), io([]byte{regHigh}, high[:]...), io([]byte{regCtrlHum, ctrlHum, regCtrl, 0x55}))
	} else {
		ops = append(ops, io([]byte{regCtrl, 0x55}))
	}
	for _, n := range ns {
		from, block := byte(regCtrlHum), n.block()
		if !humid {
			from, block = regStatus, block[1:11]
		}
		ops = append(ops, io([]byte{from}, block...), io([]byte{from}, block...))
	}
	return ops
}

func device(t testing.TB, bus i2c.Bus, humid bool) (*Device, int) {
	t.Helper()
	d, err := NewBME280(bus, 0x76)
	outputs := 3
	if !humid {
		d, err = NewBMP280(bus, 0x76)
		outputs = 2
	}
	if err != nil {
		t.Fatal(err)
	}
	return d, outputs
}

func measure(t testing.TB, ctx context.Context, bus i2c.Bus, humid bool) ([]poll.Result, error) {
	d, outputs := device(t, bus, humid)
	results := make([]poll.Result, outputs)
	if err := d.Start(ctx); err != nil {
		return nil, err
	}
	return results, d.Measure(ctx, results)
}

func TestEveryTransferThatIsSpoiledGivesNoValue(t *testing.T) {
	c := load(t).Calibration
	for _, humid := range []bool{true, false} {
		parttest.EachTransfer(t, traffic(c, humid, good), func(ctx context.Context, bus i2c.Bus) (values []float64, err error) {
			results, err := measure(t, ctx, bus, humid)
			for _, r := range results {
				if err == nil && r.Kind == sensors.OK {
					values = append(values, r.Value)
				}
			}
			return values, err
		}, nil)
	}
}

func TestWhatCannotBeTrustedIsAFault(t *testing.T) {
	c := load(t).Calibration
	with := func(change func(n *numbers)) numbers { n := good; change(&n); return n }
	const all = 3
	for _, f := range []struct {
		name   string
		n      numbers
		output int
		status sensors.Status
	}{
		{"pressure skipped", with(func(n *numbers) { n.p = 0x80000 }), Pressure, sensors.NoReading},
		{"pressure at its end", with(func(n *numbers) { n.p = 0 }), Pressure, sensors.Saturated},
		{"pressure too high", with(func(n *numbers) { n.p = 200000 }), Pressure, sensors.OutOfRange},
		{"temperature skipped", with(func(n *numbers) { n.t = 0x80000 }), all, sensors.NoReading},
		{"temperature at its end", with(func(n *numbers) { n.t = 0xFFFFF }), all, sensors.Saturated},
		{"too cold", with(func(n *numbers) { n.t = 200000 }), all, sensors.OutOfRange},
		{"humidity skipped", with(func(n *numbers) { n.h = 0x8000 }), Humidity, sensors.NoReading},
		{"humidity at its end", with(func(n *numbers) { n.h = 0xFFFF }), Humidity, sensors.Saturated},
	} {
		results, err := measure(t, t.Context(), parttest.Play(traffic(c, true, f.n)...), true)
		if err != nil {
			t.Fatal(err)
		}
		for i, r := range results {
			if bad := f.output == i || f.output == all; bad && (r.Kind != f.status || !math.IsNaN(r.Value)) || !bad && r.Kind != sensors.OK {
				t.Errorf("%s: output %d is %+v", f.name, i, r)
			}
		}
	}
	lost := with(func(n *numbers) { n.control = 0 })
	if _, err := measure(t, t.Context(), parttest.Play(traffic(c, true, lost)...), true); err == nil || poll.StatusOf(err).Kind != sensors.Restarted {
		t.Errorf("its power was lost: %v", err)
	}
	busy := with(func(n *numbers) { n.status, n.control = 8, 0x55 })
	if results, err := measure(t, t.Context(), parttest.Play(traffic(c, true, busy, busy, good)...), true); err != nil || results[Pressure].Kind != sensors.OK {
		t.Errorf("a little slow: %v", err)
	}
	if _, err := measure(t, t.Context(), parttest.Play(traffic(c, true, busy, busy, busy, busy, busy, busy)...), true); err == nil || poll.StatusOf(err).Kind != sensors.NoReading {
		t.Errorf("it never ends: %v", err)
	}
	flat := c
	flat.H2 = 0
	if _, err := measure(t, t.Context(), parttest.Play(traffic(flat, true, good)...), true); err == nil {
		t.Error("a calibration that cannot be is taken")
	}
	wet := with(func(n *numbers) { n.h = 45000 }) // more than 100 %: not cut
	if results, err := measure(t, t.Context(), parttest.Play(traffic(c, true, wet)...), true); err != nil || !(results[Humidity].Value > 100) {
		t.Errorf("%+v %v", results, err)
	}
}

func TestOnlyTheirOwnAddressesAreTaken(t *testing.T) {
	for addr, right := range map[uint16]bool{0x75: false, 0x76: true, 0x77: true} {
		_, one := NewBME280(nil, addr)
		_, two := NewBMP280(nil, addr)
		if (one == nil) != right || (two == nil) != right {
			t.Errorf("%x: %v %v", addr, one, two)
		}
	}
}

func TestBothDoWhatADriverMust(t *testing.T) {
	c := load(t).Calibration
	low, high := blocks(c)
	const interval = 5 * time.Millisecond
	for _, humid := range []bool{true, false} {
		sensortest.Suite(t, func(t *testing.T, clock *sensortest.Clock) sensortest.Subject {
			now, flip := good, byte(0)
			bus := parttest.NewPart(0x76, func(w, r []byte) error {
				switch w[0] {
				case regID:
					r[0] = 0x58
					if humid {
						r[0] = 0x60
					}
				case regLow:
					copy(r, low[:])
				case regHigh:
					copy(r, high[:])
				case regCtrlHum, regStatus:
					if len(r) > 0 {
						copy(r, now.block()[w[0]-regCtrlHum:])
						r[7] ^= flip // another bit each time
						if flip != 0 {
							flip++
						}
					}
				}
				return nil
			})
			d, _ := device(t, bus, humid)
			fields := []scale.Scale{{From: "pressure", Quantity: sensors.UnitPressure, Unit: "Pa", Reference: scale.Absolute},
				{From: "temperature", Quantity: sensors.UnitTemperature, Unit: "C"}, {From: "humidity", Quantity: sensors.UnitHumidity, Unit: "%"}}
			want := map[sensors.Quantity]float64{sensors.UnitPressure: 100653.27, sensors.UnitTemperature: 25.08248, sensors.UnitHumidity: 47.51779}
			if !humid {
				fields = fields[:2]
				delete(want, sensors.UnitHumidity)
			}
			gated := parttest.NewGated(d)
			driver, err := poll.New(gated, poll.Options{Sensor: "in", Interval: interval, Clock: clock.Now, Room: scale.NewRoom(0, false), Fields: fields})
			if err != nil {
				t.Fatal(err)
			}
			turn := func(change func()) func() { return func() { bus.Do(change); gated.Turn() } }
			return sensortest.Subject{
				Driver: driver, Sensor: "in", Silence: poll.SilentIntervals * interval, Want: want,
				Within:     map[sensors.Quantity]float64{sensors.UnitPressure: 0.01, sensors.UnitTemperature: 1e-4, sensors.UnitHumidity: 0.01},
				Good:       turn(func() { now, flip = good, 0 }),
				Garbled:    turn(func() { flip = 1 }),
				OutOfRange: turn(func() { now.t, flip = 200000, 0 }),
				Gone:       func() { bus.Unplug(true); gated.Turn() },
				Back:       func() { bus.Unplug(false) },
			}
		})
	}
}

func FuzzWhatThePartHoldsNeverPassesForAnImpossibleValue(f *testing.F) {
	low, high := blocks(load(f).Calibration)
	f.Add(append(append(append([]byte{}, low[:]...), high[:]...), good.block()...))
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) < lowBytes+highBytes+13 {
			return
		}
		d := Device{name: "BME280", humid: true, c: parse([lowBytes]byte(b), [highBytes]byte(b[lowBytes:]))}
		results := make([]poll.Result, 3)
		err := d.results([13]byte(b[lowBytes+highBytes:]), results)
		if err != nil {
			if poll.StatusOf(err).Kind == sensors.OK {
				t.Fatal(err)
			}
			return
		}
		if p := results[Pressure]; p.Kind == sensors.OK && !(p.Value >= lowPa && p.Value <= highPa) {
			t.Fatalf("%+v", p)
		}
		if c := results[Temperature]; c.Kind == sensors.OK && !(c.Value >= lowC && c.Value <= highC) {
			t.Fatalf("%+v", c)
		}
		if h := results[Humidity]; h.Kind == sensors.OK && math.IsNaN(h.Value) {
			t.Fatalf("%+v", h)
		}
	})
}
