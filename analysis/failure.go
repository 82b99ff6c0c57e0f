package analysis

import (
	"fmt"
	"math"
	"slices"
)

// A burst opens a hole, a seep a gap: where the pressure shows no dip they are
// parted by what passes for each bar, which is the size of the opening and the same
// at every depth, and by the flow at the depth where it began. 100 ml/h/bar is a
// hole of a tenth of a millimetre through 5 mm (Poiseuille, d⁴); where the flow is
// small, it must be twice that; common practice, no source.
const (
	burstMLPerH      = 130.0
	burstMLPerHBar   = 100.0
	shallowMLPerH    = 50.0
	shallowMLPerHBar = 200.0
)

// shallowM is how deep a first stage is that asks the seals before they are
// pressed on, m; common practice, no source.
const shallowM = 5.0

// failure is the first failure as found, before it is written down.
type failure struct {
	mode     string
	evidence []string
	time     float64 // s
	low      float64
	high     float64
	depth    float64 // m
	depthLow float64
	depthUp  float64
	stage    *stage
	text     string
}

func (f *failure) saw(by string) {
	if !slices.Contains(f.evidence, by) {
		f.evidence = append(f.evidence, by)
	}
}

// firstFailure finds it; nil where nothing shows one.
func (a *analysis) firstFailure() *failure {
	leaky := a.firstLeak()
	j := a.firstJump()
	wet := a.firstWet()
	damp := a.dampFails()
	if j == nil && (leaky != nil || wet != nil) {
		// What a slowly opening inlet might have done was the beginning, where the
		// pressure fell on, or a probe was wet right after, and the unit has failed in
		// that stage.
		for i := range a.unsure {
			u := &a.unsure[i]
			st := a.stageAt(u.t0)
			if st != nil && (st == leaky || wet != nil && wet.t > u.t0 && a.stageAt(wet.t) == st) && (a.fallsOn(u) || wet != nil && wet.t-u.t0 < 30) {
				j = u
				break
			}
		}
	}
	if j == nil && wet != nil {
		j = a.lossBeforeWet(wet)
	}
	switch {
	case j != nil && (leaky == nil || j.t0 <= leaky.dwell().end):
		return a.suddenFailure(j, leaky)
	case leaky == nil && wet != nil && damp && a.dampBefore(wet.t):
		f := a.dampFailure()
		f.saw(ByWet)
		f.text = "the humidity inside showed it first: water vapour came in at a rate that follows the pressure, until a probe was wet"
		return f
	case leaky != nil || wet != nil:
		return a.slowFailure(leaky, wet)
	case damp:
		return a.dampFailure()
	}
	return nil
}

// firstLeak is the first stage whose leak is proved above the limit.
func (a *analysis) firstLeak() *stage {
	limit := a.limit()
	for _, st := range a.stages {
		if e := st.both; e != nil && st.missing < 0.9 {
			if e.interval().Low > limit && e.value > 4*e.u {
				return st
			}
		}
		if e, l := st.rise, a.run.Profile.Accept.InsideRisePa; e != nil && l > 0 && st.both != nil && e.interval().Low > l && e.value > 4*e.u {
			return st
		}
		if e := st.chamber; e != nil && !st.hold.real() && e.value-3*e.u > limit && e.value > 5*e.u {
			return st
		}
	}
	return nil
}

func (a *analysis) firstWet() *wetting {
	for i := range a.x.wets {
		if a.x.wets[i].stays {
			return &a.x.wets[i]
		}
	}
	return nil
}

// dampFails says whether the humidity proves an ingress above the limit.
func (a *analysis) dampFails() bool {
	limit := a.run.Profile.Accept.MoistureMGPerH
	// Gas that comes in brings no water to speak of: where gas is all around the unit,
	// its walls give off moisture as they warm with it, and no ingress is proved.
	if a.damp == nil || limit <= 0 || a.v.gas {
		return false
	}
	if a.damp.satured {
		return true
	}
	if !a.damp.rising || a.damp.gain < 100 {
		return false
	}
	for _, st := range a.stages {
		if e := st.damp; e != nil && e.interval().Low > limit {
			return true
		}
	}
	return false
}

