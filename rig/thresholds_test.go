package rig

import (
	"math"
	"testing"
	"time"

	"proofpot/sensors"
)

// The figures of PROTECTION.md, each at its edge and one step beyond it. They are
// written out here and not taken from the constants.
const (
	at = 1000 * time.Second // the moment at which all is looked at
	ns = time.Nanosecond
)

// edge is a state in which a protection has not yet seen its danger, and what
// little brings it about.
type edge struct {
	name   string
	before State
	then   func(p *Plan, s *State)
}

// noisy is an edge that lies at ten times the noise, of 500 Pa.
const noisy = "ten times the noise"

func edges(p *Plan) map[int][]edge {
	gauge := func(pa float64) float64 { return p.RoomPa + pa }
	silent := contact{Known: true, At: at - 5*time.Second}
	rest := State{Phase: Hold, RestN: 8, BasePa: gauge(1e5)}
	resting := func(pa float64) State { s := rest; s.RestPa = s.BasePa + pa; return s }
	deep := func(pa float64) State { s := rest; s.BasePa = gauge(5e5); s.RestPa = s.BasePa + pa; return s }
	rises := func(pa, flowPaS float64) State {
		return State{Phase: Hold, RestLong: 4, Up: flow{PaS: flowPaS, Var: 1}, PaAt: at, OpenEnd: at - 3*time.Second,
			BasePa: gauge(1e5), BaseAt: at - 4*time.Second, RestPa: gauge(1e5) + pa}
	}
	known := func(s State) State { s.Known, s.PaAt = true, at; return s }
	heard := func(s State, ago time.Duration) State { s.Twin.Known, s.Twin.At = true, at-ago; return s }
	more := func(_ *Plan, s *State) { s.RestPa += 0.1 }
	less := func(_ *Plan, s *State) { s.RestPa -= 0.1 }
	return map[int][]edge{
		sawStop: {{"silent for 5 s", State{Phase: Hold, Stop: silent}, func(_ *Plan, s *State) { s.Stop.At -= ns }},
			{"not yet begun", State{Stop: contact{Known: true, Open: true, At: at}}, func(_ *Plan, s *State) { s.Phase = Ramp }}},
		sawFloat: {{"silent for 5 s", State{Phase: Hold, Float: silent}, func(_ *Plan, s *State) { s.Float.At -= ns }},
			{"not yet begun", State{Float: contact{Known: true, Open: true, At: at}}, func(_ *Plan, s *State) { s.Phase = Ramp }},
			{"never heard", State{Phase: Hold, Float: contact{Open: true}}, func(_ *Plan, s *State) { s.Float.Known = true }}},
		sawLid: {{"in the vent at 0.2 bar", State{Phase: Vent, Pa: gauge(2e4), Lid: contact{Known: true, Open: true, At: at}}, func(_ *Plan, s *State) { s.Pa += 0.1 }},
			{"in a vented leg at 0.2 bar", State{Phase: Hold, Leg: 3, Pa: gauge(2e4), Lid: contact{Known: true, Open: true, At: at}}, func(_ *Plan, s *State) { s.Pa += 0.1 }}},
		sawOverPressure: {{"two readings", State{Over: 2}, func(_ *Plan, s *State) { s.Over++ }},
			{"two of the twin", State{Twin: twinState{Over: 2}}, func(_ *Plan, s *State) { s.Twin.Over++ }}},
		sawSpike:     {{"none", State{}, func(_ *Plan, s *State) { s.Over++ }}, {"none of the twin", State{}, func(_ *Plan, s *State) { s.Twin.Over++ }}},
		sawRegulator: {{"two readings", State{Ahead: 2}, func(_ *Plan, s *State) { s.Ahead++ }}},
		sawAhead:     {{"none", State{}, func(_ *Plan, s *State) { s.Ahead++ }}},
		sawHot: {{"hot twice", State{UnitHeat: heat{Hot: 2}}, func(_ *Plan, s *State) { s.UnitHeat.Hot++ }},
			{"too fast once", State{UnitHeat: heat{Fast: 1}}, func(_ *Plan, s *State) { s.UnitHeat.Fast++ }},
			{"beyond its load twice", State{UnitHeat: heat{Beyond: 2}}, func(_ *Plan, s *State) { s.UnitHeat.Beyond++ }}},
		sawWarm:            {{"hot twice", State{ChamberHeat: heat{Hot: 2}}, func(_ *Plan, s *State) { s.ChamberHeat.Hot++ }}},
		sawSensorsDisagree: {{"19 readings", State{Twin: twinState{Off: 19}}, func(_ *Plan, s *State) { s.Twin.Off++ }}},
		sawApart:           {{"4 readings", State{Twin: twinState{Off: 4}}, func(_ *Plan, s *State) { s.Twin.Off++ }}},
		sawNoResponse: {{"in its time", State{Phase: Ramp, Leg: 1, Since: at - 3*p.Legs[1].Ramp - 3*time.Minute}, func(_ *Plan, s *State) { s.Since -= ns }},
			{"arrived", State{Phase: Ramp, Leg: 1, Since: at - time.Hour, Reached: true}, func(_ *Plan, s *State) { s.Reached = false }},
			{"no ramp", State{Phase: Hold, Leg: 1, Since: at - time.Hour}, func(_ *Plan, s *State) { s.Phase = Ramp }}},
		sawTooLong: {{"its longest", State{Phase: Hold, Idle: at - p.Longest}, func(_ *Plan, s *State) { s.Idle -= ns }},
			{"in the vent", State{Phase: Vent, Idle: -p.Longest}, func(_ *Plan, s *State) { s.Phase = Ramp }},
			{"5 min before it begins", State{Phase: Ready, Since: at - 5*time.Minute}, func(_ *Plan, s *State) { s.Since -= ns }},
			{"a day for an answer", State{Phase: Ramp, Leg: 2, Since: at - 24*time.Hour}, func(_ *Plan, s *State) { s.Since -= ns }},
			{"a day without a question", State{Phase: Ramp, Leg: 1, Since: at - 25*time.Hour}, func(_ *Plan, s *State) { s.Leg = 2 }}},
		sawFall: {{"over", State{FallUntil: at}, func(_ *Plan, s *State) { s.FallUntil += ns }}},
		sawLate: {{"a step ago", State{LateAt: at - ns}, func(_ *Plan, s *State) { s.LateAt += ns }}},
		sawTwinLost: {{"for 3 s", heard(State{}, 3*time.Second), func(_ *Plan, s *State) { s.Twin.At -= ns }},
			{"never heard", State{}, func(_ *Plan, s *State) { s.Twin.Known = true }}},
		sawBarren: {{"20 s", State{Barren: 20}, func(_ *Plan, s *State) { s.Barren += 0.001 }}},
		sawFillPasses: {{"0.02 bar", resting(2e3), more}, {"1 %", deep(5e3), more},
			{noisy, resting(5e3), more},
			{"not yet at rest", func() State { s := resting(3e3); s.RestN = 7; return s }(), func(_ *Plan, s *State) { s.RestN++ }},
			{"while it settles", func() State { s := resting(3e3); s.Phase = Settle; return s }(), func(_ *Plan, s *State) { s.Phase = Hold }}},
		sawFalls: {{"0.02 bar", resting(-2e3), less}, {"1 %", deep(-5e3), less},
			{noisy, resting(-5e3), less}},
		sawFillStuckOpen: {{"0.02 bar", rises(2e3, 2500), more}, {"an eighth of the flow for 4 s", rises(5e3, 1e4), more},
			{noisy, rises(5e3, 2500), more},
			{"three readings", func() State { s := rises(9e3, 2500); s.RestLong = 3; return s }(), func(_ *Plan, s *State) { s.RestLong++ }},
			{"less than 3 s", func() State { s := rises(9e3, 2500); s.OpenEnd += ns; return s }(), func(_ *Plan, s *State) { s.OpenEnd -= ns }},
			{"a flow nobody knows", func() State { s := rises(9e3, 2500); s.Up.Var = 0; return s }(), func(_ *Plan, s *State) { s.Up.Var = 1 }},
			{"in the vent", func() State { s := rises(9e3, 2500); s.Phase = Vent; return s }(), func(_ *Plan, s *State) { s.Phase = Hold }}},
		sawVentStuck: {{"less than a minute", known(State{Phase: Vent, Pa: gauge(1e5), VentRefAt: at - time.Minute + ns}), func(_ *Plan, s *State) { s.VentRefAt -= ns }},
			{"0.2 bar", known(State{Phase: Vent, Pa: gauge(2e4), VentRefAt: at - time.Minute}), func(_ *Plan, s *State) { s.Pa += 0.1 }},
			{"a vent that was not opened", known(State{Phase: Vent, Pa: gauge(1e5)}), func(_ *Plan, s *State) { s.VentRefAt = at - time.Minute }},
			{"another phase", known(State{Phase: Hold, Pa: gauge(1e5), VentRefAt: at - time.Minute}), func(_ *Plan, s *State) { s.Phase = Vent }},
			{"a stale pressure", func() State {
				s := known(State{Phase: Vent, Pa: gauge(1e5), VentRefAt: at - time.Minute})
				s.Stale = true
				return s
			}(), func(_ *Plan, s *State) { s.Stale = false }},
			{"no pressure", State{Phase: Vent, Pa: gauge(1e5), VentRefAt: at - time.Minute}, func(_ *Plan, s *State) { s.Known = true }}},
		sawSensorLost: {{"before it begins, for a minute", State{Phase: Ready, Since: at - time.Minute}, func(_ *Plan, s *State) { s.Since -= ns }},
			{"before it begins, known", State{Phase: Ready, Known: true, Since: at - time.Hour}, func(_ *Plan, s *State) { s.Known = false }},
			{"for a minute", State{Phase: Hold, Stale: true, PaAt: at - time.Minute}, func(_ *Plan, s *State) { s.PaAt -= ns }},
			{"not stale", State{Phase: Hold, PaAt: at - time.Hour}, func(_ *Plan, s *State) { s.Stale = true }},
			{"the twin is heard", heard(State{Phase: Hold, Stale: true, PaAt: at - time.Hour}, 3*time.Second), func(_ *Plan, s *State) { s.Twin.At -= ns }},
			{"the twin was heard once", heard(State{Phase: Hold, Stale: true, PaAt: at - time.Hour}, 0), func(_ *Plan, s *State) { s.Twin.Known = false }}},
		sawWet: {{"in the vent", State{Phase: Vent, Wet: true}, func(_ *Plan, s *State) { s.Phase = Hold }},
			{"dry", State{Phase: Hold}, func(_ *Plan, s *State) { s.Wet = true }}},
	}
}

