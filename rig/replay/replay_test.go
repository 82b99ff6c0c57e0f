package replay_test

import (
	"context"
	"math/rand/v2"
	"testing"
	"time"

	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/rig/replay"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
)

// ticking is a clock that wakes up late by as much as a busy machine does.
type ticking struct {
	*rig.SimClock
	late *rand.Rand
}

func (c ticking) WaitUntil(ctx context.Context, t time.Duration) {
	if c.late != nil {
		t += time.Duration(c.late.ExpFloat64() * float64(3*time.Millisecond))
		if c.late.IntN(200) == 0 { // and now and then by whole steps
			t += time.Duration(c.late.IntN(1500)) * time.Millisecond
		}
	}
	c.SimClock.WaitUntil(ctx, t)
}

// TestAReplayGivesTheSameCommands: a run is recorded, by a clock that ticks on
// the dot and by one that does not, with pulses shorter than a period; its record
// through the sequencer again gives the same commands.
func TestAReplayGivesTheSameCommands(t *testing.T) {
	for late := range uint64(4) { // 0: on the dot
		for _, fault := range []string{"", "lid switch opens at 6 min", "fill valve stuck open at 7 min", "silent p1 at 4 min for 20 s"} {
			p, err := profiles.Load("quick-check-30m-sea")
			if err != nil {
				t.Fatal(err)
			}
			run := setup.Run{Format: setup.RunFormat, Profile: p, Bench: simbench.BuiltInBench(), Unit: simbench.BuiltInUnit()}
			run.Bench.Sensors = append(run.Bench.Sensors, setup.Sensor{ID: "lid", Measures: "lid open", Driver: simbench.Driver})
			plan, err := rig.NewPlan(run)
			if err != nil {
				t.Fatal(err)
			}
			cfg := simbench.Default(run, 5)
			if fault != "" {
				f, err := simbench.ParseBenchFault(fault)
				if err != nil {
					t.Fatal(err)
				}
				cfg.BenchFaults = append(cfg.BenchFaults, f)
			}
			start := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
			bench, err := simbench.New(cfg, start)
			if err != nil {
				t.Fatal(err)
			}
			folder, file, err := record.Create(t.TempDir(), start, run)
			if err != nil {
				t.Fatal(err)
			}
			w := record.NewWriter(file, start)
			w.Wait = true
			w.Run(0, "start", "replay")
			clock := ticking{SimClock: rig.NewSimClock(start, 0)}
			if late > 0 {
				clock.late = rand.New(rand.NewPCG(late, 2))
			}
			pulses := 0
			loop := &rig.Loop{Plan: plan, Devices: bench, Clock: clock, Recorder: w, SyncEvery: time.Hour,
				Operator: func() rig.Operator { return rig.Operator{Ready: bench.Answered()} },
			}
			w.OnLine = func(l *record.Line) {
				if l.Measurement == record.Valve && l.Valve == setup.FillValve && !l.Open {
					pulses++
				}
			}
			_ = loop.Run(context.Background()) // some of them end early
			if err := w.Close(); err != nil {
				t.Fatal(err)
			}
			r, err := record.Open(folder)
			if err != nil {
				t.Fatal(err)
			}
			res, err := replay.Run(r)
			r.Close()
			if err != nil || res.Difference != "" || len(res.Recorded) < 10 || pulses < 3 {
				t.Errorf("late %d, %q: %d commands, %d pulses: %s, %v", late, fault, len(res.Recorded), pulses, res.Difference, err)
			}
		}
	}
}
