package rig

import (
	"math"
	"testing"
	"time"

	"proofpot/rig/setup"
)

// steered is a plan with a target of 2 bar gauge in leg 1, 50 Pa of noise, a
// period of 0.5 s, and valves that follow 40 ms.
func steered(t *testing.T, hand bool) *Plan {
	p := planned(t, func(r *setup.Run) { r.Bench.HandOperated = hand })
	p.Legs[1].TargetPa, p.FillMinOn, p.VentMinOn = room+2e5, 40*time.Millisecond, 40*time.Millisecond
	return p
}

func TestHowNearIsNearByFiguresWorkedOutByHand(t *testing.T) {
	p, hand := steered(t, false), steered(t, true)
	s := &State{Leg: 1}
	for name, c := range map[string]struct{ got, want float64 }{
		"allowance at 2 bar, 0.5 %":          {allowance(p, s, room+2e5), 1000},
		"allowance below the room":           {allowance(p, s, room-2e5/4), 250},
		"allowance at 0.1 bar, three counts": {allowance(p, s, room+1e4), 150},
		"and of a coarse sensor":             {allowance(p, &State{CountPa: 400}, room+1e4), 1200},
		"the noise":                          {noiseBand(p), 200},
		"letting off to 2 bar, 0.25 %":       {band(p, s), 500},
		"by hand, a division of the gauge":   {band(hand, s), 2000},
		"half of the noise on the way up":    {refillBand(p, s, aim{up: true}), 100},
		"the whole band on the way down":     {refillBand(p, s, aim{}), 500},
	} {
		if math.Abs(c.got-c.want) > 1e-6 {
			t.Errorf("%s: %g Pa, want %g Pa", name, c.got, c.want)
		}
	}
	hand.Legs[1].TargetPa, p.Legs[1].TargetPa = room+6e5, room+4e4
	if a, b := band(hand, s), band(p, s); math.Abs(a-3000) > 1e-6 || math.Abs(b-200) > 1e-6 {
		t.Errorf("by hand at 6 bar %g Pa, letting off to 0.4 bar %g Pa", a, b)
	}
	p.Legs[1].TargetPa = room - 4e5
	if b := band(p, s); math.Abs(b-1000) > 1e-6 {
		t.Errorf("below the room %g Pa", b)
	}
}

