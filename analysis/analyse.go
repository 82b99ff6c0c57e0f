package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"

	"proofpot/profiles"
	"proofpot/profiles/assumed"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

// analysis is the work on one record.
type analysis struct {
	run    setup.Run
	name   string
	x      *table
	s      *signal
	v      vessel
	in     *void
	column profiles.Column
	sealed float64 // Pa absolute
	base   *track
	rooms  []*track // what else it might be, see restlessRoom
	stages []*stage
	apart  []*apart   // judged by the inside alone
	aside  []interval // when they and their ramps were
	damp   *damp
	w      *ingress
	creep  []float64 // see creepAt

	gasIn     map[int]float64 // Pa that gas which came in added to the inside, by stages of a gas-filled pot
	coarsePa  float64         // Pa, step of a transducer whose noise does not reach over it; 0 otherwise
	stills    []gap           // where the transducer stood still
	creepStep float64         // s
	ramps     []*rampLeak     // see rampLeaks; nil before it was asked
	drift     wander
	steps     []jump // of the chamber's pressure
	unsure    []jump // the same, which a slowly opening inlet may have made
	gaps      []gap
	zero      zeroCheck
	whole     Integrity
	trust     []string // why the record cannot be trusted, if it cannot
}

// Analyse says what a record shows. An error means that there is nothing to
// analyse: an unreadable line, no chamber pressure, a water that is not known.
func Analyse(run setup.Run, recordName string, src Source) (*Result, error) {
	a, err := begin(run, recordName, src)
	if err != nil {
		return nil, err
	}
	a.measure()
	r := a.describe(a.judge())
	a.judgeApart(r)
	return r, nil
}

func begin(run setup.Run, recordName string, src Source) (*analysis, error) {
	column, err := profiles.NewColumn(run.Profile.Water)
	if err != nil {
		return nil, fmt.Errorf("water of the profile: %w", err)
	}
	x, err := readTable(src)
	if err != nil {
		return nil, err
	}
	a := &analysis{run: run, name: recordName, x: x, column: column}
	a.integrity(src)
	x.sheetFirst(run)
	a.sealed = sealedPa(run, x)
	a.s = readySignal(x)
	a.s.keepLetIn(x.fill)
	a.v = newVessel(run, roomStartPa(run, x))
	a.stages = findStages(x, a.s.dt)
	a.in = newVoid(run, x.insideBetween(a.setApart()))
	a.base = a.waterTrack()
	a.gaps = findGaps(a.s)
	a.findStill()
	a.zero = a.checkZero()
	return a, nil
}

// integrity takes over what the reader says of the file, where it says it.
func (a *analysis) integrity(src Source) {
	a.whole = Integrity{Intact: true, Lines: a.x.lines, Gaps: []string{}}
	r, ok := src.(interface{ Integrity() record.Integrity })
	if !ok {
		return
	}
	in := r.Integrity()
	a.whole.Chained, a.whole.Intact, a.whole.Lines = in.Chained, in.Intact, in.Lines
	for _, p := range in.Problems {
		a.trust = append(a.trust, p.String())
	}
}

// depth is the depth-equivalent of an absolute chamber pressure, m.
func (a *analysis) depth(pa float64) float64 { return a.column.DepthM(pa - a.sealed) }

// pressureAt is the chamber's pressure at a time, from its sound readings.
func (a *analysis) pressureAt(t float64) float64 {
	i := sort.SearchFloat64s(a.s.t, t)
	lo, hi := i-1, i
	for lo >= 0 && a.s.spike[lo] {
		lo--
	}
	for hi < len(a.s.t) && a.s.spike[hi] {
		hi++
	}
	switch {
	case lo < 0 && hi >= len(a.s.t):
		return math.NaN()
	case lo < 0:
		return a.s.p[hi]
	case hi >= len(a.s.t):
		return a.s.p[lo]
	}
	f := (t - a.s.t[lo]) / (a.s.t[hi] - a.s.t[lo])
	return a.s.p[lo] + f*(a.s.p[hi]-a.s.p[lo])
}