// dampBefore says whether the humidity proved an ingress above the limit in a
// hold that ended before a time.
func (a *analysis) dampBefore(t float64) bool {
	for _, st := range a.stages {
		if e := st.damp; e != nil && st.hold.real() && st.hold.end < t && e.interval().Low > a.run.Profile.Accept.MoistureMGPerH {
			return true
		}
	}
	return false
}

func (a *analysis) stageAt(t float64) *stage {
	for _, st := range a.stages {
		start := st.dwell().start
		if st.ramp.real() {
			start = st.ramp.start
		}
		if t >= start && t <= st.dwell().end || t >= start && !st.dwell().real() {
			return st
		}
	}
	return nil
}

// addWitnesses names what else saw the failure.
func (a *analysis) addWitnesses(f *failure) {
	if w := a.firstWet(); w != nil {
		f.saw(ByWet)
	}
	if a.in != nil {
		for _, st := range a.stages {
			if e := st.inside; e != nil && e.value > 4*e.u && e.value > 0.3*a.limit() {
				f.saw(ByInsidePressure)
			}
		}
		if a.damp != nil && a.damp.rising && a.damp.gain > 100 {
			f.saw(ByHumidity)
		}
	}
}

func (a *analysis) slowFailure(leaky *stage, wet *wetting) *failure {
	f := &failure{}
	var wetStage *stage
	if wet != nil {
		wetStage = a.stageAt(wet.t)
	}
	st := leaky
	if st == nil || wetStage != nil && wetStage.order < st.order {
		st = wetStage
	}
	if st == nil && len(a.stages) > 0 {
		st = a.stages[len(a.stages)-1]
	}
	f.stage = st
	if leaky != nil {
		f.saw(ByDecay)
	}
	a.addWitnesses(f)
	if leaky == nil && a.in != nil && a.insideLeaks() {
		f.saw(ByDecay)
	}
	seats := leaky != nil && a.resealed(leaky)
	// A leak of the very first ramp is mostly one of a seal that is not yet seated,
	// whether or not the run went on to show it.
	unseated := seats || st != nil && st.order == 0 && st.depthM <= shallowM
	o := a.insideOnset(st, unseated)
	if o == nil {
		var before *stage
		if st != nil && st.order > 0 {
			before = a.stages[st.order-1]
		}
		if st != nil {
			o = a.chamberOnset(st, before, unseated)
		}
	}
	if o != nil {
		a.place(f, o)
	}
	a.heldUntilShut(f)
	// The mode: reseal where every deeper stage held, burst where it began fast.
	f.mode = Seep
	q := 0.0
	if leaky != nil {
		q = leaky.both.value
		if e := leaky.chamber; e != nil && e.settle > q && e.settle > 6*e.settleU && f.time < leaky.dwell().start {
			q = e.settle
		}
	}
	f.text = fmt.Sprintf("a leak of %.3g ml/h began and went on", q)
	switch {
	case leaky == nil:
		f.text = "the wet probe shows water inside"
	case a.fast(q, leaky, f.depth) || a.fastInside(f.high):
		f.mode = Burst
		f.text = fmt.Sprintf("a leak of %.3g ml/h opened", q)
	case seats:
		f.mode = Reseal
		f.text = fmt.Sprintf("a leak of %.3g ml/h at %.1f m, and none in any deeper stage: a seal that seats only under pressure", q, leaky.depthM)
	}
	return f
}

// fast says whether a leak began as a burst: by its flow at the depth where it
// began, which goes with the pressure.
func (a *analysis) fast(q float64, st *stage, depth float64) bool {
	there := max(a.column.GaugePa(depth), 1000)
	held := max(st.meanPa-a.sealed, 1000)
	return wide(q*min(there/held, 1), q/held*1e5)
}

// wide says whether a flow, ml/h, and what passes for each bar are a burst's.
func wide(q, perBar float64) bool {
	return q > burstMLPerH && perBar > burstMLPerHBar || q > shallowMLPerH && perBar > shallowMLPerHBar
}

// fastInside says the same by what the sensor inside shows after a time.
func (a *analysis) fastInside(t float64) bool {
	q := a.insideAfter(t)
	return q > 2*burstMLPerH && q/max(a.drive(t), 1000)*1e5 > burstMLPerHBar
}

