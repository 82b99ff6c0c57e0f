package simbench_test

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/sensors"
)

// pots are benches from soft to stiff: a pot of gas takes litres for what a full
// one does with a millilitre.
var pots = []struct {
	name   string
	change func(*setup.Bench)
}{
	{"gas, 5 l", func(b *setup.Bench) {
		b.Medium, b.ChamberVolumeML, b.GasCushionML, b.StiffnessMLPerBar = setup.MediumGas, 5000, 0, 0.2
	}},
	{"gas, 60 l", func(b *setup.Bench) {
		b.Medium, b.ChamberVolumeML, b.GasCushionML, b.StiffnessMLPerBar = setup.MediumGas, 60000, 0, 2
	}},
	{"water, 2 l of gas", func(b *setup.Bench) { b.ChamberVolumeML, b.GasCushionML, b.StiffnessMLPerBar = 40000, 2000, 4 }},
	{"water, 300 ml of gas", func(b *setup.Bench) {}},
	{"water, 30 ml of gas, gas supply", func(b *setup.Bench) { b.GasCushionML = 30 }},
	{"water, 50 ml of gas, pumped", func(b *setup.Bench) { b.Supply, b.GasCushionML = setup.SupplyWater, 50 }},
	{"full of water, pumped", func(b *setup.Bench) { b.Supply, b.GasCushionML, b.StiffnessMLPerBar = setup.SupplyWater, 1, 0.9 }},
}

// TestARampDoesNotOvershoot: 0.5 % of the target's gauge pressure or three counts
// of the sensor, whichever is more, as the sensor shows it and as it is, in pots
// from soft to stiff, with loops from fast to slow; and the ramp keeps its rate.
func TestARampDoesNotOvershoot(t *testing.T) {
	periods := []float64{20, 100, 500, 1000}
	if testing.Short() {
		periods = []float64{100, 500}
	}
	for _, pot := range pots {
		for _, ms := range periods {
			for seed := range uint64(3) {
				run := sheet(simbench.BuiltInBench())
				pot.change(&run.Bench)
				run.Bench.PeriodMS = ms
				run.Profile.Stages = []profiles.Stage{
					{Name: "shallow", DepthM: 3, SettleS: 30, HoldS: 30},
					{Name: "middle", DepthM: 20, SettleS: 30, HoldS: 30},
					{Name: "proof", DepthM: 37.5, SettleS: 30, HoldS: 30},
					{Name: "return", DepthM: 3, SettleS: 30, HoldS: 30},
				}
				t.Run(fmt.Sprintf("%s, %g ms, seed %d", pot.name, ms, seed), func(t *testing.T) { overshoots(t, run, seed) })
			}
		}
	}
}

func overshoots(t *testing.T, run setup.Run, seed uint64) {
	plan, err := rig.NewPlan(run)
	if err != nil {
		t.Fatal(err)
	}
	cfg := simbench.Default(run, seed)
	if plan.Period < 500*time.Millisecond {
		cfg.Sampling(plan.Period)
	}
	start := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
	b, err := simbench.New(cfg, start)
	if err != nil {
		t.Fatal(err)
	}
	n := len(plan.Legs)
	over, began, arrived, rested := make([]float64, n), make([]time.Duration, n), make([]time.Duration, n), make([]float64, n)
	pulses := 0
	loop := &rig.Loop{Plan: plan, Devices: b, Clock: rig.NewSimClock(start, 0), Recorder: &quiet{}, SyncEvery: time.Hour,
		Observe: func(now rig.Instant, s *rig.State, out *rig.Output, _ []sensors.Reading) {
			for _, e := range out.Events() {
				if e.Kind == rig.ValveEvent && e.Open {
					pulses++
				}
				if e.Kind == rig.FaultEvent && e.Word != "falls" && e.Word != "fill-passes" {
					t.Errorf("%s: fault %s: %s", now.Mono, e.Word, e.Text)
				}
			}
			if s.Phase != rig.Ramp && s.Phase != rig.Settle {
				return
			}
			truth, leg := b.Truth().ChamberPa, &plan.Legs[s.Leg]
			if s.Phase == rig.Ramp && began[s.Leg] == 0 {
				began[s.Leg] = now.Mono
			}
			if s.Phase == rig.Settle && rested[s.Leg] == 0 {
				rested[s.Leg] = truth - leg.TargetPa
			}
			past := truth - leg.TargetPa
			if leg.TargetPa < s.StartPa {
				past = -past
			}
			if past > -1000 && arrived[s.Leg] == 0 {
				arrived[s.Leg] = now.Mono
			}
			over[s.Leg] = max(over[s.Leg], past)
		}}
	if err := loop.Run(context.Background()); err != nil {
		t.Fatal(err)
	}
	// What the sensor is off by is no overshoot of the control.
	off := 0.0
	for _, c := range cfg.Sensors[0].Channels {
		off += math.Abs(c.Offset) + 3*c.Noise
	}
	line := ""
	for i := range plan.Legs {
		leg := &plan.Legs[i]
		allowed := max(0.005*(leg.TargetPa-plan.RoomPa), 3*plan.NoisePa)
		took, want := (arrived[i] - began[i]).Seconds(), leg.Ramp.Seconds()
		line += fmt.Sprintf("  %.1f m: over %.0f of %.0f Pa, left at %+.0f, ramp %.0f of %.0f s;", leg.DepthM, over[i], allowed, rested[i], took, want)
		if over[i] > allowed+off {
			t.Errorf("%.1f m: %.0f Pa beyond the target, allowed are %.0f Pa (sensor %.0f Pa)", leg.DepthM, over[i], allowed, off)
		}
	}
	t.Logf("%d openings;%s", pulses, line)
}
