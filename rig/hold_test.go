package rig

import (
	"math"
	"strings"
	"testing"
	"time"
)

// resting is a state in leg 1 at its target, since a moment.
func resting(p *Plan, phase Phase, since time.Duration) State {
	pa := p.Legs[1].TargetPa
	return State{Phase: phase, Leg: 1, Since: since, LegSince: since, Now: at - p.Period, Known: true, Pa: pa, Smooth: pa, PaAt: at, StartPa: room}
}

func TestAHoldIsShutWhateverCameBefore(t *testing.T) {
	p := planned(t, nil)
	for _, phase := range []Phase{Settle, Hold} {
		s := resting(p, phase, at)
		s.Valves = Valves{Vent: true, Pulse: time.Second, RegulatePa: 3e5}
		var out Output
		if rest(p, &s, &Input{Now: at}, &out); s.Valves != (Valves{}) || len(out.Events()) != 0 {
			t.Errorf("%s: %+v, %+v", phase, s.Valves, out.Events())
		}
	}
}

func TestWhatWasMadeUpIsSaidAtTheEndOfAHoldWithMakeUpAndNowhereElse(t *testing.T) {
	for name, c := range map[string]struct {
		phase  Phase
		since  time.Duration
		makeUp bool
		skip   bool
		want   Phase
		says   bool
	}{
		"its end": {Hold, at - time.Hour, true, false, Ramp, true}, "before it": {Hold, at, true, false, Hold, false}, "without make-up": {Hold, at - time.Hour, false, false, Ramp, false},
		"the end of its settling": {Settle, at - time.Hour, true, false, Hold, false}, "it is skipped": {Hold, at, true, true, Ramp, false},
	} {
		p := planned(t, nil)
		p.Legs[1].MakeUp = c.makeUp
		s := resting(p, c.phase, c.since)
		s.MadeUp, s.MadeUpS = 4, 1.5
		var out Output
		rest(p, &s, &Input{Now: at, Operator: Operator{Skip: c.skip}}, &out)
		says := false
		for _, e := range out.Events() {
			says = says || e.Text == "made up in this hold: 4 pulses, 1.50 s of open fill valve"
		}
		if says != c.says || s.Phase != c.want {
			t.Errorf("%s: says so %v, in %s", name, says, s.Phase)
		}
	}
	p := planned(t, nil)
	p.Legs[1].Hold = 0
	s := resting(p, Settle, at-time.Hour)
	var out Output
	if rest(p, &s, &Input{Now: at}, &out); s.Phase != Ramp || s.Leg != 2 {
		t.Errorf("a leg without a hold: %s of leg %d", s.Phase, s.Leg)
	}
}

func TestMakeUpCountsItsPulses(t *testing.T) {
	p := planned(t, nil)
	p.Legs[1].MakeUp = true
	pulse := func(short float64, change func(*Plan, *State, *Input)) State {
		s := resting(p, Hold, at)
		s.RestPa, s.RestN, s.Line, s.LineAt, s.Up = s.Pa-short, 3, 7, 7, flow{PaS: 1000, Var: 2500}
		in := Input{Now: at}
		q := *p
		if change != nil {
			change(&q, &s, &in)
		}
		var out Output
		rest(&q, &s, &in, &out)
		return s
	}
	target := p.Legs[1].TargetPa
	want := time.Duration((300 + 0.4*0.005*(target-room)) / 1100 * 1e9) // see TestAValveIsOpenedForAsLongAsItsFlowSays
	if want >= p.Period {
		want = p.Period
	}
	if s := pulse(300, nil); !s.Valves.Fill || (s.Valves.Pulse-want).Abs() > time.Microsecond || s.MadeUp != 1 || math.Abs(s.MadeUpS-want.Seconds()) > 1e-6 || s.Line != target || s.LineAt != at {
		t.Errorf("%+v, %d pulses of %g s, line %.0f Pa", s.Valves, s.MadeUp, s.MadeUpS, s.Line-target)
	}
	if s := pulse(1e4, nil); s.Valves.Pulse != p.Period || s.MadeUpS != p.Period.Seconds() {
		t.Errorf("a large loss: %+v", s.Valves)
	}
	for name, change := range map[string]func(*Plan, *State, *Input){
		"an alarm": func(_ *Plan, s *State, _ *Input) { s.NoFill = true }, "by hand": func(p *Plan, _ *State, _ *Input) { p.Hand = true },
		"its last step": func(_ *Plan, s *State, _ *Input) { s.Since = at - time.Hour }, "a skip": func(_ *Plan, _ *State, in *Input) { in.Operator.Skip = true },
		"none asked for": func(p *Plan, _ *State, _ *Input) {
			p.Legs = append([]Leg(nil), p.Legs...)
			p.Legs[1].MakeUp = false
		},
	} {
		if s := pulse(300, change); s.Valves.Fill || s.MadeUp != 0 && s.Phase == Hold {
			t.Errorf("%s: %+v", name, s.Valves)
		}
	}
	if s := pulse(0, nil); s.Valves.Fill || s.MadeUp != 0 || s.MadeUpS != 0 {
		t.Errorf("nothing is short, and %+v", s.Valves)
	}
}

