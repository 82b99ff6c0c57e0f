package rig_test

import (
	"testing"
	"time"

	"proofpot/rig"
	"proofpot/sensors"
)

// heldAt is a run that has been holding its first leg for some time.
func heldAt(t *testing.T, held time.Duration) (*rig.Plan, rig.State, time.Duration) {
	t.Helper()
	b := readyRun(t)
	p := b.Plan
	var s rig.State
	pa := p.RoomPa
	now := time.Duration(0)
	for ; ; now += p.Period {
		if s.Valves.Fill {
			pa += 2000
		}
		s, _ = rig.Step(p, s, rig.Input{Now: now, Readings: []sensors.Reading{{Sensor: p.Chamber, Quantity: sensors.ChamberPressure, Value: pa + float64(now/p.Period%3), At: now}}})
		if s.Phase == rig.Hold && now-s.Since >= held {
			return p, s, now
		}
		if now > 2*time.Hour || s.Stopped != rig.NotStopped {
			t.Fatalf("no hold: %v, %v", s.Phase, s.Stopped)
		}
	}
}

func TestAHoldThatWasHeldGoesOnForAsLongAsWasLeft(t *testing.T) {
	const gap = 3 * time.Hour
	p, s, now := heldAt(t, 100*time.Second)
	left := p.Legs[s.Leg].Hold - (now - s.Since)
	pa := s.Smooth
	at := now + gap
	s = p.Resume(s, at, pa, true, true)
	for from := at; ; at += p.Period {
		var out rig.Output
		s, out = rig.Step(p, s, rig.Input{Now: at, Readings: []sensors.Reading{{Sensor: p.Chamber, Quantity: sensors.ChamberPressure, Value: pa + float64(at/p.Period%3), At: at}}})
		if s.Stopped != rig.NotStopped || out.Valves.Vent {
			t.Fatalf("after %s: %v, %v, %+v", at-from, s.Phase, s.Stopped, out.Valves)
		}
		if s.Phase != rig.Hold {
			if took := at - from; took < left-2*p.Period || took > left+2*p.Period {
				t.Errorf("the hold went on for %s, %s were left", took, left)
			}
			return
		}
	}
}

func TestALegWhosePressureWasLostBeginsAgainFromItsRamp(t *testing.T) {
	p, s, now := heldAt(t, 100*time.Second)
	leg := s.Leg
	s.Wet = true
	p.StopOnWet = false
	at := now + time.Hour
	s = p.Resume(s, at, p.RoomPa, false, true)
	s, out := rig.Step(p, s, rig.Input{Now: at, Readings: []sensors.Reading{{Sensor: p.Chamber, Quantity: sensors.ChamberPressure, Value: p.RoomPa, At: at}}})
	if s.Phase != rig.Ramp || s.Leg != leg || s.Since != at || !s.Wet || s.Stopped != rig.NotStopped {
		t.Errorf("goes on with %v of leg %d, wet %v, %v", s.Phase, s.Leg, s.Wet, s.Stopped)
	}
	if n := len(out.Events()); n == 0 {
		t.Error("the record hears nothing of it")
	}
}

func TestALegThatIsCutOffAgainBeforeItBeginsIsTakenOffTheTimeOnce(t *testing.T) {
	p, s, now := heldAt(t, 100*time.Second)
	counted := func(s rig.State) time.Duration { return s.Now - s.Idle } // towards what the whole run may last
	once := p.Resume(s, now+time.Hour, p.RoomPa, false, true)
	twice := p.Resume(once, now+3*time.Hour, p.RoomPa, false, false)
	if counted(twice) != counted(once) {
		t.Errorf("%s of the run count, %s after another gap", counted(once), counted(twice))
	}
}

func TestARunThatWasStoppedStaysStoppedAndVents(t *testing.T) {
	p, s, now := heldAt(t, 10*time.Second)
	s, _ = rig.Step(p, s, rig.Input{Now: now + p.Period, Operator: rig.Operator{Abort: true}})
	s.Locked = rig.OverPressure
	s = p.Resume(s, now+time.Hour, s.Smooth, true, true)
	s, out := rig.Step(p, s, rig.Input{Now: now + time.Hour})
	if s.Phase != rig.Vent || s.Stopped != rig.ByOperator || !out.Valves.Vent || out.Valves.Fill || s.Locked != rig.OverPressure {
		t.Errorf("%v, %v, %+v, locked %v", s.Phase, s.Stopped, out.Valves, s.Locked)
	}
}

// said lists what a step asks the record to hold.
func said(out *rig.Output, kind rig.EventKind) (all []rig.Event) {
	for _, e := range out.Events() {
		if e.Kind == kind {
			all = append(all, e)
		}
	}
	return all
}

func TestARunThatGoesOnSaysWhereItsValvesStand(t *testing.T) {
	p, s, now := heldAt(t, 10*time.Second)
	s.Valves = rig.Valves{Fill: true} // its last pulse: nobody has seen it end
	at := now + time.Hour
	s, out := rig.Step(p, p.Resume(s, at, s.Smooth, true, true), rig.Input{Now: at + p.Period})
	if valves := said(&out, rig.ValveEvent); len(valves) != 2 || valves[0].Valve != "fill" || valves[0].Open || valves[1].Open {
		t.Errorf("the record is told %+v", valves)
	}
	if stages := said(&out, rig.StageEvent); len(stages) != 0 {
		t.Errorf("a hold that goes on is told anew: %+v", stages)
	}
	if _, out = rig.Step(p, s, rig.Input{Now: at + 2*p.Period}); len(said(&out, rig.ValveEvent)) != 0 {
		t.Errorf("and again: %+v", out.Events())
	}
}

func TestAStageWhoseLineWasLostBeginsWhereTheRunGoesOn(t *testing.T) {
	p, s, now := heldAt(t, 10*time.Second)
	at := now + time.Hour
	s, out := rig.Step(p, p.Resume(s, at, s.Smooth, true, false), rig.Input{Now: at + p.Period})
	stages := said(&out, rig.StageEvent)
	if len(stages) != 1 || stages[0].Phase != rig.Hold || s.Phase != rig.Hold || s.Since != at+p.Period {
		t.Errorf("told %+v, in %v since %s", stages, s.Phase, s.Since)
	}
}

func TestAVentThatGoesOnIsToldAnew(t *testing.T) {
	p, s, now := heldAt(t, 10*time.Second)
	s, _ = rig.Step(p, s, rig.Input{Now: now + p.Period, Operator: rig.Operator{Abort: true}})
	_, out := rig.Step(p, p.Resume(s, now+time.Hour, s.Smooth, true, true), rig.Input{Now: now + time.Hour + p.Period})
	stages, valves := said(&out, rig.StageEvent), said(&out, rig.ValveEvent)
	if len(stages) != 1 || stages[0].Phase != rig.Vent || len(valves) == 0 || !valves[len(valves)-1].Open || valves[len(valves)-1].Valve != "vent" {
		t.Errorf("told %+v and %+v", stages, valves)
	}
}
