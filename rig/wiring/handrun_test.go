package wiring

import (
	"bytes"
	"context"
	"io"
	"math"
	"testing"
	"time"

	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/rig/setup"
	"proofpot/sensors"
	"proofpot/sensors/sensortest"
)

// potClock is the time of the emulated pot, faster than life where the machine has
// the time for it: it stands while the pot does.
type potClock struct {
	far   *sensortest.Emulator
	start time.Time
}

func (c *potClock) Now() rig.Instant {
	t := c.far.Clock()
	return rig.Instant{Mono: t, Wall: c.start.Add(t)}
}

func (c *potClock) WaitUntil(ctx context.Context, t time.Duration) {
	for c.far.Clock() < t && ctx.Err() == nil {
		time.Sleep(time.Millisecond)
	}
}

// person does what the prompts ask for, and brings trouble in the first hold.
type person struct {
	far     *sensortest.Emulator
	roomPa  float64
	heard   rig.Prompt
	trouble []func()
	due     time.Duration // of the next trouble
}

func (p *person) observe(now rig.Instant, s *rig.State, out *rig.Output, _ []sensors.Reading) {
	if out.Prompt != p.heard {
		p.heard = out.Prompt
		switch out.Prompt.Kind {
		case rig.PumpUp, rig.LetOff:
			p.far.SetTargetPa(out.Prompt.TargetPa)
		case rig.VentAll:
			p.far.SetTargetPa(p.roomPa)
		default:
			p.far.SetTargetPa(p.far.PressurePa())
		}
	}
	if s.Phase == rig.Hold && len(p.trouble) > 0 && now.Mono >= p.due {
		p.trouble[0]()
		p.trouble = p.trouble[1:]
		p.due = now.Mono + 10*time.Second
	}
}

// memoryFile is a record that stays in memory.
type memoryFile struct{ bytes.Buffer }

func (*memoryFile) Sync() error  { return nil }
func (*memoryFile) Close() error { return nil }

// TestAHandOperatedBenchGoesThroughAProfileOnABadDay runs the real loop on a
// serial transducer behind a pseudo-terminal, up to twenty times faster than life. A
// person follows the prompts; in the first hold the line brings garbage, the
// microcontroller starts anew in the middle of a line, and the cable is pulled
// and put back.
func TestAHandOperatedBenchGoesThroughAProfileOnABadDay(t *testing.T) {
	const pace, roomPa = 20, 97800
	far := emulator(t, sensortest.EmulatorOptions{Ticked: true, Pace: pace, Every: 10 * time.Millisecond, RoomPa: roomPa, RatePaS: 8000, NoisePa: 30, WaterC: 11, Seed: 1})
	bench := handSerial(t, far.Path(), "interval_s = 0.1 ", "interval_s = 1 ")
	clock := &potClock{far: far, start: time.Now().UTC()}
	devices, err := Open(bench, clock)
	if err != nil {
		t.Fatal(err)
	}
	surveyed, err := rig.Survey(t.Context(), devices, clock, rig.DefaultPeriod, bench)
	if err != nil {
		devices.Close()
		t.Fatal(err)
	}
	if math.Abs(surveyed.ChamberPa-roomPa) > 50 {
		t.Errorf("the survey reads %v Pa", surveyed.ChamberPa)
	}
	plan, err := rig.NewPlan(setup.Run{Format: 1, Bench: bench,
		Unit: setup.Unit{ID: "KP-01", FreeVolumeML: 600, SealedPa: roomPa},
		Profile: profiles.Profile{Accept: profiles.Accept{LeakMLPerH: 1}, Name: "short", ProofFactor: 1.25, RampMPerMin: 60,
			Water:  profiles.Water{Model: "fresh", TemperatureC: 12, LatitudeDeg: 47},
			Stages: []profiles.Stage{{Name: "shallow", DepthM: 5, SettleS: 5, HoldS: 60}, {Name: "proof", DepthM: 20, SettleS: 5, HoldS: 10}}}})
	if err != nil {
		devices.Close()
		t.Fatal(err)
	}
	operator := &person{far: far, roomPa: roomPa, trouble: []func(){
		far.Garbage, far.Reset, far.Unplug,
		func() {
			if err := far.Replug(); err != nil {
				t.Error(err)
			}
		},
	}}
	var file memoryFile
	writer := record.NewWriter(&file, clock.start)
	loop := &rig.Loop{Plan: plan, Devices: devices, Clock: clock, Recorder: writer, SyncEvery: time.Second, Observe: operator.observe}
	ctx, cancel := context.WithTimeout(t.Context(), 8*time.Minute)
	defer cancel()
	if err := loop.Run(ctx); err != nil {
		t.Fatal(err)
	}
	if err := writer.Close(); err != nil {
		t.Fatal(err)
	}
	if s := loop.State(); s.Phase != rig.Done || s.Stopped != rig.NotStopped {
		t.Fatalf("the run ended in %v, %v", s.Phase, s.Stopped)
	}
	checkRecord(t, &file, plan)
}

// checkRecord looks for the holds at their pressures and for each trouble.
func checkRecord(t *testing.T, file io.Reader, plan *rig.Plan) {
	t.Helper()
	faults, holds, target := map[string]int{}, 0, math.NaN()
	values := 0
	r := record.NewReader(file)
	var line record.Line
	for {
		err := r.Next(&line)
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		switch line.Measurement {
		case record.Fault:
			faults[line.Kind]++
			t.Logf("fault %s: %s", line.Kind, line.Text)
		case record.Stage:
			target = math.NaN()
			if line.Kind == "hold" {
				holds, target = holds+1, line.PressurePa
			}
		case record.Chamber:
			if math.IsNaN(line.PressurePa) || math.IsNaN(target) {
				continue
			}
			if values++; math.Abs(line.PressurePa-target) > 8000 {
				t.Errorf("%v Pa in a hold at %v", line.PressurePa, target)
			}
		}
	}
	if holds != len(plan.Legs) || values < 60 {
		t.Errorf("%d holds of %d, with %d values", holds, len(plan.Legs), values)
	}
	for _, kind := range []string{"garbled", "restarted", "disconnected"} {
		if faults[kind] == 0 {
			t.Errorf("no %s in the record, only %v", kind, faults)
		}
	}
	if i := r.Integrity(); !i.Chained || !i.Intact {
		t.Errorf("the record is %+v", i)
	}
}