func TestEachThresholdLiesWhereTheTableSays(t *testing.T) {
	plan := func() *Plan {
		p := guarded(t, nil)
		p.Legs[2].Ask, p.Legs[3].Vented, p.Longest = CloseUp, true, 30*time.Minute
		return p
	}
	for i, all := range edges(plan()) {
		for k := range all {
			p := plan()
			e := edges(p)[i][k]
			s := e.before
			if e.name == noisy {
				p.NoisePa = 500
			}
			if seen(i, p, &s, at) {
				t.Errorf("%s, %s: seen already", protections[i].Word, e.name)
			}
			if e.then(p, &s); !seen(i, p, &s, at) {
				t.Errorf("%s, %s: not seen beyond it", protections[i].Word, e.name)
			}
		}
	}
	p := plan()
	if p.StopOnWet = false; seen(sawWet, p, &State{Phase: Hold, Wet: true}, at) {
		t.Error("a run that was told to go on wet is ended")
	}
	p = plan()
	if p.CellsInside = true; seen(sawWet, p, &State{Phase: Hold, Wet: true}, at) || !seen(sawWetWithCells, p, &State{Phase: Vent, Wet: true}, at) {
		t.Error("water and cells are taken for water alone")
	}
	if seen(sawLate, p, &State{}, 0) {
		t.Error("the first step is late")
	}
	if p.Hand = true; seen(sawFillStuckOpen, p, &edges(p)[sawFillStuckOpen][0].before, at) {
		t.Error("a hand pump is taken for a valve")
	}
}

