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

// The time that a plan foretells is what a trip is planned by.
func TestAPlanForetellsHowLongARunTakes(t *testing.T) {
	for _, name := range []string{"proof-30m-sea", "cycles-50-30m-sea"} {
		for _, bench := range []setup.Bench{simbench.BuiltInBench(), simbench.BuiltInHandBench()} {
			if bench.HandOperated && name != "proof-30m-sea" {
				continue // nobody pumps fifty times
			}
			profile, err := profiles.Load(name)
			if err != nil {
				t.Fatal(err)
			}
			run := setup.Run{Format: 1, Unit: simbench.BuiltInUnit(), Bench: bench, Profile: profile}
			if err := rig.Resolve(&run); err != nil {
				t.Fatal(err)
			}
			plan, err := rig.NewPlan(run)
			if err != nil {
				t.Fatal(err)
			}
			start := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
			b, err := simbench.New(simbench.Default(run, 1), start)
			if err != nil {
				t.Fatal(err)
			}
			var began, ended time.Duration
			loop := &rig.Loop{Plan: plan, Devices: b, Clock: rig.NewSimClock(start, 0), Recorder: &quiet{}, SyncEvery: time.Hour,
				Observe: func(now rig.Instant, s *rig.State, _ *rig.Output, _ []sensors.Reading) {
					switch {
					case s.Phase == rig.Ramp && began == 0:
						began = now.Mono
					case s.Phase == rig.Vent && ended == 0:
						ended = now.Mono
					}
				}}
			if err := loop.Run(context.Background()); err != nil {
				t.Fatal(err)
			}
			if took := ended - began; math.Abs(took.Seconds()-plan.Total().Seconds()) > 0.1*took.Seconds() {
				t.Errorf("%s on %s took %v, foretold %v", name, bench.ID, took.Round(time.Second), plan.Total().Round(time.Second))
			}
		}
	}
}