func TestAVentBeginsAfreshAndSaysWhatItGoesTo(t *testing.T) {
	p := planned(t, nil)
	s := State{Phase: Hold, Leg: 1, Smooth: room + 2e5, StartPa: 1, QuietSince: 1, Line: 1, LineAt: 1, Led: true, Paused: true, VentRefAt: 1, Valves: Valves{Fill: true}}
	var out Output
	startVent(p, &s, at, &out)
	if s.Phase != Vent || s.StartPa != room+2e5 || s.QuietSince != at || s.Line != s.StartPa || s.LineAt != at || s.Led || s.Paused || s.VentRefAt != 0 || s.Valves != (Valves{}) {
		t.Errorf("%+v", s)
	}
	if n := len(out.Events()); n != 2 || out.Events()[0].Kind != StageEvent || out.Events()[1].Kind != SetpointEvent || out.Events()[1].Pa != p.RoomPa {
		t.Errorf("%+v", out.Events())
	}
}

func TestARecordThatBreaksSaysWhy(t *testing.T) {
	p := planned(t, nil)
	for _, c := range []struct {
		stop   Stop
		broken string
		says   bool
	}{{RecordBroken, "no space left", true}, {RecordBroken, "", false}, {LidOpened, "no space left", false}} {
		s := State{Phase: Hold, Leg: 1}
		var out Output
		halt(p, &s, &Input{Now: at, Broken: c.broken}, &out, c.stop)
		says := false
		for _, e := range out.Events() {
			says = says || e.Kind == FaultEvent && e.Word == "broken" && e.Text == c.broken
		}
		if says != c.says || s.Stopped != c.stop || out.Events()[0].Word != "abort" || out.Events()[0].Text != c.stop.String() || !out.Events()[0].Critical {
			t.Errorf("%s, %q: %+v", c.stop, c.broken, out.Events())
		}
	}
}

func TestARegulatorIsLetOffWhileNothingMayBeFilled(t *testing.T) {
	p := planned(t, nil)
	p.Regulator = true
	s := resting(p, Ramp, at)
	s.NoFill, s.Valves = true, Valves{RegulatePa: 3e5}
	var out Output
	if ramp(p, &s, at, &out); s.Valves != (Valves{}) {
		t.Errorf("%+v", s.Valves)
	}
}

// TestARegulatorsTargetHoldsWithinItsAllowance, 0.5 % and the noise to either side.
func TestARegulatorsTargetHoldsWithinItsAllowance(t *testing.T) {
	for _, side := range []float64{1, -1} {
		for more, quiet := range map[float64]bool{0: true, 0.1: false} {
			p := planned(t, nil)
			p.Regulator, p.Legs[1].TargetPa = true, room+2e5
			s := resting(p, Ramp, at-time.Minute)
			s.Led, s.Reached, s.FirstReached, s.QuietSince, s.Line, s.LineAt = true, true, at-20*time.Second, at-10*time.Second, s.Pa, at
			s.Smooth = p.Legs[1].TargetPa + side*(1000+200+more)
			var out Output
			if ramp(p, &s, at, &out); (s.QuietSince == at-10*time.Second) != quiet {
				t.Errorf("%+g Pa off: quiet since %s", s.Smooth-p.Legs[1].TargetPa, s.QuietSince)
			}
		}
	}
}

