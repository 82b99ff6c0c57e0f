package analysis

import (
	"math"
	"slices"
)

// jump is a sudden loss of chamber pressure between two readings.
type jump struct {
	i        int     // last sound reading before it
	t0, t1   float64 // s, that reading and the first one after the loss
	pa       float64 // Pa absolute, the smooth pressure at t0
	drop     float64 // Pa, what the pressure missed at t1
	u        float64 // Pa, standard uncertainty of drop
	paSD     float64 // Pa, standard uncertainty of pa
	slope    float64 // Pa/s before
	slopeSD  float64 // Pa/s, its standard uncertainty
	inletted bool    // the fill valve was open
	inside   bool    // the inside saw it, not the chamber
	unsure   bool    // the inlet had just opened: its flow may have done it
	stroke   float64 // Pa that a person's pump may have brought between the two readings
	place    *stepPlace
}

func (j jump) z() float64 { return j.drop / j.u }

// changes lists the times at which a valve moved.
func (x *table) changes() []float64 {
	var c []float64
	for _, list := range [][]interval{x.fill, x.vent} {
		for _, o := range list {
			c = append(c, o.start)
			if !math.IsInf(o.end, 1) {
				c = append(c, o.end)
			}
		}
	}
	slices.Sort(c)
	return c
}

// jumpLimit is how many standard uncertainties a loss must have. A night of
// 10 Hz has 4e5 readings: at 5.5 with normal errors one of them strays so far in
// some 130 nights; the second reading and the fit of both sides must agree
// besides.
const jumpLimit = 5.5

// trial is one reading against the parabola through the readings before it.
type trial struct {
	i          int
	drop       float64 // Pa missing
	lever      float64 // √(1 + variance of the parabola there)
	level, lsd float64 // Pa at the reading before, and its uncertainty in units of noise
	slope      float64
	slopeLever float64 // 1/s, its standard uncertainty for unit noise
	last       float64 // s, the reading before
	second     float64 // Pa missing at the next reading, NaN without one
	lever2     float64
	since      float64 // s since the valves moved
	young      bool    // too few readings since the valves moved for a fit of both sides
	gap        float64 // s since the reading before
	moved      bool    // a valve moved before the next reading
	fall       float64 // Pa that it and the next reading lie below the one before
	span       float64 // Pa between the highest and the lowest of the readings before
	step       float64 // Pa lost, by the fit of both sides; NaN without enough readings after
	stepLever  float64 // its standard uncertainty for unit noise
}

// stretch is a time under one state of the valves: how far its readings stray
// from the parabolas before them, and those that stray most.
type stretch struct {
	state
	strays []float64 // in units of the parabola's uncertainty for unit noise; a sample where there are many
	every  int       // of how many readings one is kept
	seen   int
	trials []trial
}

// state is how the chamber stood to the outside.
type state struct {
	open   bool // something was let in
	worked bool // by a person, at a pump or a cock that no line of the record tells of
	let    bool // by whom pressure was let off, which looks like any loss
}

const (
	inletFinds  = 20.0 // s, by which the flow of an inlet has found its rate; common practice, no source
	mostStrays  = 2048
	afterStroke = 0.35 // of what a stroke brought: more than that no cooling takes back
)

func (s *stretch) stray(r float64) {
	if len(s.strays) == mostStrays {
		for i := range mostStrays / 2 {
			s.strays[i] = s.strays[2*i]
		}
		s.strays = s.strays[:mostStrays/2]
		s.every *= 2
	}
	s.strays = append(s.strays, r)
}

// findSteps looks at each reading for a loss against the parabola through the
// readings before it, under one state of the valves. In a ramp the supply makes
// the loss good within seconds, so only the next few readings show it; and an
// inlet's flow is never quite even, which shows in how far the readings of that
// ramp stray, and sets its limit.
func (a *analysis) findSteps() {
	changes := a.x.changes()
	at := func(t float64) state { return state{open: openAt(a.x.fill, t)} }
	if a.byHand() {
		changes, at = a.handChanges(), a.handState
	}
	a.steps = judgeTrials(stepTrials(a.s.t, a.settledOut(), a.s.p, a.s.spike, a.s.pace(), changes, 1, a.s.noise, 4, at), a.s.t, a.s.noise)
	a.steps = slices.DeleteFunc(a.steps, a.inletsHabit(slices.Clone(a.steps)))
	for i := range a.steps {
		if j := &a.steps[i]; !j.inletted {
			j.pa = a.pressureBefore(j.i)
		}
	}
}