// onlyFlows says whether what a loss took at once is no more than what the leak
// behind it lets in between two readings, and that is no burst's.
func (a *analysis) onlyFlows(j *jump, after float64) bool {
	if a.v.gas {
		return false
	}
	perBar := 0.0
	for _, st := range a.stages {
		if e := st.both; e != nil && st.dwell().end > j.t1 && e.value > 5*e.u {
			perBar = max(perBar, e.value/max(st.meanPa-a.sealed, 1000)*1e5)
		}
	}
	if perBar == 0 {
		perBar = after / max(a.drive(j.t0), 1000) * 1e5
	}
	gap, lost := j.t1-j.t0+a.s.dt, j.drop*a.compliance(j.t0)
	if j.inside {
		gap, lost = 2*a.in.dt, j.drop*a.in.freeML/a.in.pressureAt(j.t0)
	}
	return perBar > 0 && perBar < burstMLPerHBar && lost < 3*after/3600*gap
}

// resealed says whether every deeper hold after a leaking one is tight, and
// there is one.
func (a *analysis) resealed(leaky *stage) bool {
	deeper := 0
	for _, st := range a.stages[leaky.order+1:] {
		if st.depthM <= leaky.depthM || !st.hold.real() || st.both == nil {
			continue
		}
		// A void that is full of water, or of air as dense as the chamber's pressure,
		// takes in no more: that is no seal.
		if mid := (st.hold.start + st.hold.end) / 2; a.drive(mid) < 0.6*(a.pressureAt(mid)-a.sealed) {
			continue
		}
		if st.both.value > 4*st.both.u && st.both.value > a.limit() {
			return false
		}
		if st.both.value+3*st.both.u > 0.6*leaky.both.value && st.both.value > 2*st.both.u {
			return false
		}
		deeper++
	}
	return deeper > 0
}

// place takes time and depth from a distribution of the onset.
func (a *analysis) place(f *failure, o *onset) {
	f.time = o.quantile(0.5, same)
	wide := o.wide()
	f.low, f.high = wide.quantile(0.025, same), wide.quantile(0.975, same)
	at := func(t float64) float64 { return a.depth(a.smoothPressure(t)) }
	f.depth = o.quantile(0.5, at)
	u := coverage95 * a.zeroSD() / 1e4
	f.depthLow = min(wide.quantile(0.025, at), f.depth)
	f.depthUp = max(wide.quantile(0.975, at), f.depth)
	f.depthLow = f.depth - math.Hypot(f.depth-f.depthLow, u)
	f.depthUp = f.depth + math.Hypot(f.depthUp-f.depth, u)
	f.depthLow = max(f.depthLow, 0)
}

// smoothPressure is the pressure about a time by a line through its neighbours
// under the same state of the valves.
func (a *analysis) smoothPressure(t float64) float64 {
	from, to := t-4*a.s.dt, t+4*a.s.dt
	for _, list := range [][]interval{a.x.fill, a.x.vent} {
		for _, o := range list {
			for _, c := range []float64{o.start, o.end} {
				if c < t {
					from = max(from, c)
				} else {
					to = min(to, c+1e-6)
				}
			}
		}
	}
	lo, hi := between(a.s.t, from, to)
	var ts, ps [16]float64
	n := 0
	for i := lo; i < hi && n < 16; i++ {
		if !a.s.spike[i] {
			ts[n], ps[n] = a.s.t[i], a.s.p[i]
			n++
		}
	}
	if n < 3 {
		return a.pressureAt(t)
	}
	slope, mid, level := line(ts[:n], ps[:n])
	return level + slope*(t-mid)
}

func (a *analysis) dampFailure() *failure {
	f := &failure{mode: Damp}
	f.saw(ByHumidity)
	o := a.insideOnset(nil, false)
	if o != nil {
		a.place(f, o)
	} else {
		f.time = a.damp.onset
		f.low, f.high = 0, a.damp.onset+60
		f.depth = a.depth(a.pressureAt(f.time))
		f.depthUp = a.depth(a.pressureAt(f.high))
	}
	f.stage = a.stageAt(f.time)
	f.text = "only the humidity inside shows it: water vapour comes in at a rate that follows the pressure"
	for _, st := range a.stages {
		if e := st.inside; e != nil && e.value > 4*e.u {
			f.saw(ByInsidePressure)
		}
	}
	return f
}