// TestAValveIsOpenedForAsLongAsItsFlowSays: one step of the way to 2 bar, up and,
// mirrored, down. The flow is 1000 Pa/s with a doubt of 50, so that 1100 Pa/s are
// reckoned with; 1000 Pa are allowed beyond the target, and 400 of them aimed at.
func TestAValveIsOpenedForAsLongAsItsFlowSays(t *testing.T) {
	const whole = 1100 * time.Millisecond // of a fill: until the driver shuts it; of a vent: until the next step
	known := flow{PaS: 1000, Var: 2500}
	flying := flow{PaS: 1000, Var: 2500, OpenS: 1, SeenS: 0.5}
	for _, c := range []struct {
		name       string
		pa, line   float64 // short of the target
		rest       float64
		restN      int
		f          flow
		open       bool
		opens      bool
		pulse      time.Duration
		down       bool
		next       time.Duration // of an unknown flow, afterwards
		coarse     bool
		minOn      time.Duration
		onlyUpward bool
	}{
		{name: "ahead of its line", pa: 1e5, line: 1e5, f: known},
		{name: "behind its line", pa: 1e5, line: 1e5 - 0.1, f: known, opens: true, pulse: whole},
		{name: "open and not yet ahead enough", pa: 1e5, line: 1e5 + 4000, f: known, open: true, opens: true, pulse: 909090909},
		{name: "open and nearly ahead enough", pa: 1e5, line: 1e5 + 4780, f: known, open: true, opens: true, pulse: 200 * time.Millisecond},
		{name: "open and one period short of that", pa: 1e5, line: 1e5 + 4450, f: known, open: true, opens: true, pulse: 500 * time.Millisecond},
		{name: "open and ahead enough", pa: 1e5, line: 1e5 + 4957, f: known, open: true},
		{name: "what is on its way counts", pa: 1e5, line: 1e5 - 500, f: flying},
		{name: "and no more than that", pa: 1e5, line: 1e5 - 500.1, f: flying, opens: true, pulse: whole},
		{name: "open, with some on its way", pa: 1e5, line: 1e5 + 4230, f: flying, open: true, opens: true, pulse: 200 * time.Millisecond},
		{name: "near, two readings at rest", pa: 1999, restN: 2, rest: 1999, f: known},
		{name: "near, three", pa: 1999, restN: 3, rest: 1999, f: known, opens: true, pulse: whole},
		{name: "near, one period", pa: 700, restN: 3, rest: 150, f: known, opens: true, pulse: 500 * time.Millisecond, onlyUpward: true},
		{name: "near, less", pa: 700, restN: 3, rest: 141, f: known, opens: true, pulse: 491818181, onlyUpward: true},
		{name: "near, something on its way", pa: 1500, restN: 3, rest: 1999, f: flying},
		{name: "as near as the noise", pa: 100, restN: 3, rest: 100, f: known},
		{name: "a little less near", pa: 100.1, restN: 3, rest: 100.1, f: known, opens: true, pulse: 454636363, onlyUpward: true},
		{name: "nobody knows the flow", pa: 1e5, line: 1e5 - 0.1, f: flow{}, opens: true, pulse: 40 * time.Millisecond, next: 80 * time.Millisecond},
		{name: "nor after a first pulse", pa: 1e5, line: 1e5 - 0.1, f: flow{Next: 80 * time.Millisecond}, opens: true, pulse: 80 * time.Millisecond, next: 160 * time.Millisecond},
		{name: "which was not yet seen", pa: 1e5, line: 1e5 - 0.1, f: flow{Next: 80 * time.Millisecond, OpenS: 0.04}, next: 80 * time.Millisecond},
		{name: "a noisy flow", pa: 1e5, line: 1e5 - 0.1, f: flow{PaS: 10, Var: 9.1, Next: 80 * time.Millisecond}, opens: true, pulse: 80 * time.Millisecond, next: 160 * time.Millisecond},
		{name: "and one just well enough known", pa: 1e5, line: 1e5 - 0.1, f: flow{PaS: 10, Var: 8.9, Next: 80 * time.Millisecond}, opens: true, pulse: whole, next: 80 * time.Millisecond},
		{name: "a whole period was tried", pa: 1e5, line: 1e5 - 0.1, f: flow{PaS: 1, Var: 100, Next: time.Second}, opens: true, pulse: whole, next: time.Second},
		{name: "nearly a whole one", pa: 1e5, line: 1e5 - 0.1, f: flow{PaS: 1, Var: 100, Next: time.Second - 2}, opens: true, pulse: time.Second - 2, next: 2*time.Second - 4},
		{name: "the shortest pulse is too much", pa: 600, restN: 3, rest: 600, f: flow{PaS: 1e5, Var: 1}, minOn: 40 * time.Millisecond, opens: true, pulse: 40 * time.Millisecond, coarse: true},
		{name: "and far too much", pa: 600, restN: 3, rest: 600, f: flow{PaS: 2.1e5, Var: 1}, minOn: 40 * time.Millisecond, coarse: true},
		{name: "too much, and less than far", pa: 600, restN: 3, rest: 600, f: flow{PaS: 2e5, Var: 1}, opens: true, pulse: 40 * time.Millisecond, coarse: true},
		{name: "not yet near", pa: 2000, line: 1999.9, f: known, opens: true, pulse: whole},
		{name: "not yet near by what a pulse brings", pa: 8001, line: 8000.9, f: flow{PaS: 1e5, Var: 1}, opens: true, pulse: 50 * time.Millisecond},
		{name: "near by what a pulse brings", pa: 7999, line: 7998.9, f: flow{PaS: 1e5, Var: 1}},
		{name: "one reading at rest counts", pa: 1e5, line: 1e5 - 0.1, restN: 1, f: known},
		{name: "as much as may be", pa: 600, restN: 3, rest: 600, f: flow{PaS: 40000, Var: 1}, opens: true, pulse: 40 * time.Millisecond},
	} {
		for _, d := range []float64{1, -1} {
			if d < 0 && c.onlyUpward {
				continue // the band is another there
			}
			p := steered(t, false)
			to := aim{pa: room + 2e5, rate: 1000, up: d > 0}
			s := State{Phase: Ramp, Leg: 1, Pa: to.pa - d*c.pa, Line: to.pa - d*c.line, LineAt: at, Now: at - p.Period, RestPa: to.pa - d*c.rest, RestN: c.restN}
			f := &s.Up
			want := Valves{Fill: c.opens, Pulse: c.pulse}
			if s.Valves = (Valves{Fill: c.open}); d < 0 {
				f, want = &s.Dn, Valves{Vent: c.opens, Pulse: c.pulse}
				if want.Pulse >= p.Period {
					want.Pulse = 0
				}
				s.Valves = Valves{Vent: c.open}
			}
			if d < 0 && (c.name == "as near as the noise") {
				s.RestPa, s.Pa = to.pa+500, to.pa+500
			}
			*f = c.f
			got := approach(p, &s, at, to)
			if got.Fill != want.Fill || got.Vent != want.Vent || (got.Pulse-want.Pulse).Abs() > time.Microsecond {
				t.Errorf("%s, %+g: %+v, want %+v", c.name, d, got, want)
			}
			if f.Next != c.next || s.Coarse != c.coarse {
				t.Errorf("%s, %+g: then %s, coarse %v", c.name, d, f.Next, s.Coarse)
			}
		}
	}
}