// drive is what pushes water into the unit: chamber less inside, Pa.
func (a *analysis) drive(t float64) float64 {
	in := a.sealed
	switch {
	case a.in != nil && a.in.pa != nil:
		in = a.in.pressureAt(t)
	case a.w != nil && !a.v.gas:
		in = a.w.insidePa(t)
	}
	return a.pressureAt(t) - in
}

func (v *void) pressureAt(t float64) float64 {
	i := sort.SearchFloat64s(v.t, t)
	i = min(max(i, 0), len(v.t)-1)
	for i > 0 && v.bad[i] {
		i--
	}
	return v.pa[i]
}

// measure fills the stages' estimates: first as if nothing had gone in, then,
// where something has, with the gas volume grown by it.
func (a *analysis) measure() {
	if a.in != nil {
		a.in.fixShare(a.stages, math.Inf(1), a.drive, a.pressureAt, a.creepAt)
	}
	a.findSteps()
	stop := a.stopS()
	a.steps = slices.DeleteFunc(a.steps, func(j jump) bool { return j.t0 >= stop }) // the final vent proves nothing
	for _, j := range a.steps {
		if j.unsure {
			a.unsure = append(a.unsure, j)
		}
	}
	a.steps = slices.DeleteFunc(a.steps, func(j jump) bool { return j.unsure })
	a.closingSteps()
	a.openingSteps()
	a.pulsedSteps()
	a.plainFalls()
	a.plainShortfalls()
	a.unsure = slices.DeleteFunc(a.unsure, a.cameBack)
	a.steps = slices.DeleteFunc(a.steps, func(j jump) bool { return a.stoodStill(j) || a.setAside(j) || a.cameBack(j) })
	slices.SortFunc(a.steps, func(p, q jump) int { return cmp.Compare(p.t0, q.t0) })
	for _, j := range a.steps {
		for _, st := range a.stages {
			st.breakAt(j, a.s.dt)
		}
	}
	a.warmParts()
	a.drift = a.findDrift()
	a.shareSettling()
	for _, st := range a.stages {
		a.measureHold(st)
	}
	if until := a.tightUntil(); a.in != nil && !math.IsInf(until, 1) {
		a.in.fixShare(a.stages, until, a.drive, a.pressureAt, a.creepAt)
		for _, st := range a.stages {
			a.measureHold(st)
		}
	}
	if a.followIngress() {
		a.drift = a.findDrift()
		a.shareSettling()
		for _, st := range a.stages {
			a.measureHold(st)
		}
	}
	a.measureDamp()
}

// tightUntil is until when nothing shows that something came in, s, where at least
// one stage was held before; +Inf where nothing ever does, or no time before.
func (a *analysis) tightUntil() float64 {
	until := math.Inf(1)
	for _, j := range a.steps {
		until = min(until, j.t0)
	}
	for _, st := range a.stages {
		w := a.firstWet()
		plain := w != nil && st == a.stageAt(w.t)
		for _, e := range []*estimate{st.inside, st.chamber} {
			plain = plain || e != nil && (e.value > 5*e.u || e.settleU > 0 && e.settle > 6*e.settleU)
		}
		if plain {
			until = min(until, st.dwell().start)
			if st.ramp.real() {
				until = min(until, st.ramp.start)
			}
			break
		}
	}
	for _, st := range a.stages {
		if st.hold.real() && st.hold.end <= until {
			return until
		}
	}
	return math.Inf(1)
}

