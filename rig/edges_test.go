package rig

import (
	"strings"
	"testing"
	"time"

	"proofpot/rig/setup"
	"proofpot/sensors"
)

// What the sequencer does at the edges of its phases, by figures that are written
// out here.

func TestAClockThatGoesBackStandsStill(t *testing.T) {
	p := planned(t, nil)
	s := State{Phase: Hold, Leg: 1, Now: at, Since: at - time.Second, Known: true, Pa: p.Legs[1].TargetPa, PaAt: at}
	s, _ = Step(p, s, Input{Now: at - time.Hour})
	if s.Now != at || s.Since != at-time.Second {
		t.Errorf("now %s, in the hold since %s", s.Now, s.Since)
	}
}

func TestARunThatCannotBeginCountsFromItsFirstStep(t *testing.T) {
	p := planned(t, nil)
	var s State
	step := func(now time.Duration) { s, _ = Step(p, s, Input{Now: now}) }
	step(at)
	if s.Since != at || s.Now != at {
		t.Fatalf("it waits since %s", s.Since)
	}
	step(at + time.Minute)
	if s.Since != at || s.Stopped != NotStopped {
		t.Fatalf("it waits since %s, stopped %q", s.Since, s.Stopped)
	}
	if step(at + time.Minute + ns); s.Stopped != SensorLost {
		t.Errorf("without a pressure for more than a minute: %q", s.Stopped)
	}
}

func TestNothingBeginsBeforeAllIsAsItShouldBe(t *testing.T) {
	p := planned(t, nil)
	open := func(q sensors.Quantity) []sensors.Reading {
		return append(reading(room, at), sensors.Reading{Sensor: "s", Quantity: q, Value: 1, At: at})
	}
	for name, c := range map[string]struct {
		s    State
		in   Input
		says bool
	}{
		"no pressure": {}, "the lid": {in: Input{Readings: open(sensors.LidOpen)}, says: true}, "the stop": {in: Input{Readings: open(sensors.StopOpen)}, says: true},
		"the float": {in: Input{Readings: open(sensors.FloatOpen)}, says: true}, "a lock-out": {s: State{Locked: OverPressure}, in: Input{Readings: reading(room, at)}, says: true},
		"a pause": {s: State{Paused: true}, in: Input{Readings: reading(room, at)}},
	} {
		c.in.Now = at
		s, out := Step(p, c.s, c.in)
		said := 0
		for _, e := range out.Events() {
			if e.Kind == NoteEvent {
				said++
			}
		}
		if s.Phase != Ready || out.Valves != (Valves{Vent: true}) || (said > 0) != c.says {
			t.Errorf("%s: in %s, valves %+v, said %d", name, s.Phase, out.Valves, said)
		}
		c.in.Now += p.Period
		_, out = Step(p, s, c.in)
		for _, e := range out.Events() {
			if e.Kind == NoteEvent {
				t.Errorf("%s: said again: %q", name, e.Text)
			}
		}
	}
}

func TestTheBeginningForgetsWhatTheOpenVentHasTaught(t *testing.T) {
	p := planned(t, nil)
	s := State{HighPa: room + 9e5, Up: flow{OpenS: 3, PaS: 7, Var: 1}, Dn: flow{OpenS: 3, PaS: 7, Var: 1}, Now: at - p.Period, Since: at - p.Period, Falls: 2,
		AskedPa: 1, Ahead: 2, Valves: Valves{Vent: true}, Coarse: true, Trim: 9, Led: true, Reached: true, FirstReached: at, Alarms: 1 << sawBarren}
	s, out := Step(p, s, Input{Now: at, Readings: reading(room, at)})
	if s.Phase != Ramp || s.HighPa != room || s.Up.Var != 0 || s.Dn.Var != 0 || s.AskedPa != 0 || s.Ahead != 0 || s.Coarse || s.Trim != 0 || s.Led || s.Reached ||
		s.FirstReached != 0 || s.Alarms != 0 || s.StartPa != room || s.Line != room || s.LineAt != at || s.QuietSince != at || s.LegSince != at || s.LeadSince != at ||
		s.Since != at || s.Hand.Since != at || s.Hand.LowPa != room {
		t.Errorf("it begins with %+v", s)
	}
	var kinds []EventKind
	for _, e := range out.Events() {
		kinds = append(kinds, e.Kind)
	}
	if len(kinds) != 4 || kinds[0] != ValveEvent || kinds[1] != ValveEvent || kinds[2] != StageEvent || kinds[3] != SetpointEvent || !out.Events()[2].Critical {
		t.Errorf("the record is told %+v", out.Events())
	}
	hand := planned(t, func(r *setup.Run) { r.Bench.HandOperated = true })
	if _, out := Step(hand, State{Now: at - p.Period, Since: at - p.Period}, Input{Now: at, Readings: reading(room, at)}); out.Events()[0].Kind != StageEvent {
		t.Errorf("valves that are not there: %+v", out.Events()[0])
	}
}