func TestATemperatureIsTooHotAbove60AndTooFastAbove3KAMinute(t *testing.T) {
	see := func(readings ...float64) heat { // °C, one a minute
		var h heat
		for i, c := range readings {
			h.see(&sensors.Reading{Value: c, At: time.Duration(i+1) * time.Minute})
		}
		return h
	}
	for _, c := range []struct {
		readings  []float64
		hot, fast int
	}{
		{[]float64{60}, 0, 0}, {[]float64{60.1}, 1, 0}, {[]float64{61, 61, 61}, 3, 0}, {[]float64{61, 61, 59}, 0, 0},
		{[]float64{20, 23}, 0, 0}, {[]float64{20, 23.1}, 0, 1}, {[]float64{20, 24, 28}, 0, 2}, {[]float64{20, 24, 25}, 0, 0}, {[]float64{20, 24, 25, 29}, 0, 1},
		{[]float64{-20, -10, 5}, 0, 2}, {[]float64{40, 30, 20}, 0, 0},
	} {
		if h := see(c.readings...); h.Hot != c.hot || h.Fast != c.fast {
			t.Errorf("%v: hot %d times, too fast %d times; want %d and %d", c.readings, h.Hot, h.Fast, c.hot, c.fast)
		}
	}
	var h heat
	for _, r := range []struct {
		s    float64
		c    float64
		fast int
	}{{100, 20, 0}, {159.9, 40, 0}, {160, 40, 1}, {219, 60, 1}, {280, 46, 0}, {400, 52.1, 1}} { // by the minute that has passed, and no shorter
		h.see(&sensors.Reading{Value: r.c, At: time.Duration(r.s * 1e9)})
		if h.Fast != r.fast {
			t.Errorf("at %g s: too fast %d times, want %d", r.s, h.Fast, r.fast)
		}
	}
}