// inletsHabit tells of a loss whether it came as long after the inlet had opened
// as one in another ramp, and as large: a unit gives way once, an inlet whose flow
// finds its rate late does it alike each time.
func (a *analysis) inletsHabit(all []jump) func(jump) bool {
	since := func(j jump) float64 {
		for _, o := range a.x.fill {
			if j.t0 >= o.start && j.t0 <= o.end {
				return j.t0 - o.start
			}
		}
		return math.NaN()
	}
	return func(j jump) bool {
		return j.inletted && slices.ContainsFunc(all, func(o jump) bool {
			return o.i != j.i && math.Abs(since(o)-since(j)) < 1.6*a.s.dt && o.drop < 2*j.drop && j.drop < 2*o.drop &&
				math.Abs(since(o)-since(j)) < math.Abs(o.t0-j.t0)/2
		})
	}
}

// byHand tells whether a person worked the chamber, so that no line says when.
func (a *analysis) byHand() bool {
	return a.run.Bench.HandOperated || len(a.x.fill) == 0 && len(a.x.vent) == 0
}

// handChanges lists when a person began or ended to work the chamber: the ramps.
func (a *analysis) handChanges() []float64 {
	var c []float64
	for _, st := range a.stages {
		if st.ramp.real() {
			c = append(c, st.ramp.start, st.ramp.end)
		}
	}
	return append(c, a.stagesEnd())
}

// stagesEnd is when the last stage was left, s.
func (a *analysis) stagesEnd() float64 {
	end := 0.0
	for _, st := range a.stages {
		for _, part := range []interval{st.ramp, st.dwell()} {
			if part.real() {
				end = max(end, part.end)
			}
		}
	}
	return end
}

// handState is what a person did at a time: pump in a ramp upwards, let off in
// one downwards and at the end, nothing in between.
func (a *analysis) handState(t float64) state {
	if t > a.stagesEnd() || len(a.stages) > 0 && t < a.stages[0].ramp.start {
		return state{worked: true, let: true}
	}
	for _, st := range a.stages {
		if st.ramp.real() && t > st.ramp.start && t <= st.ramp.end {
			down := a.pressureAt(st.ramp.end) < a.pressureAt(st.ramp.start)
			return state{open: !down, worked: true, let: down}
		}
	}
	return state{}
}

// pressureBefore is the pressure at reading i by a line through it and the
// readings before it under the same state of the valves.
func (a *analysis) pressureBefore(i int) float64 {
	from := a.s.t[i] - 9*a.s.pace().at(i)
	for _, c := range a.x.changes() {
		if c < a.s.t[i] {
			from = max(from, c+a.s.dt/2)
		}
	}
	var ts, ps []float64
	for k := i; k >= 0 && a.s.t[k] > from; k-- {
		if !a.s.spike[k] {
			ts, ps = append(ts, a.s.t[k]), append(ps, a.s.p[k])
		}
	}
	if len(ts) < 3 {
		return a.s.p[i]
	}
	slope, mid, level := line(ts, ps)
	return level + slope*(a.s.t[i]-mid)
}

// settledOut is the pressure without the settling of the gas while the valves are
// shut: an exponential, fitted to the first minutes of each such time, which no parabola follows.
func (a *analysis) settledOut() []float64 {
	p := slices.Clone(a.s.p)
	parts := shut(a.x, interval{-1, a.x.endS + 1}, a.s.dt)
	if a.byHand() {
		parts = parts[:0]
		for _, st := range a.stages {
			d := st.dwell()
			d.start += 1.01 * a.s.dt // the reading at the start still belongs to the ramp
			parts = append(parts, d)
		}
	}
	for _, part := range parts {
		lo, hi := between(a.s.t, part.start-a.s.dt, min(part.end, part.start+400))
		var ts, ps []float64
		for i := lo; i < hi; i++ {
			if !a.s.spike[i] {
				ts, ps = append(ts, a.s.t[i]-part.start), append(ps, a.s.p[i])
			}
		}
		if len(ts) < 16 {
			continue
		}
		best, amp, bestTau := math.Inf(1), 0.0, 1.0
		for tau := max(3*a.s.dt, 4); tau < 400; tau *= 1.15 {
			var m [3][3]float64
			var r [3]float64
			for i, t := range ts {
				f := [3]float64{1, t / 100, math.Exp(-t / tau)}
				for x := range 3 {
					for y := range 3 {
						m[x][y] += f[x] * f[y]
					}
					r[x] += f[x] * (ps[i] - ps[0])
				}
			}
			sol, _, ok := solve3(m, r, 3, 2)
			if !ok {
				continue
			}
			ss := 0.0
			for i, t := range ts {
				e := ps[i] - ps[0] - sol[0] - sol[1]*t/100 - sol[2]*math.Exp(-t/tau)
				ss += math.Min(e*e, 100*a.s.noise*a.s.noise) // a step must not bend the fit
			}
			if ss < best {
				best, amp, bestTau = ss, sol[2], tau
			}
		}
		_, end := between(a.s.t, part.start, part.end)
		for i := lo; i < end && a.s.t[i]-part.start < 60*bestTau; i++ { // e⁻⁶⁰ is nothing
			p[i] -= amp * math.Exp(-(a.s.t[i]-part.start)/bestTau)
		}
	}
	return p
}