func TestARampToWhereItStandsGoesUp(t *testing.T) {
	p := planned(t, nil)
	s := resting(p, Ramp, at)
	s.StartPa = p.Legs[1].TargetPa
	s.Pa = s.StartPa + 700 // there, on the way up; not yet, on the way down
	s.Smooth = s.Pa
	var out Output
	if ramp(p, &s, at, &out); !s.Reached || s.Valves.Vent {
		t.Errorf("reached %v, %+v", s.Reached, s.Valves)
	}
	down := resting(p, Ramp, at)
	down.StartPa = room + 9e5
	p.Legs[1].TargetPa = room + 2e5
	down.Pa, down.Smooth = room+2e5+500, room+2e5+500 // 0.25 % above it
	if ramp(p, &down, at, &out); !down.Reached {
		t.Error("0.25 % above its target is not there")
	}
}

func TestATargetThatIsReachedOnceIsNotReachedAnew(t *testing.T) {
	p := planned(t, nil)
	s := resting(p, Ramp, at-time.Minute)
	s.Reached, s.FirstReached, s.QuietSince = true, at-20*time.Second, at-10*time.Second
	s.RestPa, s.RestN = s.Pa, 8
	var out Output
	if ramp(p, &s, at, &out); s.FirstReached != at-20*time.Second || s.QuietSince != at-10*time.Second {
		t.Errorf("reached at %s, quiet since %s", s.FirstReached, s.QuietSince)
	}
	s.Reached, s.FirstReached = false, at-20*time.Second
	if ramp(p, &s, at, &out); s.FirstReached != at-20*time.Second || s.QuietSince != at {
		t.Errorf("lost and reached again: first at %s, quiet since %s", s.FirstReached, s.QuietSince)
	}
}

func TestTheEndOfAVacuumWaitsForTheAirAndNotForEver(t *testing.T) {
	p := planned(t, vacuumFirst)
	wait := func(since time.Duration, insidePa float64) State {
		s := State{Phase: Vent, Leg: 0, Since: since, QuietSince: at - time.Minute, Known: true, Pa: room, Smooth: room, PaAt: at, Valves: Valves{Vent: true},
			LowSince: at - time.Hour, HighPa: room, InsideKnown: true, Inside: insidePa, InsideAt: at}
		var out Output
		vent(p, &s, at, &out)
		return s
	}
	if s := wait(at-5*time.Minute+ns, room-2001); s.Phase != Vent || s.QuietSince != at {
		t.Errorf("under vacuum it is in %s", s.Phase)
	}
	for name, s := range map[string]State{"after five minutes": wait(at-5*time.Minute, room-2001), "with the air back": wait(at-time.Minute, room-2000)} {
		if s.Phase != Done {
			t.Errorf("%s it is in %s", name, s.Phase)
		}
	}
}

func TestAPressureInsideIsSaidAboveFiveHundredthsOfABar(t *testing.T) {
	p := planned(t, nil)
	for _, c := range []struct {
		over float64
		age  time.Duration
		says bool
	}{{5000, 0, false}, {5000.1, 0, true}, {9e3, 15 * time.Second, true}, {9e3, 15*time.Second + ns, false}} {
		s := State{Phase: Vent, Leg: 1, Since: at - time.Minute, Known: true, Pa: room, Smooth: room, PaAt: at, Valves: Valves{Vent: true}, LowSince: at - time.Hour, HighPa: room,
			InsideKnown: true, Inside: room + c.over, InsideAt: at - c.age}
		var out Output
		vent(p, &s, at, &out)
		if says := strings.HasPrefix(out.Events()[0].Text, "the unit holds pressure"); says != c.says || s.Phase != Done {
			t.Errorf("%.1f Pa, %s old: said %v", c.over, c.age, says)
		}
	}
}

