package replay_test

import (
	"bytes"
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/rig/replay"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/sensors"
)

// TestATryToGoOnIsNoLookAtTheTimeBeforeTheGap: the power goes in a hold; twice the
// run is taken up again and cut off before anybody said what became of the
// pressure, which is lower now. The third look compares with the hold, and with
// nothing that was read meanwhile.
func TestATryToGoOnIsNoLookAtTheTimeBeforeTheGap(t *testing.T) {
	p, err := profiles.Load("quick-check-30m-sea")
	if err != nil {
		t.Fatal(err)
	}
	run := setup.Run{Format: setup.RunFormat, Profile: p, Bench: simbench.BuiltInBench(), Unit: simbench.BuiltInUnit()}
	plan, err := rig.NewPlan(run)
	if err != nil {
		t.Fatal(err)
	}
	start := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
	bench, err := simbench.New(simbench.Default(run, 5), start)
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
	loop := &rig.Loop{Plan: plan, Devices: bench, Clock: rig.NewSimClock(start, 0), Recorder: w, SyncEvery: time.Hour}
	if err := loop.Run(context.Background()); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(folder, record.ReadingsFile)
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	at := bytes.Index(data, []byte("kind=hold"))
	for range 400 { // into the hold
		at += 1 + bytes.IndexByte(data[at:], '\n')
	}
	if err := os.WriteFile(name, data[:at], 0o666); err != nil {
		t.Fatal(err)
	}
	recovered := func() replay.Cut {
		t.Helper()
		r, err := record.Open(folder)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		cut, err := replay.Recover(r, nil)
		if err != nil {
			t.Fatal(err)
		}
		return cut
	}
	first := recovered()
	for try := range 2 {
		w, _, err := record.Resume(folder, first.Start.Add(first.Last+time.Duration(try+1)*time.Minute))
		if err != nil {
			t.Fatal(err)
		}
		for i := range 20 {
			w.Readings([]sensors.Reading{{Sensor: plan.Chamber, Quantity: sensors.ChamberPressure, Value: 150e3, At: time.Duration(i) * 500 * time.Millisecond}})
		}
		w.Note(10*time.Second, "the sensor was silent")
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		again := recovered()
		if again.Last != first.Last || again.End <= first.End || again.State.Phase != rig.Hold || again.State.Now != first.State.Now {
			t.Errorf("try %d: last %s, end %s, %s at %s; before %s, %s", try, again.Last, again.End, again.State.Phase, again.State.Now, first.Last, first.State.Now)
		}
		if got, want := again.Before.Ends(), first.Before.Ends(); math.Abs(got.Pa-want.Pa) > 1 {
			t.Errorf("try %d: %.0f Pa before the gap, want %.0f", try, got.Pa, want.Pa)
		}
	}
}