func TestAStepIsLateAfterThreePeriodsAndASecond(t *testing.T) {
	for period, most := range map[time.Duration]time.Duration{500 * time.Millisecond: 1500 * time.Millisecond, 100 * time.Millisecond: time.Second} {
		p := guarded(t, nil)
		p.Period = period
		for more, want := range map[time.Duration]bool{0: false, ns: true} {
			s := State{Phase: Hold, Now: at - most - more}
			if watch(p, &s, &Input{Now: at}, 0); (s.LateAt == at) != want {
				t.Errorf("%s after the last step, period %s: late at %s", most+more, period, s.LateAt)
			}
		}
		s := State{Phase: Ready, Now: 0}
		if watch(p, &s, &Input{Now: at}, 0); s.LateAt != 0 {
			t.Error("a run that has not begun is late")
		}
	}
}

func TestAFallOf5PercentAnd20kPaWithTheValvesShutStopsTheFillForHalfAMinute(t *testing.T) {
	for _, c := range []struct {
		name       string
		from, fell float64
		change     func(*Plan, *State)
		want       bool
	}{
		{"20 kPa", 1e5, 20e3, nil, false}, {"a little more", 1e5, 20000.1, nil, true},
		{"5 %", 6e5, 30e3, nil, false}, {"more than 5 %", 6e5, 30000.1, nil, true},
		{"the vent open", 1e5, 5e4, func(_ *Plan, s *State) { s.Valves.Vent = true }, false},
		{"just shut", 1e5, 5e4, func(_ *Plan, s *State) { s.OpenEnd = at - 100*time.Millisecond }, false},
		{"shut a little longer", 1e5, 5e4, func(_ *Plan, s *State) { s.OpenEnd = at - 100*time.Millisecond - ns }, true},
		{"in the vent", 1e5, 5e4, func(_ *Plan, s *State) { s.Phase = Vent }, false},
		{"in a ramp", 1e5, 5e4, func(_ *Plan, s *State) { s.Phase = Ramp }, true},
		{"while it settles", 1e5, 5e4, func(_ *Plan, s *State) { s.Phase = Settle }, true},
		{"not known", 1e5, 5e4, func(_ *Plan, s *State) { s.Known = false }, false},
		{"hands at the unit", 1e5, 5e4, func(p *Plan, s *State) { p.Legs[1].Ask = CloseUp }, false},
	} {
		p := guarded(t, nil)
		s := State{Phase: Hold, Leg: 1, Known: true, Now: at - p.Period, Pa: room + c.from - c.fell, PaAt: at, OpenEnd: at - time.Minute}
		if c.change != nil {
			c.change(p, &s)
		}
		watch(p, &s, &Input{Now: at}, room+c.from)
		if got := s.FallUntil == at+30*time.Second; got != c.want || !got && s.FallUntil != 0 {
			t.Errorf("%s: no filling until %s", c.name, s.FallUntil)
		}
	}
}

