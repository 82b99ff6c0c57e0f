package analysis

import (
	"math"
	"strings"
	"testing"
)

// A shallow hold that is too noisy by itself leans on a deeper one that is tight.
func TestRuleAShallowHoldLeansOnADeeperOne(t *testing.T) {
	noisy := func() (*analysis, *stage) {
		a := measured(t)
		st := a.stages[0]
		st.both = bounded(-0.4, 0.6)
		a.stages[1].both = tightBy(0.02)
		return a, st
	}
	a, st := noisy()
	h := a.judgeHold(st, nil)
	if h.Verdict != Pass || !strings.Contains(said(nil, &h), "leans on a deeper hold") || h.LeakMLPerH.High >= 0.5 || h.LeakMLPerH.Low > -0.3 {
		t.Errorf("%s %v %+v", h.Verdict, h.Reasons, h.LeakMLPerH)
	}
	if h := a.judgeHold(a.stages[1], nil); len(h.Reasons) > 0 {
		t.Errorf("the deeper hold: %v", h.Reasons)
	}
	// Not on one in which, or before which, the unit failed.
	for order, want := range map[int]string{0: Inconclusive, 1: Pass} {
		a, st := noisy()
		if h := a.judgeHold(st, &failure{time: 1950, stage: a.stages[order]}); h.Verdict != want {
			t.Errorf("a failure in stage %d: %s %v", order, h.Verdict, h.Reasons)
		}
	}
	a, st = noisy()
	a.stages[1].both = bounded(-0.4, 0.6)
	if h := a.judgeHold(st, nil); h.Verdict != Inconclusive {
		t.Errorf("neither is tight: %s %v", h.Verdict, h.Reasons)
	}
	for moreM, want := range map[float64]string{0.5: Inconclusive, 30: Pass} {
		a, st = noisy()
		a.stages[1].meanPa = a.stages[0].meanPa + moreM*1e4
		if h := a.judgeHold(st, nil); h.Verdict != want {
			t.Errorf("the other is %g m deeper: %s %v", moreM, h.Verdict, h.Reasons)
		}
	}
	// A leak that its own data show is not leant away.
	a, st = noisy()
	st.both = bounded(0.2, 1.0)
	if h := a.judgeHold(st, nil); h.Verdict != Inconclusive {
		t.Errorf("a leak of the limit, tight in the deeper hold: %s %v", h.Verdict, h.Reasons)
	}
}

// What a shallow hold may not lean on: each leaves it with its own doubt.
func TestRuleAHoldLeansOnNothingThatIsNotSureItself(t *testing.T) {
	for name, c := range map[string]struct {
		change func(shallow, deep *stage)
		leans  bool
	}{
		"a tight deeper hold":                      {func(_, _ *stage) {}, true},
		"one that could not be measured":           {func(_, d *stage) { d.both = nil }, false},
		"one that was never held":                  {func(_, d *stage) { d.hold = never }, false},
		"one that lacks a fifth of its readings":   {func(_, d *stage) { d.missing = 0.2 }, true},
		"one that lacks more":                      {func(_, d *stage) { d.missing = 0.21 }, false},
		"one that came before":                     {func(_, d *stage) { d.order = -1 }, false},
		"one whose bound is just below the limit":  {func(_, d *stage) { d.both = bounded(-0.1, 0.499) }, true},
		"one whose bound is at the limit":          {func(_, d *stage) { d.both = &estimate{value: 0.5} }, false},
		"one half as deep again":                   {func(s, d *stage) { d.meanPa = 101325 + 1.501*(s.meanPa-101325) }, true},
		"one hardly deeper":                        {func(s, d *stage) { d.meanPa = 101325 + 1.49*(s.meanPa-101325) }, false},
		"anything, where nothing presses on it":    {func(s, _ *stage) { s.meanPa = 101325 }, false},
		"anything, where it cannot tell 100 ml/h":  {func(s, _ *stage) { s.both = bounded(-300, 300) }, false},
		"anything, where it looks like a leak":     {func(s, _ *stage) { s.both = bounded(0.45, 2.5) }, false},
		"a deeper one that leaks a little, scaled": {func(_, d *stage) { d.both = bounded(0.3, 0.49) }, true},
	} {
		a := measured(t)
		shallow, deep := a.stages[0], a.stages[1]
		shallow.both, deep.both = bounded(-0.4, 0.6), tightBy(0.02)
		c.change(shallow, deep)
		low, high, ok := a.lean(shallow)
		if ok != c.leans {
			t.Errorf("%s: it leans %v, bounds %v and %v", name, ok, low, high)
		}
		if ok && (!(high > 0) || high >= a.limit() || low != math.Min(0, shallow.both.interval().Low)) {
			t.Errorf("%s: %v to %v", name, low, high)
		}
	}
}

