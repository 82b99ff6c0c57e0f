package analysis

import (
	"fmt"
	"math"
)

// firstJump is the first sudden loss, seen in the chamber or inside the unit.
func (a *analysis) firstJump() *jump {
	var first *jump
	if len(a.steps) > 0 {
		first = &a.steps[0]
	}
	if a.in == nil {
		return first
	}
	in := a.in.steps()
	if len(in) == 0 {
		return first
	}
	i := in[0]
	if first != nil && first.t0 <= i.t1 || a.leakAfter(i.t0) > a.limit() {
		return first // what goes on coming in is timed as a leak
	}
	// The inside saw it: the chamber says when within those seconds. A flow that had
	// only begun may not have shown at once.
	place := a.placeStep(i.t0-a.in.dt, i.t1+a.s.dt/2, i.drop*a.in.freeML/i.pa/a.v.compliance(a.pressureAt(i.t0), 0), func(_, t1 float64) float64 {
		if t1 <= i.t0 {
			return math.Log(seenLate)
		}
		return 0
	})
	j := jump{t0: (i.t0 + i.t1) / 2, t1: i.t1}
	if place != nil {
		g := place.best()
		j = jump{i: g.i, t0: g.t0, t1: g.t1, pa: g.pa, paSD: g.sd, place: place}
	} else {
		j.pa = a.smoothPressure(j.t0)
		j.slope = (a.pressureAt(i.t1) - a.pressureAt(i.t0)) / (i.t1 - i.t0)
		j.paSD = math.Abs(j.slope) * (i.t1 - i.t0) / math.Sqrt(12)
	}
	j.drop, j.u, j.inside = i.drop, i.u, true
	return &j
}

// What a loss just before a probe became wet must be, which by itself would be
// too little: the probe says that water came in.
const (
	wetAtOnceS = 1.5  // s before the last reading of a dry probe: what breaks in wets it at once
	wetWithinS = 20.0 // s before it, else
	wetLimit   = 4.5  // standard uncertainties
	wetOdds    = 10.0 // logarithm of how much likelier the readings are with the loss
)

// lossBeforeWet finds a loss at once in the seconds before a probe became wet:
// the bench vents then, so that few readings follow it.
func (a *analysis) lossBeforeWet(w *wetting) *jump {
	dry := w.lastDry
	if math.IsNaN(dry) {
		dry = w.t
	}
	if a.byHand() || a.in != nil && a.in.pa != nil {
		return nil // the pressure inside would have seen it
	}
	found := func(p *stepPlace, drop, u float64) *jump {
		g := p.best()
		return &jump{i: g.i, t0: g.t0, t1: g.t1, pa: g.pa, paSD: g.sd, drop: drop, u: u, place: p, inletted: openAt(a.x.fill, g.t0)}
	}
	// Where a valve moved the flow may have done it.
	still := func(g *gapWeight) bool {
		for _, c := range a.x.changes() {
			if c > g.t0-1.5*a.s.dt && c < g.t1+1.5*a.s.dt {
				return false
			}
		}
		return true
	}
	until := w.t + a.s.dt/2
	if p := a.placeStep(dry-wetAtOnceS, until, math.Inf(1), nil); p != nil && p.decided > wetOdds {
		if g := p.best(); g.missing > wetLimit*g.missingSD {
			return found(p, g.missing, g.missingSD)
		}
	}
	if p := a.placeStep(dry-wetWithinS, until, math.Inf(1), nil); p != nil && p.decided > wetOdds {
		if g := p.best(); still(g) && g.z > wetLimit && g.drop > valveTimes*valveTimeS*p.rate {
			return found(p, g.drop, g.drop/g.z)
		}
	}
	return nil
}

