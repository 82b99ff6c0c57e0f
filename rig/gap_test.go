package rig_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/sensors"
)

func gapSheet(edit func(*setup.Bench)) setup.Run {
	run := setup.Run{Format: 1, Bench: simbench.BuiltInBench(), Unit: simbench.BuiltInUnit()}
	run.Profile.Accept.LeakMLPerH = 0.5
	if edit != nil {
		edit(&run.Bench)
	}
	return run
}

func TestTheGapOfAGasChamberIsJudgedByTheGasLaw(t *testing.T) {
	const room = 101300
	nan := math.NaN()
	gas := gapSheet(func(b *setup.Bench) { b.Medium, b.GasCushionML, b.StiffnessMLPerBar = setup.MediumGas, 0, 0 })
	// Worked by hand: 400 kPa absolute at 15 °C, 3 K colder: 400·(1 − 3/288.15) = 395.84 kPa.
	base := rig.Gap{Before: rig.GapSide{Pa: 4e5, U: 20, GasC: 15, WaterC: nan}, After: rig.GapSide{Pa: 395_835, U: 20, GasC: 12, WaterC: nan},
		Length: time.Hour, ClockTrusted: true}
	for _, c := range []struct {
		what string
		edit func(*rig.Gap)
		want rig.GapOutcome
		text string
	}{
		{"colder gas", func(*rig.Gap) {}, rig.GapHeld, "held: 400000 Pa absolute before, 395835 after 1h0m0s; 395836 ± "},
		{"as it was, though colder", func(g *rig.Gap) { g.After.Pa = 4e5 }, rig.GapUnknown, "unknown: "},
		{"as it was, without a thermometer", func(g *rig.Gap) { g.After.Pa, g.Before.GasC = 4e5, nan }, rig.GapHeld, "(no thermometer in the chamber: 2 K assumed)"},
		{"half gone", func(g *rig.Gap) { g.After.Pa = 2.5e5 }, rig.GapUnknown, "unknown: "},
		{"gone", func(g *rig.Gap) { g.After.Pa = 102e3 }, rig.GapLost, "lost: 400000 Pa absolute before, 102000 after 1h0m0s"},
		{"the vent opened", func(g *rig.Gap) { g.VentOpened = true }, rig.GapLost, "lost: "},
		{"a clock that was set back", func(g *rig.Gap) { g.ClockTrusted, g.Clock = false, "; the clock was set back" }, rig.GapUnknown, "after a time that is not known; 395836"},
		{"more than before", func(g *rig.Gap) { g.After.Pa = 4.2e5 }, rig.GapUnknown, "unknown: "},
	} {
		g := base
		c.edit(&g)
		got, text := rig.JudgeGap(gas, room, g)
		if got != c.want || !strings.Contains(text, c.text) {
			t.Errorf("%s: %s, %q; want %s with %q", c.what, got, text, c.want, c.text)
		}
	}
}

// TestTheGapOfAPotFullOfWaterIsJudgedByItsWater: water pumped in squeezes the
// cushion, and a thermometer in the water alone stands for the gas too.
func TestTheGapOfAPotFullOfWaterIsJudgedByItsWater(t *testing.T) {
	const room = 101300
	nan := math.NaN()
	full := gapSheet(func(b *setup.Bench) {
		b.Medium, b.Supply, b.ChamberVolumeML, b.GasCushionML, b.StiffnessMLPerBar = setup.MediumWater, setup.SupplyWater, 10_000, 100, 2
	})
	full.Unit.OuterVolumeML = 0
	// Worked by hand for 400 kPa absolute and water that is 1 K warmer than 20 °C:
	// the cushion has 100 ml · 101.3/400 = 25.33 ml, gives 25.33e-6/4e5 = 6.33e-11,
	// the chamber 2e-11 m³/Pa: C = 8.33e-11. Gas: 25.33e-6/293.15/8.33e-11 = 1037 Pa/K.
	// Water at 20 °C: β = 2.07e-4/K (IAPWS R6-95), 9900 ml: 2.05e-6/8.33e-11 = 24.6 kPa/K.
	const want = 4e5 + 1037 + 24600
	g := rig.Gap{Before: rig.GapSide{Pa: 4e5, U: 20, GasC: nan, WaterC: 20}, After: rig.GapSide{Pa: want, U: 20, GasC: nan, WaterC: 21},
		Length: time.Hour, ClockTrusted: true}
	got, text := rig.JudgeGap(full, room, g)
	var after, expected, doubt float64
	if _, err := fmt.Sscanf(text, "held: 400000 Pa absolute before, %f after 1h0m0s; %f ± %f were", &after, &expected, &doubt); err != nil || got != rig.GapHeld || math.Abs(expected-want) > 0.01*want {
		t.Errorf("%s, %q, %v; want about %.0f Pa", got, text, err, float64(want))
	}
	if strings.Contains(text, "no thermometer") {
		t.Errorf("the water's thermometer is not seen: %q", text)
	}
}