func TestAnOpenValveIsBarrenForAsLongAsThePressureStaysInItsNoise(t *testing.T) {
	p := guarded(t, nil) // 50 Pa of noise: 400 Pa
	step := func(s State) State {
		s.Now, s.Known, s.Pa = at-p.Period, true, s.Smooth
		watch(p, &s, &Input{Now: at}, s.Pa)
		return s
	}
	open := State{Phase: Ramp, Leg: 1, Valves: Valves{Fill: true}, BarrenPa: room, Barren: 7}
	for _, c := range []struct {
		name   string
		change func(*State)
		want   float64
	}{
		{"still", func(s *State) { s.Smooth = room + 400 }, 7.5}, {"it moves", func(s *State) { s.Smooth = room + 400.1 }, 0.5},
		{"it falls", func(s *State) { s.Smooth = room - 400.1 }, 0.5},
		{"the vent, on the way down", func(s *State) { s.Smooth, s.Valves = room, Valves{Vent: true} }, 7.5},
		{"the vent of the end", func(s *State) { s.Smooth, s.Valves, s.Phase = room, Valves{Vent: true}, Vent }, 0},
		{"shut in a ramp", func(s *State) { s.Smooth, s.Valves = room, Valves{} }, 7},
		{"shut in a hold", func(s *State) { s.Smooth, s.Valves, s.Phase = room, Valves{}, Hold }, 0},
	} {
		s := open
		c.change(&s)
		if got := step(s); math.Abs(got.Barren-c.want) > 1e-9 {
			t.Errorf("%s: barren for %g s, want %g s", c.name, got.Barren, c.want)
		}
	}
	s := open
	s.Smooth, s.Now = room, 0
	watch(p, &s, &Input{Now: at}, room)
	if s.Barren != 7.5 {
		t.Errorf("a late step counts %g s", s.Barren-7)
	}
	s = open
	s.Smooth, s.Now = room, at-100*time.Millisecond
	if watch(p, &s, &Input{Now: at}, room); math.Abs(s.Barren-7.1) > 1e-9 {
		t.Errorf("an early step counts %g s", s.Barren-7)
	}
}