// steps finds sudden rises of the inside pressure.
func (v *void) steps() []jump {
	if v.pa == nil {
		return nil
	}
	if v.jumps == nil {
		noise := v.noise * v.pa[0] / v.freeML
		v.jumps = judgeTrials(stepTrials(v.t, v.pa, v.pa, v.bad, v.pace, nil, -1, noise, 2, func(float64) state { return state{} }), v.t, noise)
		if v.jumps == nil {
			v.jumps = []jump{}
		}
	}
	return v.jumps
}

// stepTrials tries each reading that has at least least readings before it under
// its state of the valves. p is what was read without the settling, read with it.
func stepTrials(t, p, read []float64, spike []bool, by pace, changes []float64, sign, noise float64, least int, at func(float64) state) []stretch {
	const most = 14
	ts := make([]float64, 0, most)
	ps := make([]float64, 0, most)
	next, last := 0, 0
	from := math.Inf(-1) // since when the state has lasted
	end := math.Inf(1)
	if len(changes) > 0 {
		end = changes[0]
	}
	settled := max(1.2*by.dt, 0.2)
	var list []stretch
	fresh := true
	for i := range t {
		if spike[i] {
			continue
		}
		for next < len(changes) && t[i] > changes[next] {
			from = changes[next]
			next++
			end = math.Inf(1)
			if next < len(changes) {
				end = changes[next]
			}
			ts, ps = ts[:0], ps[:0]
			fresh = true
		}
		if len(ts) > 0 && t[i]-ts[len(ts)-1] > 4*by.across(last, i) {
			ts, ps = ts[:0], ps[:0]
		}
		if t[i] < from+settled {
			continue
		}
		if n := len(ts); n >= least {
			deg := 2
			switch {
			case n < 4:
				deg = 0
			case n < 8:
				deg = 1
			}
			if fresh {
				list = append(list, stretch{state: at(t[i]), every: 1})
				fresh = false
			}
			st := &list[len(list)-1]
			st.seen++
			keep := st.seen%st.every == 0
			// Most readings are plainly none: the mean slope of the window shows it.
			rough := ps[n-1] + (ps[n-1]-ps[0])/(ts[n-1]-ts[0])*(t[i]-ts[n-1]) - p[i]
			if keep || sign*rough > 2*noise {
				if fit, ok := polyfit(ts, ps, ts[n-1], deg); ok {
					pred, v := fit.at(t[i])
					drop, lever := sign*(pred-p[i]), math.Sqrt(1+v)
					if keep {
						st.stray(drop / lever)
					}
					if drop >= jumpLimit*noise*lever {
						st.trials = append(st.trials, tryStep(ts, ps, t, p, read, spike, i, from, end, by, sign, fit, drop, lever))
					}
				}
			}
		}
		if len(ts) == most {
			copy(ts, ts[1:])
			copy(ps, ps[1:])
			ts, ps = ts[:most-1], ps[:most-1]
		}
		ts = append(ts, t[i])
		ps = append(ps, p[i])
		last = i
	}
	return list
}