func TestATargetIsNotLeftWhileAValveIsOpen(t *testing.T) {
	p := planned(t, nil)
	short := func(regulator bool, from float64) State {
		p.Regulator = regulator
		s := resting(p, Ramp, at-time.Hour)
		s.StartPa, s.Reached, s.FirstReached, s.QuietSince = from, true, at-time.Hour, at-time.Hour
		off := -1e4
		if from > s.Pa {
			off = 1e4
		}
		s.Pa, s.Smooth, s.RestPa, s.RestN, s.Line, s.LineAt = s.Pa+off, s.Pa+off, s.Pa+off, 8, p.Legs[1].TargetPa, at
		s.Up, s.Dn = flow{PaS: 1000, Var: 1}, flow{PaS: 1000, Var: 1}
		var out Output
		ramp(p, &s, at, &out)
		return s
	}
	if s := short(false, room); s.Phase != Ramp || !s.Valves.Fill {
		t.Errorf("topped up: in %s, %+v", s.Phase, s.Valves)
	}
	if s := short(true, room+9e5); s.Phase != Ramp || !s.Valves.Vent {
		t.Errorf("let off with a regulator: in %s, %+v", s.Phase, s.Valves)
	}
}

func TestALegThatIsVentedSettlesVented(t *testing.T) {
	p := planned(t, nil)
	p.Legs[1].Vented = true
	for want, s := range map[Valves]State{{Vent: true}: {Phase: Ramp, Leg: 1}, {}: {Phase: Ramp, Leg: 0, Valves: Valves{Vent: true}}} {
		var out Output
		if arrive(p, &s, at, &out); s.Valves != want || s.Phase != Settle {
			t.Errorf("leg %d settles with %+v", s.Leg, s.Valves)
		}
	}
}

func TestAUnitThatWasDrawnByAnotherLegIsNotWaitedFor(t *testing.T) {
	p := planned(t, nil) // no leg of it goes by the pressure inside
	s := State{Phase: Vent, Leg: 1, Since: at - time.Minute, QuietSince: at - time.Minute, Known: true, Pa: room, Smooth: room, PaAt: at, Valves: Valves{Vent: true},
		LowSince: at - time.Hour, HighPa: room, InsideKnown: true, Inside: room - 2e4, InsideAt: at}
	var out Output
	if vent(p, &s, at, &out); s.Phase != Done {
		t.Errorf("in %s", s.Phase)
	}
	s.Phase, s.InsideKnown, s.Inside, out = Vent, false, room+9e4, Output{}
	if vent(p, &s, at, &out); len(out.Events()) != 1 {
		t.Errorf("a pressure inside that nobody knows is told: %+v", out.Events())
	}
}

func TestWhatAlarmsSayIsSaidOnceAndOfItsSensor(t *testing.T) {
	p := guarded(t, nil)
	if onceALeg != 1<<sawFillPasses|1<<sawFalls|1<<sawBarren {
		t.Errorf("once a leg: %b", onceALeg)
	}
	for word, c := range map[string]struct {
		s             State
		i             int
		sensor, valve string
	}{
		"wet":         {State{Phase: Hold, Wet: true}, sawWet, "", ""},
		"spike":       {State{Phase: Hold, Over: 1}, sawSpike, "p1", ""},
		"twin-lost":   {State{Phase: Hold, Twin: twinState{Known: true}}, sawTwinLost, "p2", ""},
		"vent-stuck":  {State{Phase: Vent, Known: true, Pa: room + 1e5, VentRefAt: at - time.Minute}, sawVentStuck, "", "vent"},
		"fill-passes": {State{Phase: Hold, RestN: 8, BasePa: room + 1e5, RestPa: room + 2e5}, sawFillPasses, "", "fill"},
	} {
		s := c.s
		s.Alarms = 1 << (c.i + 1) // its neighbour held before
		var out Output
		protect(p, &s, at, &out)
		e := out.Events()
		if s.Alarms&^onceALeg != 1<<c.i&^onceALeg || len(e) != 1 || e[0].Word != word || e[0].Sensor != c.sensor || e[0].Valve != c.valve || !e[0].Critical {
			t.Errorf("%s: alarms %b, told %+v", word, s.Alarms, e)
		}
		out = Output{}
		if protect(p, &s, at, &out); len(out.Events()) != 0 {
			t.Errorf("%s: told again: %+v", word, out.Events())
		}
	}
	s := State{Phase: Done, Wet: true, Alarms: 7}
	var out Output
	if stop := protect(p, &s, at, &out); stop != NotStopped || s.Alarms != 7 || len(out.Events()) != 0 {
		t.Errorf("after the end: %q, %b, %+v", stop, s.Alarms, out.Events())
	}
}

