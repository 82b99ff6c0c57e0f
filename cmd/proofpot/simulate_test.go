package main

import (
	"bytes"
	"context"
	"io"
	"testing"
	"time"

	"proofpot/analysis"
	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/sensors"
)

// memory is a record's file in memory.
type memory struct{ bytes.Buffer }

func (*memory) Sync() error  { return nil }
func (*memory) Close() error { return nil }

// simulated is one run on the simulated bench.
type simulated struct {
	run    setup.Run
	plan   *rig.Plan
	truth  simbench.Truth
	state  rig.State
	record []byte
	steps  int
}

// simulate runs a profile on the simulated bench, as `proofpot run` does, with
// the record in memory.
func simulate(t testing.TB, profile, fault string, seed uint64, file record.File, change func(*setup.Run)) simulated {
	t.Helper()
	p, err := profiles.Load(profile)
	if err != nil {
		t.Fatal(err)
	}
	run := setup.Run{Format: 1, Profile: p, Bench: simbench.BuiltInBench(), Unit: simbench.BuiltInUnit()}
	if change != nil {
		change(&run)
	}
	column, err := profiles.NewColumn(p.Water)
	if err != nil {
		t.Fatal(err)
	}
	cfg := simbench.Default(run, seed)
	cfg.GaugePa = column.GaugePa
	if fault != "" {
		f, err := simbench.ParseUnitFault(fault)
		if err != nil {
			t.Fatal(err)
		}
		cfg.UnitFaults = append(cfg.UnitFaults, f)
	}
	start := time.Date(2026, 3, 14, 8, 15, 2, 0, time.UTC)
	clock := rig.NewSimClock(start, 0)
	bench, err := simbench.New(cfg, start)
	if err != nil {
		t.Fatal(err)
	}
	surveyed, err := rig.Survey(context.Background(), bench, clock, rig.DefaultPeriod, run.Bench)
	if err != nil {
		t.Fatal(err)
	}
	run.Bench.RoomPa = surveyed.RoomPa
	s := simulated{run: run}
	if s.plan, err = rig.NewPlan(run); err != nil {
		t.Fatal(err)
	}
	s.plan.StopOnWet = false
	w := record.NewWriter(file, start)
	w.Run(0, "start", "test")
	w.Readings(surveyed.Readings)
	loop := &rig.Loop{Plan: s.plan, Devices: bench, Clock: clock, Recorder: w, SyncEvery: time.Hour,
		Observe: func(rig.Instant, *rig.State, *rig.Output, []sensors.Reading) { s.steps++ }}
	if err := loop.Run(context.Background()); err != nil && fault == "" {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	s.truth, s.state = bench.Truth(), loop.State()
	if m, ok := file.(*memory); ok {
		s.record = m.Bytes()
	}
	return s
}

func (s simulated) analyse(t testing.TB) *analysis.Result {
	t.Helper()
	res, err := analysis.Analyse(s.run, "test", record.NewReader(bytes.NewReader(s.record)))
	if err != nil {
		t.Fatal(err)
	}
	return res
}

func TestATightUnitPassesOnEverySeed(t *testing.T) {
	for seed := range uint64(20) {
		v := simulate(t, "proof-30m-sea", "", seed, &memory{}, nil).analyse(t).Verdict
		if v.Verdict != analysis.Pass || v.RatedDepthM != 30 {
			t.Errorf("seed %d: %s, rated %.1f m: %v", seed, v.Verdict, v.RatedDepthM, v.Reasons)
		}
	}
}

// TestEveryKindOfFaultIsFoundAtItsDepth runs each built-in fault of a unit on
// 20 seeds. The mode must be right on each, and the interval of the first
// failure must hold the depth at which the simulated unit truly failed on 19.
func TestEveryKindOfFaultIsFoundAtItsDepth(t *testing.T) {
	const seeds = 20
	for _, kind := range simbench.UnitFaultKinds() {
		t.Run(kind.Mode, func(t *testing.T) {
			held, width := 0, 0.0
			for seed := range uint64(seeds) {
				s := simulate(t, "proof-30m-sea", kind.Example, seed, &memory{}, nil)
				v := s.analyse(t).Verdict
				f := v.FirstFailure
				if v.Verdict == analysis.Pass || f == nil {
					t.Errorf("seed %d: %s is given %s, %v", seed, kind.Example, v.Verdict, v.Reasons)
					continue
				}
				if f.Mode != kind.Mode {
					t.Errorf("seed %d: %s is called %s", seed, kind.Example, f.Mode)
				}
				truth := s.plan.DepthM(s.plan.SealedPa + s.truth.OnsetPa)
				if f.DepthLowM <= truth && truth <= f.DepthHighM {
					held++
				} else {
					t.Logf("seed %d: failed at %.2f m, reported %.2f m (%.2f to %.2f m)", seed, truth, f.DepthM, f.DepthLowM, f.DepthHighM)
				}
				width += (f.DepthHighM - f.DepthLowM) / seeds
			}
			t.Logf("%q: interval holds the depth on %d of %d seeds, mean width %.2f m", kind.Example, held, seeds, width)
			if held < seeds-1 {
				t.Errorf("the interval holds the depth on %d of %d seeds, want %d", held, seeds, seeds-1)
			}
		})
	}
}

// discard is a record's file that is thrown away.
type discard struct{ io.Writer }

func (discard) Sync() error  { return nil }
func (discard) Close() error { return nil }

// BenchmarkSoak runs a soak of twelve hours on the simulated bench, record and
// all, and says how many simulated seconds that is in a second.
func BenchmarkSoak(b *testing.B) {
	simulated := 0.0
	for b.Loop() {
		s := simulate(b, "proof-30m-sea", "", 1, discard{io.Discard}, func(r *setup.Run) {
			r.Profile.Stages = []profiles.Stage{{Name: "soak", DepthM: 30, SettleS: 300, HoldS: 12 * 3600}}
		})
		simulated += float64(s.steps) * s.plan.Period.Seconds()
	}
	b.ReportMetric(simulated/b.Elapsed().Seconds(), "simulated-s/s")
}
