package simbench_test

import (
	"context"
	"errors"
	"math"
	"testing"
	"time"

	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/sensors"
)

// quiet is a recorder that keeps nothing.
type quiet struct{ notes []string }

func (quiet) Readings([]sensors.Reading)                                 {}
func (quiet) Valve(time.Duration, string, bool)                          {}
func (quiet) Setpoint(time.Duration, float64)                            {}
func (quiet) Stage(time.Duration, string, int, string, float64, float64) {}
func (quiet) Fault(time.Duration, string, string, string, string)        {}
func (q *quiet) Note(_ time.Duration, text string)                       { q.notes = append(q.notes, text) }
func (q *quiet) Run(_ time.Duration, event, text string)                 { q.notes = append(q.notes, event+": "+text) }
func (quiet) Flush(time.Duration) error                                  { return nil }
func (quiet) Sync() error                                                { return nil }

func sheet(bench setup.Bench) setup.Run {
	return setup.Run{Format: 1, Unit: simbench.BuiltInUnit(), Bench: bench, Profile: profiles.Profile{Accept: profiles.Accept{LeakMLPerH: 1},
		Name: "test", ProofFactor: 1.25, RampMPerMin: 10,
		Water: profiles.Water{Model: "fresh", TemperatureC: 18, LatitudeDeg: 46},
		Stages: []profiles.Stage{
			{Name: "shallow", DepthM: 3, SettleS: 120, HoldS: 300},
			{Name: "middle", DepthM: 20, SettleS: 120, HoldS: 300},
			{Name: "proof", DepthM: 37.5, SettleS: 300, HoldS: 900},
		},
	}}
}

// drive runs a sheet through the rig's own loop.
func drive(t *testing.T, run setup.Run, seed uint64, faults ...string) (*simbench.Bench, rig.State, *rig.Plan, []float64) {
	t.Helper()
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
	over := make([]float64, len(plan.Legs))
	loop := &rig.Loop{Plan: plan, Devices: b, Clock: rig.NewSimClock(start, 0), Recorder: &quiet{}, SyncEvery: time.Hour,
		Observe: func(_ rig.Instant, s *rig.State, _ *rig.Output, _ []sensors.Reading) {
			if s.Phase == rig.Ramp || s.Phase == rig.Settle {
				over[s.Leg] = max(over[s.Leg], b.Truth().ChamberPa-plan.Legs[s.Leg].TargetPa)
			}
		}}
	if err := loop.Run(context.Background()); err != nil {
		t.Fatal(err)
	}
	return b, loop.State(), plan, over
}

func TestTheRigRunsTheBuiltInBench(t *testing.T) {
	for seed := range uint64(5) {
		b, state, plan, over := drive(t, sheet(simbench.BuiltInBench()), seed)
		if state.Stopped != rig.NotStopped || state.Phase != rig.Done {
			t.Errorf("seed %d: stopped %v in %v", seed, state.Stopped, state.Phase)
		}
		for i, pa := range over {
			if gauge := plan.Legs[i].TargetPa - plan.RoomPa; pa > max(0.02*gauge, 2200) {
				t.Errorf("seed %d: %.0f Pa over at %g m", seed, pa, plan.Legs[i].DepthM)
			}
		}
		if got := b.Truth(); got.Failed || got.ChamberPa > got.RoomPa+2500 {
			t.Errorf("seed %d: %+v", seed, got)
		}
	}
}

func TestTheRigFindsALeakAtItsDepth(t *testing.T) {
	run := sheet(simbench.BuiltInBench())
	column, err := profiles.NewColumn(run.Profile.Water)
	if err != nil {
		t.Fatal(err)
	}
	b, _, _, _ := drive(t, run, 2, "burst at 18 m")
	if got := b.Truth(); !got.Failed || math.Abs(got.OnsetPa-column.GaugePa(18)) > 20 {
		t.Errorf("%+v", got)
	}
}

func TestAnOperatorPumpsThroughAProfile(t *testing.T) {
	air := simbench.BuiltInHandBench()
	air.Supply = setup.SupplyGas
	for seed := range uint64(10) {
		hand := simbench.BuiltInHandBench()
		if seed%2 == 1 {
			hand = air
		}
		b, state, plan, over := drive(t, sheet(hand), seed)
		if state.Stopped != rig.NotStopped || state.Phase != rig.Done {
			t.Errorf("seed %d: stopped %v in %v", seed, state.Stopped, state.Phase)
		}
		if b.Strokes() < 10 {
			t.Errorf("seed %d: %d strokes", seed, b.Strokes())
		}
		for i, pa := range over {
			if gauge := plan.Legs[i].TargetPa - plan.RoomPa; pa > 0.15*gauge+5000 {
				t.Errorf("seed %d: %.0f Pa over at %g m", seed, pa, plan.Legs[i].DepthM)
			}
		}
	}
}

// unwatched is a bench whose watchdog takes no sign of life.
type unwatched struct{ *simbench.Bench }

func (unwatched) Unfed() error { return errors.New("watchdog: no such device") }

// faulted keeps the kinds of the faults that are recorded.
type faulted struct {
	quiet
	kinds []string
}

func (f *faulted) Fault(_ time.Duration, _, _, kind, _ string) { f.kinds = append(f.kinds, kind) }

func TestAWatchdogThatIsNotFedIsToldOnce(t *testing.T) {
	run := sheet(simbench.BuiltInBench())
	plan, err := rig.NewPlan(run)
	if err != nil {
		t.Fatal(err)
	}
	start := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
	b, err := simbench.New(simbench.Default(run, 1), start)
	if err != nil {
		t.Fatal(err)
	}
	var f faulted
	loop := &rig.Loop{Plan: plan, Devices: unwatched{b}, Clock: rig.NewSimClock(start, 0), Recorder: &f, SyncEvery: time.Hour}
	if err := loop.Run(context.Background()); err != nil {
		t.Fatal(err)
	}
	if len(f.kinds) != 1 || f.kinds[0] != "watchdog" {
		t.Errorf("the record is told %q", f.kinds)
	}
}