func TestARampsLineKeepsItsRateAndNeverRunsFarAheadOfThePressure(t *testing.T) {
	for _, d := range []float64{1, -1} {
		to := aim{pa: room + d*2e5, rate: 1000, up: d > 0}
		for _, c := range []struct{ line, pa, want float64 }{
			{1e5, 1e5, 1.02e5}, {1e5, 0.98e5, 1.02e5}, {1e5, 0.97e5, 1.02e5}, {1e5, 0.969e5, 1.019e5}, {1e5, 1.5e5, 1.02e5}, {1.99e5, 1.99e5, 2e5}, {2e5, 2.2e5, 2e5},
		} {
			s := State{Line: room + d*c.line, LineAt: at - 2*time.Second}
			s.runLine(at, d, room+d*c.pa, to)
			if math.Abs(d*(s.Line-room)-c.want) > 1e-6 || s.LineAt != at {
				t.Errorf("%+g: from %.0f Pa, at %.0f Pa, to %.0f Pa; want %.0f Pa", d, c.line, c.pa, d*(s.Line-room), c.want)
			}
		}
	}
}

func TestARegulatorIsBroughtToThePressureBeforeTheFillOpens(t *testing.T) {
	p := steered(t, false)
	to := aim{pa: room + 2e5, rate: 1000, up: true}
	led := func(since time.Duration) (State, Valves) {
		s := State{Phase: Ramp, Leg: 1, Pa: room + 1e5, Line: 7, LeadSince: at - since, Now: at - p.Period}
		v := regulate(p, &s, at, to)
		return s, v
	}
	for since, want := range map[time.Duration]bool{time.Second - ns: false, time.Second: true} {
		if s, v := led(since); v != (Valves{RegulatePa: room + 1e5}) || s.Led != want || s.Line != s.Pa || s.LineAt != at {
			t.Errorf("after %s: %+v, led %v", since, v, s.Led)
		}
	}
	lead := func(change func(*State)) (State, Valves) {
		s := State{Phase: Ramp, Leg: 1, Led: true, Pa: to.pa, Smooth: to.pa, Line: to.pa, LineAt: at - p.Period, Now: at - p.Period}
		change(&s)
		return s, regulate(p, &s, at, to)
	}
	// 1000 Pa are allowed and 400 aimed at; 5 % of what is short are added each second.
	for name, c := range map[string]struct {
		change func(*State)
		fill   bool
		pa     float64 // asked, above the target
	}{
		"on the way":                {func(s *State) { s.Pa, s.Line, s.Smooth = to.pa-1e4, to.pa-1e4, to.pa-1e4 }, true, -1e4 + 500 + 400},
		"at the target":             {func(*State) {}, true, 400 + 0.05*0.5*400},
		"short of it":               {func(s *State) { s.Smooth = to.pa - 4e3 }, true, 400 + 0.05*0.5*4400},
		"at what is allowed":        {func(s *State) { s.Pa = to.pa + 1000 }, true, 400 + 0.05*0.5*400},
		"beyond it":                 {func(s *State) { s.Pa = to.pa + 1000.1 }, false, 0},
		"it was trimmed to its end": {func(s *State) { s.Trim = 1e6 }, true, 400 + 0.02*to.pa},
		"and downward":              {func(s *State) { s.Trim = -1e6 }, true, 400 - 0.02*to.pa},
	} {
		s, v := lead(c.change)
		if v.Fill != c.fill || math.Abs(v.RegulatePa-to.pa-c.pa) > 1e-6 || v.Vent || c.fill && s.AskedPa != v.RegulatePa || !c.fill && s.AskedPa != 0 {
			t.Errorf("%s: fill %v, %.1f Pa asked above the target, want %.1f; kept %.1f", name, v.Fill, v.RegulatePa-to.pa, c.pa, s.AskedPa)
		}
	}
	p.LimitPa = to.pa + 100
	if _, v := lead(func(*State) {}); v.RegulatePa != p.LimitPa {
		t.Errorf("%.0f Pa are asked for above the limit", v.RegulatePa-p.LimitPa)
	}
}

