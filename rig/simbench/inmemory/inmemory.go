// Package inmemory runs a profile on the simulated bench as `proofpot run` does, with
// the record in memory: for tests and campaigns.
package inmemory

import (
	"bytes"
	"context"
	"time"

	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/sensors"
)

// Start is when each such run began.
var Start = time.Date(2026, 3, 14, 8, 15, 2, 0, time.UTC)

// Options are what may differ from an ordinary run.
type Options struct {
	File    record.File                   // where the record goes; nil: Ran.Record
	Between func(rig.Devices) rig.Devices // between the bench and the loop; nil for nothing
	// Observe sees each step; note writes a line into the record.
	Observe func(now rig.Instant, state *rig.State, truth func() simbench.Truth, note func(text string))
	Sealed  bool // the unit was closed at the room's pressure, and the sheet says so
}

// Ran is a run.
type Ran struct {
	Sheet  setup.Run // as used
	Plan   *rig.Plan
	Before simbench.Truth
	Truth  simbench.Truth
	State  rig.State
	Record []byte
	Ended  error // of the loop: a device that failed
}

// memory is a record's file in memory.
type memory struct{ bytes.Buffer }

func (*memory) Sync() error  { return nil }
func (*memory) Close() error { return nil }

// Run runs it. An error is that of a sheet that makes no run, or of the record.
func Run(sheet setup.Run, cfg simbench.Config, o Options) (Ran, error) {
	r := Ran{Sheet: sheet}
	clock := rig.NewSimClock(Start, 0)
	bench, err := simbench.New(cfg, Start)
	if err != nil {
		return r, err
	}
	r.Before = bench.Truth()
	surveyed, err := rig.Survey(context.Background(), bench, clock, rig.DefaultPeriod, sheet.Bench)
	if err != nil {
		return r, err
	}
	r.Sheet.Bench.RoomPa = surveyed.RoomPa
	if o.Sealed && r.Sheet.Unit.SealedPa == 0 {
		r.Sheet.Unit.SealedPa = surveyed.RoomPa
	}
	if r.Plan, err = rig.NewPlan(r.Sheet); err != nil {
		return r, err
	}
	file, kept := o.File, &memory{}
	if file == nil {
		file = kept
	}
	w := record.NewWriter(file, Start)
	w.Wait = true
	w.Run(0, "start", "test")
	w.Readings(surveyed.Readings)
	var devices rig.Devices = bench
	if o.Between != nil {
		devices = o.Between(bench)
	}
	loop := &rig.Loop{Plan: r.Plan, Devices: devices, Clock: clock, Recorder: w, SyncEvery: time.Hour,
		Operator: func() rig.Operator { return rig.Operator{Ready: bench.Answered()} }}
	if o.Observe != nil {
		loop.Observe = func(now rig.Instant, state *rig.State, _ *rig.Output, _ []sensors.Reading) {
			o.Observe(now, state, bench.Truth, func(text string) { w.Note(now.Mono, text) })
		}
	}
	r.Ended = loop.Run(context.Background())
	if err := w.Close(); err != nil {
		return r, err
	}
	r.Truth, r.State, r.Record = bench.Truth(), loop.State(), kept.Bytes()
	return r, nil
}