// TestAWaitEndsAtTheStepNearestToItsEnd: half a period before or after it.
func TestAWaitEndsAtTheStepNearestToItsEnd(t *testing.T) {
	p := planned(t, nil) // a period of 0.5 s, a hold of 40 s
	for since, want := range map[time.Duration]bool{at - 39750*time.Millisecond: true, at - 39750*time.Millisecond + ns: false} {
		s := State{Phase: Hold, Leg: 1, Since: since, Now: at - p.Period, Known: true, Pa: p.Legs[1].TargetPa, Smooth: p.Legs[1].TargetPa, PaAt: at - p.Period}
		if s, _ = Step(p, s, Input{Now: at, Readings: reading(p.Legs[1].TargetPa, at)}); (s.Phase != Hold) != want {
			t.Errorf("held for %s: in %s", at-since, s.Phase)
		}
	}
}

func TestASkipEndsASettleAndAHoldAndNothingElse(t *testing.T) {
	p := planned(t, nil)
	for phase, want := range map[Phase]Phase{Settle: Hold, Hold: Ramp, Ramp: Ramp, Vent: Vent} {
		s := State{Phase: phase, Leg: 1, Since: at, Now: at - p.Period, Known: true, Pa: p.Legs[1].TargetPa, Smooth: p.Legs[1].TargetPa, PaAt: at - p.Period, StartPa: room}
		s, out := Step(p, s, Input{Now: at, Readings: reading(p.Legs[1].TargetPa, at), Operator: Operator{Skip: true}})
		noted := false
		for _, e := range out.Events() {
			noted = noted || e.Text == SkippedNote
		}
		if s.Phase != want || noted != (phase == Settle || phase == Hold) {
			t.Errorf("%s skipped: in %s, noted %v", phase, s.Phase, noted)
		}
	}
	s := State{Phase: Hold, Leg: 1, Since: at, Now: at - p.Period, Known: true, Pa: p.Legs[1].TargetPa, PaAt: at - p.Period}
	if s, _ = Step(p, s, Input{Now: at, Operator: Operator{Failed: true}}); s.Phase != Hold {
		t.Error("a unit that fails ends a stage that is no search")
	}
}

func TestAPauseAndALossStopTheClockOfAHold(t *testing.T) {
	p := planned(t, nil)
	s := State{Phase: Hold, Leg: 1, Since: at - time.Hour, LegSince: at - time.Hour, Now: at - 5*time.Second, Paused: true, Known: true, Pa: p.Legs[1].TargetPa, PaAt: at,
		QuietSince: 1, WindowSince: 1, LineAt: 1, Hand: handwork{Since: 1}, FirstReached: 1}
	s, _ = Step(p, s, Input{Now: at})
	if s.Phase != Hold || s.Since != at-time.Hour+5*time.Second || s.LegSince != s.Since || s.Idle != 5*time.Second || s.QuietSince != 5*time.Second+1 ||
		s.WindowSince != s.QuietSince || s.LineAt != s.QuietSince || s.Hand.Since != s.QuietSince || s.FirstReached != s.QuietSince {
		t.Errorf("after 5 s of pause: %+v", s)
	}
	s.FirstReached, s.Now = 0, at
	if s, _ = Step(p, s, Input{Now: at + time.Second}); s.FirstReached != 0 {
		t.Error("a target that was never reached is reached by a pause")
	}
}