func TestARegulatorRunsAwayBeyondTwoPercentAndAFewKilopascal(t *testing.T) {
	p := steered(t, false)
	const edge = 3e5 + 0.02*3e5 + 5e3 + 200
	for _, c := range []struct {
		s    State
		pa   float64
		want bool
	}{
		{State{Phase: Ramp, AskedPa: 3e5}, edge, false}, {State{Phase: Ramp, AskedPa: 3e5}, edge + 0.1, true},
		{State{Phase: Hold, AskedPa: 3e5}, 4e5, false}, {State{Phase: Ramp}, 4e5, false},
	} {
		if got := ahead(p, &c.s, c.pa); got != c.want {
			t.Errorf("%s at %.1f Pa, asked for %.0f: %v", c.s.Phase, c.pa, c.s.AskedPa, got)
		}
	}
}

func TestAsNearAsACoarseValveComesIsLessThanItsShortestPulse(t *testing.T) {
	p := steered(t, false)
	for _, d := range []float64{1, -1} {
		to := aim{pa: room + 2e5, rate: 1000, up: d > 0}
		for name, c := range map[string]struct {
			coarse bool
			restN  int
			short  float64
			want   bool
		}{"less": {true, 3, 3999.9, true}, "as much": {true, 3, 4000, false}, "two readings": {true, 2, 100, false}, "a fine valve": {false, 3, 100, false}} {
			s := State{Leg: 1, Coarse: c.coarse, RestN: c.restN, RestPa: to.pa - d*c.short, Up: flow{PaS: 1e5}, Dn: flow{PaS: 1e5}}
			if got := asNearAsItCan(p, &s, to); got != c.want {
				t.Errorf("%s, %+g: %v", name, d, got)
			}
		}
	}
}

// TestAPulseThatIsFarTooMuchIsNotGiven: 1.5 % of the gauge pressure beyond the target.
func TestAPulseThatIsFarTooMuchIsNotGiven(t *testing.T) {
	for brings, want := range map[float64]bool{9600: true, 9601: false} {
		p := steered(t, false)
		to := aim{pa: room + 6e5, rate: 1000, up: true}
		s := State{Phase: Ramp, Leg: 1, Pa: to.pa - 600, Line: to.pa, LineAt: at, Now: at - p.Period, RestPa: to.pa - 600, RestN: 3, Up: flow{PaS: brings / 0.04, Var: 1}}
		if v := approach(p, &s, at, to); v.Fill != want || !s.Coarse {
			t.Errorf("a pulse of %g Pa, 600 Pa short: %+v", brings, v)
		}
	}
}
