package rig

import (
	"math"
	"strings"
	"testing"
	"time"

	"proofpot/profiles"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// TestNothingPassesTheGuard asks guard to fill in a state in which it may, and
// then in each in which it may not, whatever has asked for it.
func TestNothingPassesTheGuard(t *testing.T) {
	p := guarded(t, nil)
	p.Legs[1].MakeUp = true
	good := State{Phase: Ramp, Leg: 1, Known: true, Pa: p.LimitPa - 1, Valves: Valves{Fill: true, RegulatePa: 2 * p.LimitPa}}
	fills := func(change func(*State)) Valves {
		s := good
		if change != nil {
			change(&s)
		}
		guard(p, &s)
		return s.Valves
	}
	want := Valves{Fill: true, Pulse: 2*p.Period + deadManMore, RegulatePa: p.LimitPa}
	if v := fills(nil); v != want {
		t.Errorf("a fill that may be: %+v, want %+v", v, want)
	}
	for name, pulse := range map[string]time.Duration{"one renewed": 2*p.Period + deadManMore, "a short one": 40 * time.Millisecond} {
		if v := fills(func(s *State) { s.Valves.Pulse = pulse }); v.Pulse != pulse {
			t.Errorf("%s: %s, want %s", name, v.Pulse, pulse)
		}
	}
	for _, phase := range []Phase{Settle, Hold} {
		if v := fills(func(s *State) { s.Phase = phase }); !v.Fill {
			t.Errorf("make-up in %s is cut", phase)
		}
		if v := fills(func(s *State) { s.Phase, s.Leg = phase, 0 }); v.Fill {
			t.Errorf("filled in %s though no make-up is asked for", phase)
		}
	}
	for name, change := range map[string]func(*State){
		"stopped":              func(s *State) { s.Stopped = ByOperator },
		"locked out":           func(s *State) { s.Locked = OverPressure },
		"paused":               func(s *State) { s.Paused = true },
		"an alarm":             func(s *State) { s.NoFill = true },
		"the vent open":        func(s *State) { s.Valves.Vent = true },
		"no pressure known":    func(s *State) { s.Known = false },
		"a stale pressure":     func(s *State) { s.Stale = true },
		"a reading above":      func(s *State) { s.Over = 1 },
		"the twin above":       func(s *State) { s.Twin.Over = 1 },
		"the limit":            func(s *State) { s.Pa = p.LimitPa },
		"the limit, by twin":   func(s *State) { s.Twin.Known, s.Twin.Pa = true, p.LimitPa },
		"the beginning":        func(s *State) { s.Phase = Ready },
		"the vent's phase":     func(s *State) { s.Phase = Vent },
		"the end":              func(s *State) { s.Phase = Done },
		"a leg done by hand":   func(s *State) { s.Leg = 2; p.Legs[2].Ask = CloseUp },
		"a leg that is vented": func(s *State) { s.Leg = 3; p.Legs[3].Vented = true },
	} {
		v := fills(change)
		if v.Fill {
			t.Errorf("filled with %s", name)
		}
		if stopped := name == "stopped" || name == "locked out"; v.Vent != (stopped || name == "the vent open") {
			t.Errorf("%s: vent %v", name, v.Vent)
		}
	}
}

// TestTheLimitIsNinetyPercentAndTheTargetsMargin: figures of allowedPa by hand.
func TestWhatIsAllowedLiesJustAboveTheTarget(t *testing.T) {
	p := planned(t, nil)
	target := p.Legs[1].TargetPa
	near := func(name string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-6*want {
			t.Errorf("%s: %.0f Pa, want %.0f Pa", name, got, want)
		}
	}
	near("in a hold of 25 m", allowedPa(p, &State{Phase: Hold, Leg: 1}), target+15e3)
	near("before a run", allowedPa(p, &State{Phase: Ready}), p.RoomPa+15e3)
	near("after it", allowedPa(p, &State{Phase: Done, Leg: 1}), p.RoomPa+15e3)
	near("on the way up", allowedPa(p, &State{Phase: Ramp, Leg: 1, StartPa: room}), target+15e3)
	near("on the way down", allowedPa(p, &State{Phase: Ramp, Leg: 0, StartPa: room + 6e5}), room+6e5+0.03*6e5)
	near("in the vent", allowedPa(p, &State{Phase: Vent, Leg: 1, StartPa: room + 7.1e5}), p.LimitPa)
	near("of a unit under power", func() float64 {
		p.Legs[1].Warms = true
		return allowedPa(p, &State{Phase: Hold, Leg: 1})
	}(), target+15e3+50e3)
	if got := staleAfter(&Plan{Period: 100 * time.Millisecond}); got != 3*time.Second {
		t.Errorf("stale after %s", got)
	}
	if got := staleAfter(&Plan{Period: time.Second}); got != 6*time.Second {
		t.Errorf("stale after %s", got)
	}
	leg := &Leg{Ramp: 2 * time.Minute}
	if a, b, c := rampMost(&Plan{}, leg), rampMost(&Plan{Hand: true}, leg), rampMost(&Plan{}, &Leg{Ramp: 2 * time.Minute, Ask: LetIn}); a != 9*time.Minute || b != 25*time.Minute || c != b {
		t.Errorf("given up after %s, %s, %s", a, b, c)
	}
}

func TestMakeUpKeepsThePressureAndCountsItsDuty(t *testing.T) {
	p := planned(t, func(r *setup.Run) {
		r.Profile.Stages = []profiles.Stage{{Name: "kept up", DepthM: 20, SettleS: 20, HoldS: 300, MakeUp: true}}
	})
	c := pot{pa: room, fill: 2500, vent: 9000}
	pulses, low, note := 0, math.Inf(1), ""
	s := drive(t, p, &c, func(in *Input) {
		c.pa = max(room, c.pa-20*p.Period.Seconds())
		in.Readings[0].Value = c.pa + float64(int(in.Now/p.Period)%3)*10
	}, func(in Input, s State, out Output) {
		if s.Phase == Hold {
			low = min(low, c.pa)
			if out.Valves.Fill {
				pulses++
			}
			if out.Valves.Pulse > p.Period {
				t.Fatalf("a pulse of %s", out.Valves.Pulse)
			}
		}
		for _, e := range out.Events() {
			if e.Kind == NoteEvent && strings.Contains(e.Text, "made up") {
				note = e.Text
			}
		}
	})
	if s.Stopped != NotStopped || pulses < 5 || low < p.Legs[0].TargetPa-1000 || !strings.Contains(note, "pulses") {
		t.Errorf("stopped %q, %d pulses, down to %.0f Pa of the target, note %q", s.Stopped, pulses, low-p.Legs[0].TargetPa, note)
	}
}

func TestASearchEndsWhereTheUnitFails(t *testing.T) {
	p := planned(t, nil)
	p.Legs[1].Search = true
	failed := false
	s := drive(t, p, &pot{pa: room, fill: 2500, vent: 9000}, func(in *Input) { in.Operator.Failed = in.Now > 4*time.Minute }, func(_ Input, s State, out Output) {
		for _, e := range out.Events() {
			failed = failed || e.Text == FailedNote
		}
	})
	if !failed || s.Leg != 1 || s.Stopped != NotStopped {
		t.Errorf("ended in leg %d, stopped %q, noted %v", s.Leg, s.Stopped, failed)
	}
}

func TestReasonsHaveNamesThatAreReadBack(t *testing.T) {
	for s := ByOperator; s < stops; s++ {
		if got, ok := StopNamed(s.String()); !ok || got != s || s.String() == "" {
			t.Errorf("%d: %q is read as %d", s, s.String(), got)
		}
	}
	if _, ok := StopNamed("because"); ok || stops.String() != "unknown reason" {
		t.Error("a reason that there is not")
	}
	for s, want := range map[Stop]bool{NotStopped: false, ByOperator: false, UnitWet: false, SensorLost: false, OverPressure: true, VentStuck: true, ValveLost: true} {
		if s.LocksOut() != want {
			t.Errorf("%q locks out: %v", s, s.LocksOut())
		}
	}
}

func TestABarometerMovesWhatCountsAsGone(t *testing.T) {
	p := planned(t, nil)
	low := room - 4e3 // a front has come through
	c := pot{pa: room, fill: 2500, vent: 9000}
	s := drive(t, p, &c, func(in *Input) {
		if c.pa < room+1 && in.Now > time.Minute {
			in.Readings[0].Value = low
		}
		in.Readings = append(in.Readings, sensors.Reading{Sensor: "r1", Quantity: sensors.RoomPressure, Value: low, At: in.Now})
	}, nil)
	if !s.OpenSafe {
		t.Error("the room's own pressure is not known for nothing")
	}
}

func TestALidThatOpensWhileItIsVentedTripsAboveAFifthOfABar(t *testing.T) {
	p := planned(t, nil)
	lid := contact{Known: true, Open: true, At: time.Second}
	for _, c := range []struct {
		s    State
		want bool
	}{
		{State{Phase: Vent, Pa: room + lastPa + 1}, true}, {State{Phase: Vent, Pa: room + lastPa - 1}, false},
		{State{Phase: Vent, Pa: room + 1e5, OpenSafe: true}, false}, {State{Phase: Hold, Pa: room}, true}, {State{Phase: Ready}, false},
	} {
		c.s.Lid = lid
		if got := lidOpened(p, &c.s, time.Second); got != c.want {
			t.Errorf("in %s at %.0f Pa gauge: %v", c.s.Phase, c.s.Pa-room, got)
		}
	}
}

func TestAStepAllocatesNothing(t *testing.T) {
	p := guarded(t, nil)
	s := State{Phase: Hold, Leg: 1, StartPa: room}
	rs := reading(p.Legs[1].TargetPa, 0)
	now := time.Duration(0)
	if n := testing.AllocsPerRun(1000, func() {
		now += p.Period
		rs[0].At, rs[0].Value = now, p.Legs[1].TargetPa+float64(now/p.Period%3)*20
		s.Since = now
		s, _ = Step(p, s, Input{Now: now, Readings: rs})
	}); n != 0 {
		t.Errorf("%g allocations a step", n)
	}
}