// TestTheVentIsOpenedFullyWhereNothingIsToBeGained: at the plan's rate above 0.2
// bar, all at once below, and after a stop, by hand, and without a pressure.
func TestTheVentIsOpenedFullyWhereNothingIsToBeGained(t *testing.T) {
	p := planned(t, nil)
	p.VentRate = 1 // so slow that the vent need not open now
	for name, c := range map[string]struct {
		change func(*State)
		full   bool
	}{
		"above 0.2 bar": {func(s *State) { s.Pa = room + 20000.1 }, false}, "at 0.2 bar": {func(s *State) { s.Pa = room + 2e4 }, false},
		"below it": {func(s *State) { s.Pa = room + 19999.9 }, true},
		"stopped":  {func(s *State) { s.Stopped = ByOperator }, true}, "stale": {func(s *State) { s.Stale, s.PaAt = true, at-time.Minute }, true},
	} {
		s := State{Phase: Vent, Leg: 1, Since: at - time.Second, Now: at - p.Period, Known: true, Pa: room + 3e5, PaAt: at, Line: room + 9e5, LineAt: at, Dn: flow{PaS: 9000, Var: 1}}
		c.change(&s)
		s.Smooth = s.Pa
		var out Output
		vent(p, &s, at, &out)
		if full := s.Valves == (Valves{Vent: true}); full != c.full {
			t.Errorf("%s: %+v", name, s.Valves)
		}
	}
}

// TestAVentIsFollowedByTwoPercentAMinute: each 2 % of the gauge pressure begins
// the minute anew, and at least eight times the noise.
func TestAVentIsFollowedByTwoPercentAMinute(t *testing.T) {
	p := planned(t, nil)
	for name, c := range map[string]struct {
		fell, noise float64
		anew        bool
	}{"2 %": {6e3, 50, true}, "less": {5999.9, 50, false}, "eight times the noise": {8e3, 1000, true}, "less than that": {7999.9, 1000, false}} {
		p.NoisePa = c.noise
		s := State{Phase: Vent, Leg: 1, Since: at - time.Minute, Stopped: ByOperator, Known: true, VentRefPa: room + 3e5, VentRefAt: at - 30*time.Second, PaAt: at}
		s.Pa = s.VentRefPa - c.fell
		s.Smooth = s.Pa
		var out Output
		vent(p, &s, at, &out)
		if anew := s.VentRefAt == at && s.VentRefPa == s.Pa; anew != c.anew {
			t.Errorf("%s: the minute runs from %s", name, s.VentRefAt)
		}
	}
	s := State{Phase: Vent, Leg: 1, Since: at, Known: true, Pa: room + 3e5, Smooth: room + 3e5, PaAt: at, VentRefAt: at - time.Second, Line: room + 9e5, LineAt: at, Dn: flow{PaS: 9000, Var: 1}}
	var out Output
	if vent(p, &s, at, &out); s.VentRefAt != 0 {
		t.Error("a vent that is shut is found deaf")
	}
}

func TestTheRunsLastLineSaysWhetherItIsLockedOut(t *testing.T) {
	p := planned(t, nil)
	for _, locked := range []Stop{NotStopped, LidOpened} {
		s := State{Phase: Vent, Leg: 1, Since: at - time.Minute, Stopped: locked, Locked: locked, Known: true, Pa: room, Smooth: room, PaAt: at, Valves: Valves{Vent: true},
			LowSince: at - time.Hour, QuietSince: at - 4750*time.Millisecond, HighPa: room}
		var out Output
		vent(p, &s, at, &out)
		if n := len(out.Events()); n != 1 || s.Phase != Done || strings.Contains(out.Events()[0].Text, "LOCKED OUT") != (locked != NotStopped) {
			t.Errorf("locked out by %q: %+v", locked, out.Events())
		}
		s.Phase, s.QuietSince = Vent, at-4750*time.Millisecond+ns
		out = Output{}
		if vent(p, &s, at, &out); s.Phase != Vent {
			t.Error("ended before the pressure has been gone for 5 s")
		}
	}
}