func TestTheHighestPressureIsThatOfBelievedReadings(t *testing.T) {
	p := guarded(t, nil)
	for _, c := range []struct {
		name   string
		s      State
		high   float64
		forget bool
	}{
		{"higher", State{Known: true, Pa: room + 2e5, Smooth: room + 2e5, HighPa: room + 1e5}, room + 2e5, true},
		{"1 % higher", State{Known: true, Pa: room + 1.01e5, Smooth: room + 1e5, HighPa: room + 1e5}, room + 1e5, false},
		{"a little more than that", State{Known: true, Pa: room + 1.011e5, Smooth: room + 1e5, HighPa: room + 1e5}, room + 1e5, true},
		{"above what is allowed, once", State{Known: true, Pa: room + 5e5, Smooth: room + 1e5, HighPa: room + 1e5, Over: 1}, room + 1e5, false},
		{"lower", State{Known: true, Pa: room, Smooth: room, HighPa: room + 1e5}, room + 1e5, false},
		{"stale", State{Known: true, Stale: true, Pa: room + 2e5, Smooth: room + 2e5, HighPa: room + 1e5}, room + 1e5, false},
		{"not known", State{Pa: room + 2e5, Smooth: room + 2e5, HighPa: room + 1e5}, room + 1e5, false},
	} {
		s := c.s
		s.Phase, s.Now, s.Falls = Vent, at-p.Period, 2
		watch(p, &s, &Input{Now: at}, s.Pa)
		if s.HighPa != c.high || (s.Falls == 0) != c.forget {
			t.Errorf("%s: highest %.0f Pa gauge, %d falls", c.name, s.HighPa-room, s.Falls)
		}
	}
}

func TestTheLimitsHaveTheFiguresOfTheTable(t *testing.T) {
	p := planned(t, nil)
	p.LimitPa = room + 5e3 // a pot that may hardly be filled: its sensor's error is allowed all the same
	if got := allowedPa(p, &State{Phase: Hold, Leg: 1}); got != room+15e3 {
		t.Errorf("%.0f Pa gauge are allowed", got-room)
	}
	p = planned(t, nil)
	p.Legs[0].Warms, p.Legs[1].Warms = true, true
	for _, s := range []State{{Phase: Ready}, {Phase: Done, Leg: 1}} {
		if got := allowedPa(p, &s); got != room+15e3 {
			t.Errorf("in %s %.0f Pa gauge are allowed", s.Phase, got-room)
		}
	}
	s := State{Phase: Ramp, Leg: 1, Known: true, Pa: room, Valves: Valves{Fill: true}}
	if guard(p, &s); s.Valves.Pulse != 2*p.Period+100*time.Millisecond {
		t.Errorf("the driver shuts a fill that nobody renews after %s", s.Valves.Pulse)
	}
}

func TestARunThatHasEndedIsNotStoppedAnew(t *testing.T) {
	p := planned(t, nil)
	s := State{Phase: Done, Leg: 1, Now: at, Known: true, Pa: room, PaAt: at}
	s, out := Step(p, s, Input{Now: at + p.Period, Operator: Operator{Abort: true}})
	if s.Phase != Done || s.Stopped != NotStopped || len(out.Events()) != 0 {
		t.Errorf("%s, stopped %q, %d lines", s.Phase, s.Stopped, len(out.Events()))
	}
}

