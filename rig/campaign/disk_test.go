package campaign

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"runtime"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/rig/simbench"
	"proofpot/sensors"
)

// failing is a disk that works until it is broken.
type failing struct {
	bytes.Buffer
	broken         atomic.Bool
	onWrite, onSyn error
}

func (f *failing) Write(p []byte) (int, error) {
	if f.broken.Load() && f.onWrite != nil {
		n, _ := f.Buffer.Write(p[:len(p)/3]) // a part of it still fits
		return n, f.onWrite
	}
	return f.Buffer.Write(p)
}

func (f *failing) Sync() error {
	if f.broken.Load() && f.onSyn != nil {
		return f.onSyn
	}
	return nil
}

func (f *failing) Close() error { return nil }

// prompt is the record's writer with a disk that has answered before the next
// step, since simulated time does not wait for it.
type prompt struct{ *record.Writer }

func (p prompt) Flush(at time.Duration) error {
	if err := errors.Join(p.Writer.Flush(at), p.Writer.Sync()); err != nil {
		return err
	}
	for p.Unsynced() > 0 && p.Err() == nil {
		runtime.Gosched()
	}
	return p.Err()
}

func TestADiskThatFailsStopsTheFillingVentsAndIsSaid(t *testing.T) {
	for _, disk := range []struct {
		name           string
		onWrite, onSyn error
		words          string
	}{
		{"full", syscall.ENOSPC, nil, "no space left on device"},
		{"read only", syscall.EROFS, nil, "read-only file system"},
		{"a write fails", syscall.EIO, nil, "input/output error"},
		{"a sync fails", nil, syscall.EIO, "input/output error"},
	} {
		for _, phase := range []rig.Phase{rig.Ramp, rig.Settle, rig.Hold} {
			for _, byHand := range []bool{false, true} {
				t.Run(fmt.Sprintf("%s in a %s, by hand %t", disk.name, phase, byHand), func(t *testing.T) {
					run, err := sheet(&scenario{profile: "quick-check-30m-sea", byHand: byHand, whole: true})
					if err != nil {
						t.Fatal(err)
					}
					plan, err := rig.NewPlan(run)
					if err != nil {
						t.Fatal(err)
					}
					start := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
					bench, err := simbench.New(simbench.Default(run, 1), start)
					if err != nil {
						t.Fatal(err)
					}
					file := &failing{onWrite: disk.onWrite, onSyn: disk.onSyn}
					w := record.NewWriter(file, start)
					w.Wait = true
					var brokeAt, stoppedAt time.Duration
					var before, topPa, lastPa float64
					filled, told := false, false
					loop := &rig.Loop{Plan: plan, Devices: bench, Clock: rig.NewSimClock(start, 0), Recorder: prompt{w}, SyncEvery: time.Hour,
						Operator: func() rig.Operator { return rig.Operator{Ready: bench.Answered()} },
						Observe: func(now rig.Instant, s *rig.State, out *rig.Output, _ []sensors.Reading) {
							lastPa = s.Pa
							switch {
							case brokeAt == 0:
								if s.Phase == phase && s.Known && s.Pa > plan.RoomPa+5e4 && (phase != rig.Ramp || out.Valves.Fill || byHand) {
									brokeAt, before = now.Mono, s.Pa
									file.broken.Store(true)
								}
								return
							case s.Stopped != rig.NotStopped && stoppedAt == 0:
								stoppedAt = now.Mono
							}
							if now.Mono > brokeAt+2*plan.Period {
								filled = filled || out.Valves.Fill
								told = told || out.Prompt.Kind == rig.VentAll
								topPa = max(topPa, s.Pa)
								if !byHand && s.Phase != rig.Done && !out.Valves.Vent {
									t.Fatal("the vent is shut")
								}
							}
						}}
					err = loop.Run(context.Background())
					if brokeAt == 0 {
						t.Fatal("the run never came to that phase")
					}
					if err == nil || !errors.Is(err, rig.ErrDevice) || !strings.Contains(err.Error(), disk.words) {
						t.Errorf("the run ends with %v, want %q", err, disk.words)
					}
					if s := loop.State().Stopped; s != rig.RecordBroken {
						t.Errorf("stopped by %s", s)
					}
					if stoppedAt == 0 || stoppedAt > brokeAt+3*plan.Period {
						t.Errorf("broken at %s, stopped at %s", brokeAt, stoppedAt)
					}
					if filled || byHand && !told {
						t.Errorf("filled on: %t; told to vent: %t", filled, told)
					}
					if !byHand && topPa > before+2e4 {
						t.Errorf("the pressure went on to rise by %.0f Pa", topPa-before)
					}
					if lastPa > plan.RoomPa+5e3 {
						t.Errorf("%.0f Pa above the room are left at the end", lastPa-plan.RoomPa)
					}
					if cerr := w.Close(); cerr == nil {
						t.Error("the record closes as if nothing had been")
					}
					whole(t, file.Bytes())
				})
			}
		}
	}
}

// whole checks that what the disk still took is a record up to where it tore.
func whole(t *testing.T, b []byte) {
	t.Helper()
	r := record.NewReader(bytes.NewReader(b))
	var l record.Line
	for {
		if err := r.Next(&l); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
	if in := r.Integrity(); !in.Intact || !in.Chained {
		t.Errorf("what the disk took is no record: %+v", in)
	}
}
