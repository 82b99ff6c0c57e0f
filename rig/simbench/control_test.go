package simbench

import (
	"testing"
	"time"

	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// lake is the water that the tests mean their depths in: 9,789 Pa a metre.
func lake(depthM float64) float64 { return 998.2 * 9.80665 * depthM }

var testStart = time.Date(2026, 3, 14, 8, 15, 2, 0, time.UTC)

// builtIn is the sheet of the built-in bench and unit with two stages.
func builtIn() setup.Run {
	return setup.Run{Format: 1, Unit: BuiltInUnit(), Bench: BuiltInBench(), Profile: profiles.Profile{
		Name: "test", ProofFactor: 1.25, RampMPerMin: 40.0 / 3,
		Water: profiles.Water{Model: "fresh", TemperatureC: 18, LatitudeDeg: 46},
		Stages: []profiles.Stage{
			{Name: "shallow", DepthM: 3, SettleS: 120, HoldS: 300},
			{Name: "proof", DepthM: 37.5, SettleS: 300, HoldS: 900},
		},
	}}
}

func config(t testing.TB, seed uint64) Config {
	t.Helper()
	c := Default(builtIn(), seed)
	c.GaugePa = lake
	return c
}

func withUnitFault(t testing.TB, c Config, text string) Config {
	t.Helper()
	f, err := ParseUnitFault(text)
	if err != nil {
		t.Fatal(err)
	}
	c.UnitFaults = append(c.UnitFaults, f)
	return c
}

func withBenchFault(t testing.TB, c Config, texts ...string) Config {
	t.Helper()
	for _, text := range texts {
		f, err := ParseBenchFault(text)
		if err != nil {
			t.Fatal(err)
		}
		c.BenchFaults = append(c.BenchFaults, f)
	}
	return c
}

func bench(t testing.TB, c Config) *Bench {
	t.Helper()
	b, err := New(c, testStart)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// controller ramps a bench to depths and holds there, by its first pressure
// sensor. It is only for the tests of the bench.
type controller struct {
	t       testing.TB
	b       *Bench
	period  time.Duration
	now     rig.Instant
	buffer  []sensors.Reading
	all     []sensors.Reading // every reading, if keep
	keep    bool
	pa      float64
	pulsePa float64 // what one period of filling brings
	each    func()
}

func control(t testing.TB, b *Bench) *controller {
	return &controller{t: t, b: b, period: 500 * time.Millisecond, pa: b.cfg.Room.StartPa}
}

// tick is one period of the loop: read, then drive.
func (c *controller) tick(want rig.Valves) {
	c.now.Mono += c.period
	c.now.Wall = testStart.Add(c.now.Mono)
	before := c.pa
	c.buffer = c.b.Read(c.now, c.buffer[:0])
	for _, r := range c.buffer {
		if r.Quantity == sensors.ChamberPressure && r.Status == sensors.OK {
			c.pa = r.Value
		}
	}
	if want.Fill {
		c.pulsePa += 0.3 * (max(c.pa-before, 0) - c.pulsePa)
	}
	if c.keep {
		c.all = append(c.all, c.buffer...)
	}
	if err := c.b.Drive(c.now, want); err != nil && c.b.fx == (effects{}) {
		c.t.Fatal(err)
	}
	if c.each != nil {
		c.each()
	}
}

// to goes to a depth at a rate, tops up for a minute, and gives how long it took.
func (c *controller) to(depthM, mPerMin float64) time.Duration {
	from, target := c.pa, c.b.cfg.Room.StartPa+lake(depthM)
	began := c.now.Mono
	rate := lake(mPerMin) / 60
	reached := time.Duration(-1)
	for limit := c.now.Mono + seconds(4*max(target-from, from-target)/rate) + 3*time.Minute; c.now.Mono < limit; {
		run := rate * (c.now.Mono - began).Seconds()
		var v rig.Valves
		if target >= from {
			line := min(target, from+run)
			v.Fill = c.pa < line && c.pa+0.7*c.pulsePa < target
		} else {
			v.Vent = c.pa > max(target, from-run)
		}
		c.tick(v)
		there := c.pa+max(0.8*c.pulsePa, 500) >= target
		if target < from {
			there = c.pa <= target+500
		}
		if there && reached < 0 {
			reached = c.now.Mono
		}
		if reached >= 0 && c.now.Mono-reached > time.Minute {
			break
		}
	}
	if reached < 0 {
		reached = c.now.Mono
	}
	return reached - began
}

// hold shuts both valves for a time.
func (c *controller) hold(d time.Duration) {
	for end := c.now.Mono + d; c.now.Mono < end; {
		c.tick(rig.Valves{})
	}
}