func (a *analysis) measureHold(st *stage) {
	d := st.dwell()
	if !d.real() {
		return
	}
	window := st.hold
	if !window.real() {
		window = d
	}
	st.missing = a.missing(window, a.plannedS(st))
	st.meanPa = a.meanPressure(window)
	if math.IsNaN(st.meanPa) {
		return
	}
	st.chamber, st.inside = nil, nil
	f := a.fitter(st)
	st.chamber = f.fit(false, false)
	if e := st.chamber; e != nil {
		if math.Abs(e.value) > 5*e.u {
			if c := f.fit(false, true); c != nil && e.chi2-c.chi2 > 12 {
				st.chamber = c
			}
		} else if t := f.fit(true, false); t != nil && math.Abs(t.value-e.value) < 2.5*math.Sqrt(max(e.u*e.u-t.u*t.u, 0.01*e.u*e.u)) {
			st.chamber = t
		}
	}
	if a.v.gas && st.chamber != nil {
		a.gasWentIn(st, f.restK())
	}
	if e, u := st.chamber, a.driftMLPerH(st); e != nil && u > 0 {
		e.u = math.Hypot(e.u, u)
		e.lod = math.Hypot(e.lod, currie(u))
		e.budget = append(e.budget, Budget{Source: "zero of the transducer, before and after", MLPerH: u})
	}
	if a.in != nil && st.hold.real() {
		give := a.in.gaveWay(st.ramp, a.pressureAt(st.ramp.end)-a.pressureAt(st.ramp.start))
		st.inside = a.in.leak(st.hold, a.pressureAt, a.drive, a.creepAt, false, give)
		if e := st.inside; e != nil {
			// Boyle: the room that is lost in the hold is pressure gained.
			f := st.hold.length() / 3600 * a.in.pressureAt(st.hold.end) / a.in.freeML
			st.rise = &estimate{value: f * e.value, u: f * e.u}
		}
		if e := st.inside; e != nil && a.v.gas {
			// Gas came in: its volume at the inside pressure into the liquid equivalent.
			in := a.in.pressureAt(st.hold.end)
			e.scale(liquidEquivalent(1, in, st.meanPa, 293.15))
		}
	}
	st.both = joint(st.chamber, st.inside)
}

// findDrift says how the transducer strays, from what all stages together make
// likeliest: one hold alone is too short to tell drift from a leak.
func (a *analysis) findDrift() wander {
	sum := make([]float64, len(drifts))
	for _, st := range a.stages {
		if !st.dwell().real() {
			continue
		}
		f := a.fitter(st)
		if len(f.blocks) < 8 {
			continue
		}
		tau, top := math.NaN(), math.Inf(-1)
		if a.s.gas == nil {
			st.settles = nil
			scores := make([]float64, len(settlingTimes))
			fits := false
			for i, t := range settlingTimes {
				scores[i] = math.Inf(-1)
				if e, score := f.once(false, false, t, drifts[0]); e != nil {
					if scores[i] = score; score > top {
						tau, top = t, score
						fits = e.chi2 < 2*float64(e.n)
					}
				}
			}
			if fits {
				st.settles = scores
			}
		}
		for i, d := range drifts {
			e, score := f.once(false, false, tau, d)
			if e == nil || i == 0 && e.chi2 > 4*float64(e.n) {
				break // no steady leak at all: says nothing of the transducer
			}
			sum[i] += score
		}
	}
	best := 0
	for i := range sum {
		if i > 0 && sum[i]-1 > sum[best] {
			best = i
		}
	}
	return drifts[best]
}

// fitter prepares the chamber's balance of a stage.
func (a *analysis) fitter(st *stage) *chamberFit {
	f := &chamberFit{v: a.v, st: st, s: a.s, base: a.base, rooms: a.rooms, drive: a.drive, onset: math.Inf(-1), creep: a.creepAt, drift: a.drift}
	if a.w != nil {
		f.ingress, f.ingSD = a.w.at, a.w.sd
	}
	if a.in != nil && a.base != nil && a.base.from != "inside the unit" {
		f.within = a.in.temp
	}
	f.prepare()
	return f
}

// creepAt is how far a body under the chamber's pressure has given way by a time,
// in Pa, if it follows with one relaxation time (the standard linear solid of
// viscoelasticity): its share of the volume is fitted.
func (a *analysis) creepAt(t float64) float64 {
	if a.creep == nil {
		// A clock that was set right while a record began can make it years long.
		a.creepStep = max(5, a.x.endS/100_000)
		n := int(a.x.endS/a.creepStep) + 2
		a.creep = make([]float64, n)
		keep := math.Exp(-a.creepStep / assumed.SlowCreepS)
		for i := 1; i < n; i++ {
			p := a.pressureAt((float64(i) - 0.5) * a.creepStep)
			if math.IsNaN(p) {
				p = a.v.roomPa
			}
			a.creep[i] = a.creep[i-1]*keep + (p-a.v.roomPa)*(1-keep)
		}
	}
	p := max(t/a.creepStep, 0)
	i := min(int(p), len(a.creep)-2)
	return a.creep[i] + (p-float64(i))*(a.creep[i+1]-a.creep[i])
}