func TestASideOfAGapWithoutReadingsKnowsNothing(t *testing.T) {
	var s rig.Side
	s.See(&sensors.Reading{Sensor: "p1", Quantity: sensors.ChamberPressure, Status: sensors.Garbled, Value: 4e5}, "p1")
	s.See(&sensors.Reading{Sensor: "p2", Quantity: sensors.ChamberPressure, Value: 4e5}, "p1")
	s.See(&sensors.Reading{Sensor: "t1", Quantity: sensors.ChamberWater, Value: 12}, "p1")
	if g := s.Ends(); s.Known() || g.Pa != 0 || g.WaterC != 12 || !math.IsNaN(g.GasC) {
		t.Errorf("known %v: %+v", s.Known(), g)
	}
	s.See(&sensors.Reading{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: 4e5}, "p1")
	if g := s.Ends(); !s.Known() || g.Pa != 4e5 {
		t.Errorf("known %v: %+v", s.Known(), g)
	}
}

// TestTheGapsOfASimulatedBenchAreJudgedAsTheyWere pressurises the simulated
// bench, looks away, and judges by its own sensors.
func TestTheGapsOfASimulatedBenchAreJudgedAsTheyWere(t *testing.T) {
	for _, c := range []struct {
		fault string
		gap   time.Duration
		vent  bool
		want  rig.GapOutcome
	}{
		{"", 20 * time.Minute, false, rig.GapHeld},
		{"", 8 * time.Hour, false, rig.GapHeld},
		{"day swings, 5 K", 8 * time.Hour, false, rig.GapHeld},
		{"room warms, 2 K/h", 2 * time.Hour, false, rig.GapHeld},
		{"bench leaks, 60 ml/h", 4 * time.Hour, false, rig.GapUnknown},
		{"lid opens at 120 min", 4 * time.Hour, false, rig.GapLost},
		{"", 30 * time.Minute, true, rig.GapLost},
	} {
		for seed := uint64(1); seed <= 4; seed++ {
			run := gapSheet(nil)
			run.Unit.SealedPa = run.Bench.RoomPa
			cfg := simbench.Default(run, seed)
			start := time.Date(2026, 3, 14, 20, 0, 0, 0, time.UTC)
			b := broken(t, cfg, c.fault, start)
			var now time.Duration
			look := func(length time.Duration, v rig.Valves) (g rig.Side) {
				for end := now + length; now < end; {
					now += 500 * time.Millisecond
					if err := b.Drive(rig.Instant{Mono: now}, v); err != nil {
						t.Fatal(err)
					}
					for _, r := range b.Read(rig.Instant{Mono: now}, nil) {
						g.See(&r, "p1")
					}
				}
				return g
			}
			pressure := look(time.Second, rig.Valves{})
			for n := 0; pressure.Last() < 4e5 && n < 1200; n++ {
				pressure = look(time.Second, rig.Valves{Fill: true})
			}
			look(40*time.Minute, rig.Valves{})
			before := look(5*time.Minute, rig.Valves{})
			look(c.gap, rig.Valves{Vent: c.vent})
			after := look(5*time.Second, rig.Valves{Vent: c.vent})
			got, text := rig.JudgeGap(run, run.Bench.RoomPa, rig.Gap{Before: before.Ends(), After: after.Ends(), Length: c.gap, ClockTrusted: true})
			if got != c.want {
				t.Errorf("%q, seed %d: %s", c.fault, seed, text)
			}
		}
	}
}