func (a *analysis) suddenFailure(j *jump, leaky *stage) *failure {
	f := &failure{time: j.t0, low: j.t0 - a.s.dt/2, high: j.t1, stage: a.stageAt(j.t0)}
	u := math.Hypot(a.zeroSD(), j.paSD)
	f.depth = a.depth(j.pa)
	f.depthLow = a.depth(j.pa - max(j.slope, 0)*a.s.dt/2 - coverage95*u)
	f.depthUp = a.depth(j.pa + max(j.slope*(j.t1-j.t0), j.stroke, 0) + a.pulse(j) + coverage95*u)
	if j.place == nil && !(a.byHand() && j.stroke > 0) {
		j.place = a.placeStep(j.t0-1.5*a.s.dt, j.t1+0.5*a.s.dt, math.Inf(1), nil)
	}
	if j.place != nil {
		a.putStep(f, j.place)
	}
	f.saw(ByStep)
	after := a.leakAfter(j.t0)
	if in := a.insideAfter(j.t1); in > a.limit() {
		after = max(after, in)
	}
	wet := a.firstWet() != nil || a.fallsOn(j)
	if after > a.limit() || wet {
		f.mode = Burst
		f.saw(ByDecay)
		f.text = fmt.Sprintf("the pressure fell at once by %.0f Pa more than it should and then went on falling (up to %.3g ml/h)", j.drop, after)
		if after <= a.limit() {
			f.text = fmt.Sprintf("the pressure fell at once by %.0f Pa more than it should, and then rose no more as before, or the probe inside became wet", j.drop)
		}
		if a.onlyFlows(j, after) {
			f.mode = Seep
			f.text = fmt.Sprintf("a leak of %.3g ml/h began and went on", after)
		}
	} else {
		f.mode = Collapse
		f.text = fmt.Sprintf("the pressure fell at once by %.0f Pa more than it should, and no leak followed: the unit lost volume", j.drop)
	}
	if a.in != nil && len(a.in.steps()) > 0 {
		f.saw(ByInsidePressure)
	}
	if f.mode == Burst && a.in != nil {
		// What came in before the loss showed is the earlier sign.
		if o := a.insideOnset(leaky, false); o != nil && o.quantile(0.975, same) < j.t0-a.in.dt && o.quantile(0.5, same) > j.t0-30 {
			a.place(f, o)
		}
	}
	a.addWitnesses(f)
	return f
}

// fallsOn says whether the pressure went on losing right after a jump: its slope
// over the next readings is below that before by far more than chance. After a
// loss of volume alone it is not: the supply and the warming gas push it up.
func (a *analysis) fallsOn(j *jump) bool {
	if j.inside || j.drop == 0 || j.i+10 >= len(a.s.t) {
		return false
	}
	var ts, ps []float64
	for k := j.i + 3; k < len(a.s.t) && len(ts) < 7 && a.s.t[k]-j.t1 < 9*a.s.pace().at(k); k++ {
		if !a.s.spike[k] {
			ts, ps = append(ts, a.s.t[k]), append(ps, a.s.p[k])
		}
	}
	if len(ts) < 5 || openAt(a.x.fill, ts[0]) != j.inletted || openAt(a.x.fill, ts[len(ts)-1]) != j.inletted {
		return false
	}
	slope, _, _ := line(ts, ps)
	u := 2 * a.s.noise * math.Sqrt(12/float64(len(ts))) / (ts[len(ts)-1] - ts[0])
	return slope < j.slope-5*u && slope < 0.8*j.slope-u && slope < a.leastSlope(j, len(ts))-u
}

// leastSlope is the least slope of any n neighbouring readings of the half minute
// before a jump, Pa/s: what is let in by pulses or strokes rests between them.
func (a *analysis) leastSlope(j *jump, n int) float64 {
	var ts, ps []float64
	for k := j.i; k >= 0 && (len(ts) < 40 || a.s.t[k] > j.t0-30); k-- {
		if !a.s.spike[k] {
			ts, ps = append(ts, a.s.t[k]), append(ps, a.s.p[k])
		}
	}
	least := math.Inf(1)
	for i := 0; i+n <= len(ts); i++ {
		slope, _, _ := line(ts[i:i+n], ps[i:i+n])
		least = min(least, slope)
	}
	return least
}