// TestTheLidMayBeOpenedFiveSecondsAfterTheLastTwoHundredthsOfABar: the figures
// of the first sign, and of the second where there is no other transducer.
func TestTheLidMayBeOpenedFiveSecondsAfterTheLastTwoHundredthsOfABar(t *testing.T) {
	p := planned(t, nil)
	see := func(s State) State {
		s.Phase, s.Known, s.PaAt, s.Valves = Vent, true, at, Valves{Vent: true}
		openSafe(p, &s, at)
		return s
	}
	for _, c := range []struct {
		name string
		s    State
		safe bool
	}{
		{"30 s, three falls", State{Pa: room + 2e3, LowSince: at - 30*time.Second, HighPa: room + 1e5, Falls: 3}, true},
		{"too high", State{Pa: room + 2000.1, LowSince: at - time.Hour, HighPa: room + 1e5, Falls: 3}, false},
		{"too low", State{Pa: room - 2000.1, LowSince: at - time.Hour, HighPa: room + 1e5, Falls: 3}, false},
		{"less than 30 s", State{Pa: room, LowSince: at - 30*time.Second + ns, HighPa: room + 1e5, Falls: 3}, false},
		{"two falls", State{Pa: room, LowSince: at - time.Hour, HighPa: room + 1e5, Falls: 2}, false},
		{"hardly pressed", State{Pa: room, LowSince: at - time.Hour, HighPa: room + 1e4}, true},
		{"pressed a little more", State{Pa: room, LowSince: at - time.Hour, HighPa: room + 10000.1}, false},
		{"5 s of both", State{Pa: room, LowSince: at - 5*time.Second, TwinLow: at - 5*time.Second, Twin: twinState{Known: true, At: at, Pa: room}}, true},
		{"less of one", State{Pa: room, LowSince: at - 5*time.Second + ns, TwinLow: at - time.Hour, Twin: twinState{Known: true, At: at, Pa: room}}, false},
		{"less of the other", State{Pa: room, LowSince: at - time.Hour, TwinLow: at - 5*time.Second + ns, Twin: twinState{Known: true, At: at, Pa: room}}, false},
		{"the other is old", State{Pa: room, LowSince: at - time.Hour, TwinLow: at - time.Hour, Twin: twinState{Known: true, At: at - 3*time.Second - ns, Pa: room}}, false},
		{"the other is not quite old", State{Pa: room, LowSince: at - time.Hour, TwinLow: at - time.Hour, Twin: twinState{Known: true, At: at - 3*time.Second, Pa: room}}, true},
		{"the other is high", State{Pa: room, LowSince: at - time.Hour, TwinLow: at - time.Hour, Twin: twinState{Known: true, At: at, Pa: room + 2000.1}}, false},
		{"the other is as high as may be", State{Pa: room, LowSince: at - time.Hour, TwinLow: at - time.Hour, Twin: twinState{Known: true, At: at, Pa: room + 2e3}}, true},
		{"a sensor that is stuck", State{Pa: room, LowSince: at - time.Hour, HighPa: room, Stuck: true}, false},
		{"a stale one", State{Pa: room, LowSince: at - time.Hour, HighPa: room, Stale: true}, false},
	} {
		if got := see(c.s); got.OpenSafe != c.safe {
			t.Errorf("%s: safe to open %v", c.name, got.OpenSafe)
		}
	}
	shut := State{Phase: Vent, Known: true, PaAt: at, Pa: room, LowSince: at - time.Hour, HighPa: room}
	if openSafe(p, &shut, at); shut.OpenSafe || shut.LowSince != at {
		t.Error("safe to open with the vent shut")
	}
	p.NoisePa = 1000 // a coarse gauge: four times its noise
	if got := see(State{Pa: room + 4e3, LowSince: at - time.Hour, HighPa: room}); !got.OpenSafe {
		t.Error("four times the noise are not allowed")
	}
}

func TestAVentThatNeverEndsIsGivenUpAfterHalfAnHour(t *testing.T) {
	p := planned(t, nil)
	for short, want := range map[time.Duration]Phase{ns: Vent, 0: Done} {
		s := State{Phase: Vent, Leg: 1, Since: at - 30*time.Minute + short, Now: at - p.Period, Known: true, Stale: true, Pa: room + 1e5, PaAt: at - time.Minute}
		s.Stopped = ByOperator
		s, out := Step(p, s, Input{Now: at})
		told := ""
		for _, e := range out.Events() {
			if e.Word == "not-vented" || e.Word == "end" {
				told += e.Word + " "
			}
		}
		if s.Phase != want || (told == "not-vented end ") != (want == Done) {
			t.Errorf("after half an hour less %s it is in %s, told %q", short, s.Phase, told)
		}
	}
}