func TestAPauseOnTheWayDownShutsTheVent(t *testing.T) {
	p := planned(t, nil)
	s := State{Phase: Ramp, Leg: 0, StartPa: room + 3e5, Since: at - time.Second, Now: at - p.Period, Known: true, Pa: room + 2e5, Smooth: room + 2e5, PaAt: at - p.Period, Valves: Valves{Vent: true}, Paused: true}
	if _, out := Step(p, s, Input{Now: at, Readings: reading(room+2e5, at)}); out.Valves != (Valves{}) {
		t.Errorf("valves %+v", out.Valves)
	}
}

func TestABenchByHandHasNoValvesToRemember(t *testing.T) {
	p := planned(t, func(r *setup.Run) { r.Bench.HandOperated = true })
	s := State{Phase: Vent, Leg: 1, Since: at, Now: at - p.Period, Known: true, Pa: room + 2e5, Smooth: room + 2e5, PaAt: at - p.Period}
	if s, out := Step(p, s, Input{Now: at, Readings: reading(room+2e5, at)}); s.Valves != (Valves{}) || out.Prompt != s.Prompt || out.Prompt.Kind != VentAll {
		t.Errorf("valves %+v, asked to %q", s.Valves, out.Prompt.Kind)
	}
}

func TestEachMoveOfAValveIsInTheRecord(t *testing.T) {
	p := planned(t, nil)
	stands := map[string]bool{}
	drive(t, p, &pot{pa: room, fill: 2500, vent: 9000}, nil, func(in Input, s State, out Output) {
		for _, e := range out.Events() {
			if e.Kind == ValveEvent {
				stands[e.Valve] = e.Open
			}
		}
		if s.Phase != Ready && (stands["fill"] != out.Valves.Fill || stands["vent"] != out.Valves.Vent) {
			t.Fatalf("at %s the record says %v, the valves are %+v", in.Now, stands, out.Valves)
		}
	})
}

func TestTheTimeThatAPersonTakesDoesNotMakeARunTooLong(t *testing.T) {
	p := guarded(t, nil)
	p.Legs[2].Ask = CloseUp
	s := State{Phase: Ramp, Leg: 2, Since: at, LegSince: at, Now: at - 7*time.Second, Known: true, Pa: room, Smooth: room, PaAt: at}
	if s, _ = Step(p, s, Input{Now: at}); s.Idle != 7*time.Second {
		t.Errorf("%s do not count", s.Idle)
	}
}

func TestALockOutNamesItsReasonWhileItWaits(t *testing.T) {
	p := planned(t, nil)
	for locked, want := range map[Stop]string{LidOpened: "locked out until it is acknowledged: the lid is open", NotStopped: "the lid, the stop or the float switch"} {
		s := State{Locked: locked, Lid: contact{Known: true, Open: true, At: at}, Now: at - p.Period, Since: at - p.Period}
		_, out := Step(p, s, Input{Now: at, Readings: reading(room, at)})
		if n := len(out.Events()); n == 0 || !strings.HasPrefix(out.Events()[0].Text, want) {
			t.Errorf("%+v, want %q", out.Events(), want)
		}
	}
	s := State{Blocked: true, Now: at - p.Period, Since: at - p.Period}
	if s, _ = Step(p, s, Input{Now: at, Readings: reading(room, at)}); s.Blocked {
		t.Error("what stood in the way is not forgotten")
	}
}