// The bound is what a tenth of the units whose seals seat under pressure leaves, and what
// the deeper hold leaves scaled down to this pressure: worked out anew by adding up both
// on a fine grid.
func TestRuleTheBoundThatLeansIsThePosteriors(t *testing.T) {
	a := measured(t)
	shallow, deep := a.stages[0], a.stages[1]
	shallow.meanPa = 101325 + 15e4 // half the pressure of the deeper one
	for _, c := range []struct{ shallow, deep *estimate }{
		{bounded(-0.4, 0.6), tightBy(0.02)},
		{bounded(-0.2, 0.52), bounded(0.1, 0.45)},
		{&estimate{value: 0.1, u: 0.2}, &estimate{value: 0.25, u: 0.1}},
	} {
		shallow.both, deep.both = c.shallow, c.deep
		_, high, ok := a.lean(shallow)
		if !ok {
			t.Fatalf("%+v does not lean on %+v", *c.shallow, *c.deep)
		}
		like := func(q float64) float64 { z := (q - c.shallow.value) / c.shallow.u; return math.Exp(-z * z / 2) }
		mu, sd := c.deep.value/2, max(c.deep.u/2, 1e-3*a.limit())
		var steady, norm, steadyAbove, seats, seatsAbove float64
		const n = 400_000
		for i := range n {
			q := (float64(i) + 0.5) / n * 5 // ml/h
			z := (q - mu) / sd
			w := math.Exp(-z * z / 2)
			norm += w
			steady += w * like(q)
			if q > high {
				steadyAbove += w * like(q)
			}
			s := 0.1 * a.limit() * math.Pow(1e4, (float64(i)+0.5)/n) // a tenth to a thousand limits, alike in each decade
			seats += like(s)
			if s > high {
				seatsAbove += like(s)
			}
		}
		whole := 0.9*steady/norm + 0.1*seats/n
		if tail := (0.9*steadyAbove/norm + 0.1*seatsAbove/n) / whole; math.Abs(tail-0.025) > 0.004 {
			t.Errorf("%+v on %+v: above %v ml/h lies %.4f, want 0.025", *c.shallow, *c.deep, high, tail)
		}
	}
}

// Of two deeper holds the one that says more of this depth is leaned on.
func TestRuleAHoldLeansOnTheDeeperHoldThatSaysMore(t *testing.T) {
	bound := func(uMiddle, uDeep float64) float64 {
		a := measured(t)
		shallow, deep := a.stages[0], a.stages[1]
		middle := *deep
		middle.order, deep.order = 1, 2
		shallow.meanPa, middle.meanPa, deep.meanPa = 101325+10e4, 101325+20e4, 101325+30e4
		shallow.both = &estimate{value: 0.1, u: 0.2}
		middle.both, deep.both = &estimate{value: 0.2, u: uMiddle}, &estimate{value: 0.1, u: uDeep}
		a.stages = []*stage{shallow, &middle, deep}
		_, high, ok := a.lean(shallow)
		if !ok {
			t.Fatal("it leans on nothing")
		}
		return high
	}
	// Scaled to this depth: half of the one's, a third of the other's.
	onMiddle, onDeep := bound(0.01, 0.19), bound(0.14, 0.01)
	if !(onMiddle > 1.1*onDeep) {
		t.Fatalf("%v and %v: the two cannot be told apart", onMiddle, onDeep)
	}
	if h := bound(0.02, 0.031); math.Abs(h-onMiddle) > math.Abs(h-onDeep) {
		t.Errorf("0.010 against 0.0103 ml/h: %v is the deeper one's bound", h)
	}
	if h := bound(0.02, 0.029); math.Abs(h-onDeep) > math.Abs(h-onMiddle) {
		t.Errorf("0.010 against 0.0097 ml/h: %v is the middle one's bound", h)
	}
}