// stopS is when the final vent began, or the end of the record, s. A vent that
// only steps the pressure down to a return hold is no end.
func (a *analysis) stopS() float64 {
	if n := len(a.x.spans); n > 0 && a.x.spans[n-1].kind == "vent" {
		return a.x.spans[n-1].start
	}
	return a.x.endS
}

// meanPressure is the mean of the chamber's sound readings in a window, Pa absolute.
func (a *analysis) meanPressure(w interval) float64 {
	lo, hi := between(a.s.t, w.start, w.end)
	sum, n := 0.0, 0.0
	for i := lo; i < hi; i++ {
		if !a.s.spike[i] {
			sum += a.s.p[i]
			n++
		}
	}
	return sum / n
}

// joint joins what the chamber and the void say of one leak.
func joint(a, b *estimate) *estimate {
	if a == nil {
		return b
	}
	if b == nil {
		return a
	}
	w := b.u * b.u / (a.u*a.u + b.u*b.u)
	e := &estimate{value: w*a.value + (1-w)*b.value, u: math.Sqrt(w) * a.u, lod: 1 / math.Hypot(1/a.lod, 1/b.lod), n: a.n + b.n, chi2: a.chi2 + b.chi2, white: a.white}
	for _, l := range a.budget {
		l.MLPerH *= w
		e.budget = append(e.budget, l)
	}
	for _, l := range b.budget {
		l.MLPerH *= 1 - w
		e.budget = append(e.budget, l)
	}
	// Where they disagree by more than chance, neither alone is right.
	if d := math.Abs(a.value - b.value); d > 3*math.Hypot(a.u, b.u) {
		more := d / 2
		e.budget = append(e.budget, Budget{Source: "chamber and inside pressure disagree", MLPerH: more})
		e.u = math.Hypot(e.u, more)
	}
	return e
}

func (a *analysis) measureDamp() {
	if a.in == nil || a.in.mg == nil {
		return
	}
	var onsets []float64
	for _, st := range a.stages {
		if st.ramp.real() {
			n := max(3, int(st.ramp.length()/60))
			n = min(n, 12)
			for i := range n {
				onsets = append(onsets, st.ramp.start+st.ramp.length()*float64(i)/float64(n))
			}
		}
		d := st.dwell()
		if d.real() {
			n := min(8, max(2, int(d.length()/300)))
			for i := range n {
				onsets = append(onsets, d.start+d.length()*float64(i)/float64(n))
			}
		}
		if len(onsets) > 90 {
			break
		}
	}
	if len(onsets) == 0 {
		return
	}
	to := a.stopS()
	a.damp = fitDamp(a.in, a.drive, 0, to, onsets)
	if a.damp == nil || math.IsNaN(a.damp.u) {
		return
	}
	for _, st := range a.stages {
		if !st.hold.real() {
			continue
		}
		mid := (st.hold.start + st.hold.end) / 2
		dp := max(a.drive(mid), 0)
		e := &estimate{value: a.damp.k * dp, u: a.damp.u * dp}
		if a.damp.rising && st.hold.start < a.damp.onset {
			// Only what came in after the onset counts in this hold, and the onset
			// is known to some blocks only.
			share := max(0, st.hold.end-a.damp.onset) / st.hold.length()
			doubt := 0.0
			if share > 0 || a.damp.onset-st.hold.end < 3*a.damp.onsetSD {
				doubt = e.value * a.damp.onsetSD / st.hold.length()
			}
			e.value *= share
			e.u = math.Hypot(e.u, doubt)
		}
		e.lod = currie(e.u)
		st.damp = e
	}
}