func TestTheGravestDangerEndsTheRunAndTheFirstLocksItOut(t *testing.T) {
	p := guarded(t, nil)
	s := State{Phase: Hold, Wet: true, Over: 3, NoValve: true}
	var out Output
	if stop := protect(p, &s, at, &out); stop != ValveLost || s.Locked != ValveLost || !s.NoFill {
		t.Errorf("ended by %q, locked out by %q, filling forbidden %v", stop, s.Locked, s.NoFill)
	}
	s = State{Phase: Hold, NoValve: true, Locked: LidOpened}
	if protect(p, &s, at, &out); s.Locked != LidOpened {
		t.Errorf("a lock-out is written over by %q", s.Locked)
	}
	s = State{Phase: Hold, Twin: twinState{Known: true}} // a remark forbids nothing
	if stop := protect(p, &s, at, &out); stop != NotStopped || s.NoFill || s.Locked != NotStopped {
		t.Errorf("%q, %v, %q", stop, s.NoFill, s.Locked)
	}
	s = State{Phase: Hold, Over: 1} // a hold forbids the fill, and ends nothing
	if stop := protect(p, &s, at, &out); stop != NotStopped || !s.NoFill || s.Locked != NotStopped {
		t.Errorf("%q, %v, %q", stop, s.NoFill, s.Locked)
	}
	s = State{Phase: Hold, Wet: true} // a vent ends the run, and locks nothing out
	if stop := protect(p, &s, at, &out); stop != UnitWet || s.Locked != NotStopped {
		t.Errorf("%q, %q", stop, s.Locked)
	}
}

func TestTheVentStandsOpenAtTheEndThoughItIsGivenUp(t *testing.T) {
	p := planned(t, nil)
	p.VentRate = 1
	s := State{Phase: Vent, Leg: 1, Since: at - 30*time.Minute, Known: true, Pa: room + 3e5, Smooth: room + 3e5, PaAt: at, Line: room + 9e5, LineAt: at, Dn: flow{PaS: 9000, Var: 1}}
	var out Output
	if vent(p, &s, at, &out); s.Phase != Done || s.Valves != (Valves{Vent: true}) {
		t.Errorf("in %s with %+v", s.Phase, s.Valves)
	}
}

// TestAPulseOfTheTopUpBeginsTheQuietAnew: whether the valve opens now or has just shut.
func TestAPulseOfTheTopUpBeginsTheQuietAnew(t *testing.T) {
	p := planned(t, nil)
	for name, change := range map[string]func(*State){
		"opens": func(s *State) { s.Pa, s.Smooth, s.RestPa = s.Pa-150, s.Smooth-150, s.RestPa-150 }, "has shut": func(s *State) { s.Valves = Valves{Fill: true} },
	} {
		s := resting(p, Ramp, at-time.Minute)
		s.Reached, s.FirstReached, s.QuietSince = true, at-20*time.Second, at-10*time.Second
		s.RestPa, s.RestN, s.Line, s.LineAt, s.Up = s.Pa, 8, s.Pa, at, flow{PaS: 1000, Var: 1}
		change(&s)
		var out Output
		if ramp(p, &s, at, &out); s.QuietSince != at {
			t.Errorf("%s: quiet since %s, %+v", name, s.QuietSince, s.Valves)
		}
	}
}