func TestABarometerIsBelievedWithinTenKilopascal(t *testing.T) {
	p := planned(t, nil)
	for off, want := range map[float64]bool{9999: true, 10e3: false, -9999: true, -10e3: false} {
		var s State
		var out Output
		observe(p, &s, &Input{Now: at, Readings: []sensors.Reading{{Sensor: "b", Quantity: sensors.RoomPressure, Value: room + off, At: at}}}, &out)
		if (s.RoomPa == room+off && s.RoomAt == at) != want {
			t.Errorf("%g Pa off: the room has %.0f Pa", off, s.RoomPa)
		}
	}
	for age, want := range map[time.Duration]float64{5 * time.Minute: room + 1, 5*time.Minute + ns: room} {
		if got := p.roomNow(&State{RoomPa: room + 1, RoomAt: at - age}, at); got != want {
			t.Errorf("a barometer of %s ago gives %.0f Pa", age, got)
		}
	}
}

func TestARampGoesOnUntilItsTargetHoldsByItself(t *testing.T) {
	p := planned(t, nil)
	target := p.Legs[1].TargetPa
	reached := State{Phase: Ramp, Leg: 1, StartPa: room, Reached: true, FirstReached: at - time.Minute, QuietSince: at - 29750*time.Millisecond, Since: at - 2*time.Minute,
		Known: true, Pa: target, Smooth: target, PaAt: at, RestPa: target, RestN: 8, Now: at - p.Period, Line: target, LineAt: at - p.Period, Up: flow{PaS: 1000, Var: 1}}
	for name, c := range map[string]struct {
		change func(*State)
		want   Phase
	}{
		"quiet for 30 s, to the nearest step": {func(*State) {}, Settle}, "less": {func(s *State) { s.QuietSince += ns }, Ramp},
		"topped up for three minutes":            {func(s *State) { s.QuietSince, s.FirstReached = at, at-179750*time.Millisecond }, Settle},
		"less than that":                         {func(s *State) { s.QuietSince, s.FirstReached = at, at-179750*time.Millisecond+ns }, Ramp},
		"while it is topped up":                  {func(s *State) { s.RestPa, s.Pa = target-300, target-300 }, Ramp},
		"never reached":                          {func(s *State) { s.Reached, s.Pa, s.RestPa = false, target-5e3, target-5e3 }, Ramp},
		"reached just now":                       {func(s *State) { s.Reached, s.FirstReached = false, 0 }, Ramp},
		"with the valve open up to now":          {func(s *State) { s.Valves = Valves{Fill: true} }, Ramp},
		"with an alarm that forbids to fill it":  {func(s *State) { s.NoFill = true }, Settle},
		"and one under which it has fallen back": {func(s *State) { s.NoFill, s.Pa = true, target-5e3 }, Settle},
	} {
		s := reached
		c.change(&s)
		var out Output
		if ramp(p, &s, at, &out); s.Phase != c.want {
			t.Errorf("%s: in %s", name, s.Phase)
		}
		if name == "reached just now" && (s.FirstReached != at || s.QuietSince != at || !s.Reached) {
			t.Errorf("%s: %+v", name, s)
		}
	}
	// Within the noise below it on the way up, within the band above it on the way down.
	for _, c := range []struct {
		off, start float64
		want       bool
	}{{-200, room, true}, {-200.1, room, false}, {604.9, room + 6e5, true}, {615, room + 6e5, false}} {
		s := State{Phase: Ramp, Leg: 1, StartPa: c.start, Known: true, Pa: target + c.off, Smooth: target + c.off, PaAt: at, Now: at - p.Period, Line: target, LineAt: at}
		var out Output
		if ramp(p, &s, at, &out); s.Reached != c.want {
			t.Errorf("%+g Pa from the target of %.0f Pa gauge, from %.0f Pa: reached %v", c.off, target-room, c.start-room, s.Reached)
		}
	}
}

func TestAPhaseBeginsWithNothingOfTheOneBefore(t *testing.T) {
	p := planned(t, nil)
	s := State{Phase: Hold, Leg: 1, Since: 1, Window: slope{n: 9}, Before: slope{n: 9}, WindowSince: 1, Stable: true, MadeUp: 3, MadeUpS: 3, RestN: 3, RestLong: 3}
	var out Output
	enter(p, &s, at, Settle, &out)
	if want := (State{Phase: Settle, Leg: 1, Since: at, WindowSince: at}); s != want {
		t.Errorf("%+v", s)
	}
}
