package simbench_test

import (
	"context"
	"math"
	"testing"
	"time"

	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/sensors"
)

// seen is what a stage showed, from its settle to the end of its hold.
type seen struct {
	held          bool
	fill          bool    // the fill stood open
	mostPa        float64 // Pa, of the chamber above the room
	leastInsidePa float64 // Pa, below the room
	insideC       float64 // °C, at the end of the hold
	startC        float64 // °C, at the start of the settle
	waterC        float64 // °C, at the end of the hold
	insidePa      float64 // Pa absolute, at the end of the hold
	prompts       []rig.PromptKind
}

// work runs a profile on a bench whose simulated person does what is asked.
func work(t *testing.T, bench setup.Bench, stages []profiles.Stage, seed uint64, faults ...string) (map[string]*seen, rig.State, *simbench.Bench) {
	t.Helper()
	run := sheet(bench)
	run.Profile.Stages = stages
	plan, err := rig.NewPlan(run)
	if err != nil {
		t.Fatal(err)
	}
	c := simbench.Default(run, seed)
	for _, f := range faults {
		u, err := simbench.ParseUnitFault(f)
		if err != nil {
			t.Fatal(err)
		}
		c.UnitFaults = append(c.UnitFaults, u)
	}
	start := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
	b, err := simbench.New(c, start)
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]*seen{}
	loop := &rig.Loop{Plan: plan, Devices: b, Clock: rig.NewSimClock(start, 0), Recorder: &quiet{}, SyncEvery: time.Hour,
		Operator: func() rig.Operator { return rig.Operator{Ready: b.Answered()} },
		Observe: func(_ rig.Instant, s *rig.State, out *rig.Output, _ []sensors.Reading) {
			if s.Phase == rig.Ready || s.Phase == rig.Done || s.Phase == rig.Vent {
				return
			}
			leg := &plan.Legs[s.Leg]
			v, ok := all[leg.Name]
			if !ok {
				v = &seen{}
				all[leg.Name] = v
			}
			truth := b.Truth()
			if k := out.Prompt.Kind; len(v.prompts) == 0 || v.prompts[len(v.prompts)-1] != k {
				v.prompts = append(v.prompts, k)
			}
			if leg.Ask != rig.NoPrompt {
				v.fill = v.fill || out.Valves.Fill
				v.mostPa = max(v.mostPa, truth.ChamberPa-truth.RoomPa)
			}
			v.leastInsidePa = max(v.leastInsidePa, truth.RoomPa-truth.InsidePa)
			switch s.Phase {
			case rig.Settle:
				if v.startC == 0 {
					v.startC = truth.UnitC
				}
			case rig.Hold:
				v.held = true
				v.insideC, v.waterC, v.insidePa = truth.UnitC, truth.WaterC, truth.InsidePa
			}
		}}
	if err := loop.Run(context.Background()); err != nil {
		t.Fatal(err)
	}
	return all, loop.State(), b
}

func handAndValves() map[string]setup.Bench {
	return map[string]setup.Bench{"valves": simbench.BuiltInBench(), "by hand": simbench.BuiltInHandBench()}
}

func TestAVacuumCheckDrawsTheUnitDownAndNeverFills(t *testing.T) {
	for name, bench := range handAndValves() {
		for seed := range uint64(5) {
			all, state, b := work(t, bench, []profiles.Stage{
				{Name: "vacuum", Kind: profiles.KindVacuum, VacuumPa: 25000, SettleS: 180, HoldS: 600},
				{Name: "shallow", DepthM: 3, SettleS: 60, HoldS: 120},
			}, seed)
			v := all["vacuum"]
			if !v.held || v.fill || v.mostPa > 300 {
				t.Errorf("%s, seed %d: held %v, fill %v, %.0f Pa over the room", name, seed, v.held, v.fill, v.mostPa)
			}
			if v.leastInsidePa < 23500 || v.leastInsidePa > 27500 {
				t.Errorf("%s, seed %d: drawn to %.0f Pa below the room, want 25000", name, seed, v.leastInsidePa)
			}
			if truth := b.Truth(); !all["shallow"].held || state.Stopped != rig.NotStopped || math.Abs(all["shallow"].insidePa-truth.RoomPa) > 1500 {
				t.Errorf("%s, seed %d: stopped %v, closed at %.0f Pa in a room of %.0f Pa", name, seed, state.Stopped, all["shallow"].insidePa, truth.RoomPa)
			}
		}
	}
}

func TestAWarmUnitPutIntoTheWaterSucks(t *testing.T) {
	for name, bench := range handAndValves() {
		all, state, _ := work(t, bench, []profiles.Stage{
			{Name: "plunge", Kind: profiles.KindPlunge, DepthM: 1, WarmerK: 27, SettleS: 2400, HoldS: 600},
		}, 3)
		v := all["plunge"]
		if !v.held || v.fill || state.Stopped != rig.NotStopped {
			t.Fatalf("%s: %+v, stopped %v", name, v, state.Stopped)
		}
		// 27 K of 318 K: 85 … 100 mbar for 27 … 31 K.
		if v.leastInsidePa < 7000 || v.leastInsidePa > 10000 || v.startC-v.insideC < 15 {
			t.Errorf("%s: sucks %.0f Pa, cooled by %.1f K", name, v.leastInsidePa, v.startC-v.insideC)
		}
	}
}

func TestAUnitUnderPowerWarmsItsOwnInsideAndCoolsAgain(t *testing.T) {
	for name, bench := range handAndValves() {
		all, state, b := work(t, bench, []profiles.Stage{
			{Name: "powered", Kind: profiles.KindPowered, DepthM: 10, WarmerK: 15, SettleS: 3600, HoldS: 600},
			{Name: "after", DepthM: 10, SettleS: 3600, HoldS: 60},
		}, 4)
		v := all["powered"]
		if above := v.insideC - v.waterC; !v.held || above < 13 || above > 17 || state.Stopped != rig.NotStopped {
			t.Errorf("%s: %.1f K above the water, stopped %v", name, above, state.Stopped)
		}
		if a := all["after"]; a.insideC-a.waterC > 1.5 {
			t.Errorf("%s: %.1f K above the water an hour after the load was switched off", name, a.insideC-a.waterC)
		}
		if b.Truth().Failed {
			t.Errorf("%s: a tight unit failed", name)
		}
	}
}

func TestALeakUnderVacuumLetsAirIn(t *testing.T) {
	tight, _, _ := work(t, simbench.BuiltInBench(), []profiles.Stage{{Name: "vacuum", Kind: profiles.KindVacuum, VacuumPa: 25000, SettleS: 180, HoldS: 900}}, 2)
	leaky, _, b := work(t, simbench.BuiltInBench(), []profiles.Stage{{Name: "vacuum", Kind: profiles.KindVacuum, VacuumPa: 25000, SettleS: 180, HoldS: 900}}, 2, "seep at 1 m, 0.2 ml/h")
	// 0.2 ml/h of water at 9.8 kPa is 0.51 ml/h at 25 kPa: some 55 times as much of
	// air by volume, 28 ml/h into 520 ml in 18 min: 1.2 kPa.
	if rise := leaky["vacuum"].insidePa - tight["vacuum"].insidePa; rise < 900 || rise > 1700 || !b.Truth().Failed {
		t.Errorf("the leak raised the inside by %.0f Pa", rise)
	}
}