// tryStep describes reading i, which strays from fit, the parabola before it.
func tryStep(ts, ps, t, p, read []float64, spike []bool, i int, from, end float64, by pace, sign float64, fit poly, drop, lever float64) trial {
	n := len(ts)
	level, lv := fit.at(ts[n-1])
	c := trial{i: i, drop: drop, lever: lever, level: level, lsd: math.Sqrt(lv), slope: fit.c[1], slopeLever: math.Sqrt(fit.inv[1][1]),
		last: ts[n-1], second: math.NaN(), young: n < 10, gap: t[i] - ts[n-1], since: ts[n-1] - from}
	k := i + 1
	for k < len(t) && spike[k] {
		k++
	}
	if k < len(t) && t[k]-t[i] < 4*by.across(i, k) {
		p2, v2 := fit.at(t[k])
		c.second, c.lever2 = sign*(p2-p[k]), math.Sqrt(1+v2)
		if c.moved = t[k] > end; c.moved {
			// What came in did so until the valve moved, no longer; and the settling is
			// one of each time, so that what was taken out differs.
			p2, _ = fit.at(max(end, t[i]))
			c.second = min(c.second, sign*(p2-p[i]-read[k]+read[i]))
		}
		c.span = slices.Max(ps) - slices.Min(ps)
		c.fall = min(sign*(ps[n-1]-p[i]), sign*(ps[n-1]-p[k]))
	}
	c.step, c.stepLever = stepFit(ts, ps, t, p, spike, i, end, by.at(i))
	c.step *= -sign
	return c
}

// judgeTrials keeps the losses that stand out from the noise and from how far
// the other readings of the same state of the valves stray: the first one of
// each state, since the readings behind a loss are bent by it.
func judgeTrials(list []stretch, t []float64, noise float64) []jump {
	var found []jump
	var opens []float64
	for _, s := range list {
		if s.open {
			opens = append(opens, s.strays...)
		}
	}
	inlet := 2 * noise
	if len(opens) >= 20 {
		inlet = max(noise, madSD(opens))
	}
	for _, s := range list {
		var unsure *jump
		if s.let {
			continue
		}
		scale := noise
		if s.open {
			scale = inlet
		}
		if len(s.strays) >= 30 {
			scale = max(noise, madSD(s.strays))
		}
		for _, c := range s.trials {
			u := scale * c.lever
			if c.drop < jumpLimit*u || !(c.second > 0.3*c.drop) || c.second < 2.5*scale*c.lever2 {
				continue
			}
			// A person pumps in strokes and rests between them, and the gas that a
			// stroke has warmed gives back up to 29 % of it (1 − 1/γ) within some
			// seconds: only a fall beyond that is a loss.
			if s.worked && c.fall < max(jumpLimit*math.Sqrt2*noise, afterStroke*c.span) {
				continue
			}
			// So soon after a valve moved only what no bend of the flow could do counts.
			if c.young && (c.drop < 40*noise || c.drop < 3*math.Abs(c.slope)*c.gap) {
				continue
			}
			// A valve that moves right behind it could have done it, unless it is large.
			if c.moved && c.drop < 3*jumpLimit*u {
				continue
			}
			// A bend is no step: the readings of both sides must leave a gap.
			if !math.IsNaN(c.step) && c.step < 4.5*scale*c.stepLever {
				continue
			}
			stroke := 0.0
			if s.worked {
				stroke = c.span
			}
			loss := jump{stroke: stroke, i: c.i - 1, t0: c.last, t1: t[c.i], pa: c.level, drop: c.drop, u: u, paSD: noise * c.lsd, slope: c.slope, slopeSD: scale * c.slopeLever, inletted: s.open}
			// An inlet that opens slowly bends as no parabola does.
			if s.open && !s.worked && c.since < inletFinds+14*c.gap && c.drop < math.Abs(c.slope)*c.gap/2 {
				if loss.unsure = true; unsure == nil {
					unsure = &loss
				}
				continue
			}
			unsure = nil
			found = append(found, loss)
			break
		}
		if unsure != nil {
			found = append(found, *unsure)
		}
	}
	return found
}

// cameBack tells whether the reading after a loss stood high again though nothing
// was let in between: a spike, whatever stands around it.
func (a *analysis) cameBack(j jump) bool {
	s := a.s
	k, _ := slices.BinarySearch(s.t, j.t1)
	if j.inside || a.byHand() || k >= len(s.t) {
		return false
	}
	n := k + 1
	for n < len(s.t) && s.spike[n] {
		n++
	}
	if n >= len(s.t) || s.t[n]-s.t[k] > 4*s.pace().across(k, n) || overlaps(a.x.fill, s.t[k], s.t[n]) {
		return false
	}
	late := math.Abs(j.slope) * 0.3 * s.dt // what a valve that shuts late lets in
	return s.p[n]-s.p[k] > j.drop/2+late+4*s.noise
}

func openAt(list []interval, t float64) bool {
	for _, o := range list {
		if t > o.start && t <= o.end {
			return true
		}
	}
	return false
}