// pulse is by how much more than its slope the pressure rose at most between two
// readings of the half minute before a jump, Pa: an inlet that works by pulses or
// strokes may have brought that much before the loss.
func (a *analysis) pulse(j *jump) float64 {
	most, next := 0.0, -1
	for k := j.i; k >= 0 && (j.i-k < 40 || a.s.t[k] > j.t0-30); k-- {
		if a.s.spike[k] {
			continue
		}
		if next >= 0 {
			most = max(most, a.s.p[next]-a.s.p[k]-j.slope*(a.s.t[next]-a.s.t[k]))
		}
		next = k
	}
	// By noise alone the largest of some 60 differences is about 2.5 √2 of it.
	return max(most-3.6*a.s.noise, 0)
}

// insideAfter is the ingress in the minute and a half after a time, ml/h, by the
// inside pressure; 0 where that shows none.
func (a *analysis) insideAfter(t float64) float64 {
	v := a.in
	if v == nil || v.pa == nil {
		return 0
	}
	end := a.stopS()
	lo, hi := between(v.t, t+2*v.dt, min(t+90, end))
	var ts, ys []float64
	for i := lo; i < hi; i++ {
		if !v.bad[i] {
			ts, ys = append(ts, v.t[i]), append(ys, v.ml[i])
		}
	}
	if len(ts) < 6 {
		return 0
	}
	slope, _, _ := line(ts, ys)
	long := ts[len(ts)-1] - ts[0]
	u := v.noise*math.Sqrt(12/float64(len(ts)))/long + v.freeML/293*v.temp.u/3600
	if slope < 5*u {
		return 0
	}
	if a.v.gas {
		return slope * 3600 * liquidEquivalent(1, v.pressureAt(t), a.pressureAt(t), 293.15)
	}
	return slope * 3600
}

// leakAfter is the largest proved leak of the stages from s on, ml/h.
func (a *analysis) leakAfter(t float64) float64 {
	top := 0.0
	for _, st := range a.stages {
		if st.dwell().end < t {
			continue
		}
		for _, e := range []*estimate{st.both, st.chamber} {
			if e == nil {
				continue
			}
			if e.value > 5*e.u {
				top = max(top, e.value)
			}
			if e.settleU > 0 && e.settle > 6*e.settleU && st.dwell().start > t {
				top = max(top, e.settle)
			}
		}
	}
	return top
}

// heldUntilShut moves the onset of a large leak to the moment at which the inlet
// shut, where the ramp up to then rose as straight as ever: a leak that began
// before would have bent it.
func (a *analysis) heldUntilShut(f *failure) {
	flow := a.insideAfter(f.high) / 3600 // ml/s
	if flow <= 0 || a.v.gas {
		return
	}
	for _, o := range a.x.fill {
		if math.IsInf(o.end, 1) || f.time >= o.end || f.time < o.end-12*a.s.dt || f.time < o.start+8*a.s.dt {
			continue
		}
		lo, hi := between(a.s.t, max(o.start+1.2*a.s.dt, f.time-20*a.s.dt), o.end+1e-6)
		var ts, ps []float64
		missed, want, n := 0.0, 0.0, 0.0
		for i := lo; i < hi; i++ {
			if a.s.t[i] <= f.time && !a.s.spike[i] {
				ts, ps = append(ts, a.s.t[i]), append(ps, a.s.p[i])
			}
		}
		if len(ts) < 6 {
			continue
		}
		slope, mid, level := line(ts, ps)
		last := -1
		for i := lo; i < hi; i++ {
			if a.s.t[i] > f.time && !a.s.spike[i] {
				missed += level + slope*(a.s.t[i]-mid) - a.s.p[i]
				want += flow / a.v.compliance(a.s.p[i], 0) * (a.s.t[i] - f.time)
				n++
				last = i
			}
		}
		if n == 0 || want/n < 4*a.s.noise/math.Sqrt(n) || missed > want/2 {
			continue
		}
		f.low, f.time, f.high = a.s.t[last]-a.s.dt, a.s.t[last], a.s.t[last]+a.s.dt
		pa := a.pressureBefore(last)
		u := coverage95 * math.Hypot(a.zeroSD(), a.s.noise)
		f.depth = a.depth(pa)
		f.depthLow, f.depthUp = a.depth(pa-slope*a.s.dt-u), a.depth(pa+u)
	}
}
