package analysis

import (
	"fmt"
	"math"
)

// Shares of a measuring window.
const (
	mayMiss   = 0.2 // may be without readings
	mustReach = 0.8 // of the planned hold must have run

	misfit      = 6.0  // χ² per block above which the model does not describe a hold
	plainMisfit = 20.0 // the same, whatever the size of what is left: a unit that fills in the first hour of a night's hold leaves little
)

// judge applies the decision rule. A unit passes only if in every stage of the
// profile the upper bound of the leak lies below the limit and nothing else says
// otherwise; it fails only where a lower bound lies above the limit or an event
// of another kind proves it; all else is inconclusive.
func (a *analysis) judge() *Result {
	r := &Result{}
	v := &r.Verdict
	v.Format, v.Record, v.Unit = 1, a.name, a.run.Unit.ID
	v.Reasons, v.Holds = []string{}, []Hold{}
	v.Integrity = a.whole
	for _, g := range a.gaps {
		if len(v.Integrity.Gaps) < 50 {
			v.Integrity.Gaps = append(v.Integrity.Gaps, fmt.Sprintf("%s to %s: no chamber pressure for %.0f s",
				a.x.at(g.start).Format("15:04:05"), a.x.at(g.end).Format("15:04:05"), g.end-g.start))
		}
	}
	f := a.firstFailure()
	var doubts []string
	failed := f != nil
	for _, st := range a.stages {
		if !st.hold.real() {
			continue
		}
		h := a.judgeHold(st, f)
		v.Holds = append(v.Holds, h)
		switch h.Verdict {
		case Pass:
			if f == nil || st.hold.end <= f.low || f.stage != nil && st.order < f.stage.order {
				v.ProvedDepthM = max(v.ProvedDepthM, st.depthM)
			}
		case Inconclusive:
			if st.lost && a.repeated(st) {
				break // it was done again, and that counts
			}
			for _, why := range h.Reasons {
				doubts = append(doubts, fmt.Sprintf("hold at %.1f m: %s", st.depthM, why))
			}
		case Fail:
			failed = true
		}
	}
	doubts = append(doubts, a.doubts()...)
	switch {
	case failed:
		v.Verdict = Fail
		if f != nil {
			v.Reasons = append(v.Reasons, f.text)
			v.FirstFailure = a.write(f, v.ProvedDepthM)
		} else {
			v.Reasons = append(v.Reasons, "a hold leaks more than the limit")
		}
	case len(doubts) > 0:
		v.Verdict = Inconclusive
		v.Reasons = append(v.Reasons, doubts...)
	default:
		v.Verdict = Pass
		v.RatedDepthM = v.ProvedDepthM
		if p := a.run.Profile.ProofFactor; p > 0 {
			v.RatedDepthM = math.Floor(v.ProvedDepthM/p*10+1e-9) / 10
		}
		v.Reasons = append(v.Reasons, fmt.Sprintf("in every hold the upper bound of the leak lies below the limit of %g ml/h, and nothing else says otherwise", a.limit()))
	}
	v.Reasons = append(append(v.Reasons, a.cost()...), a.zeroText()...)
	return r
}

// grossUnseen is the doubt of a pot of gas that nothing inside looked at: closed objects
// need a test for gross leaks beside one of pressure change (EN 1779, from memory).
const grossUnseen = "in a pot of gas a leak so wide that the unit fills while the chamber does leaves nothing to see in a hold, and no pressure sensor was inside: one inside, or a pot of water, would rule it out"

func (a *analysis) write(f *failure, tight float64) *FirstFailure {
	return &FirstFailure{
		Time: a.x.at(f.time), TimeLow: a.x.at(min(f.low, f.time)), TimeHigh: a.x.at(max(f.high, f.time)),
		DepthM: f.depth, DepthLowM: min(f.depthLow, f.depth), DepthHighM: max(f.depthUp, f.depth),
		LastTightDepthM: tight, Mode: f.mode, Evidence: f.evidence,
	}
}

// impossible is how many standard uncertainties below nothing a leak may be
// estimated before the balance itself is in doubt: a fill valve that creeps
// hides a leak like that.
const impossible = 3.5

func (a *analysis) judgeHold(st *stage, f *failure) Hold {
	h := Hold{Stage: st.index, Name: st.name, DepthM: st.depthM, Start: a.x.at(st.hold.start), End: a.x.at(st.hold.end), Verdict: Inconclusive}
	limit := a.limit()
	doubt := func(format string, args ...any) { h.Reasons = append(h.Reasons, fmt.Sprintf(format, args...)) }
	if e := st.damp; e != nil {
		i := e.interval()
		h.MoistureMGPerH = &i
	}
	e := st.both
	if e == nil {
		doubt("the leak could not be measured")
		return h
	}
	i := e.interval()
	lod := e.lod
	leaned := false
	if i.High >= limit && i.Low <= limit && (f == nil || f.stage == nil || f.stage.order > st.order) {
		if low, high, ok := a.lean(st); ok {
			i.Low, i.High = low, min(high, i.High)
			leaned = true
		}
	}
	h.LeakMLPerH = &i
	h.DetectionLimitMLPerH = &lod
	if st.missing > mayMiss {
		doubt("%.0f %% of the measuring window is without readings", 100*st.missing)
	}
	if q := a.tooCoarse(st); q > limit && st.inside == nil {
		doubt("one step of the transducer, %.3g Pa, could hide %.3g ml/h in this hold and the limit is %g", a.coarsePa, q, limit)
	}
	if short := a.short(st); short != "" {
		doubt("%s", short)
	}
	for _, why := range a.faultsIn(st) {
		doubt("%s", why)
	}
	switch {
	case i.Low > limit && e.value > 4*e.u:
		h.Verdict = Fail
		h.Reasons = []string{fmt.Sprintf("the leak is at least %.3g ml/h, the limit is %g", i.Low, limit)}
		return h
	case e.value < -impossible*e.u:
		doubt("the pressure goes as if %.3g ml/h left the unit, which nothing on the sheet explains: a leak may be hidden behind it", -e.value)
	case i.High >= limit:
		if lod > limit {
			doubt("the leak may be as much as %.3g ml/h and the limit is %g: this bench could see no less than %.3g ml/h in this hold", i.High, limit, lod)
		} else {
			doubt("the leak may be as much as %.3g ml/h and the limit is %g", i.High, limit)
		}
	}
	if c := st.chamber; c != nil && (st.inside == nil || st.inside.interval().High > limit) &&
		(c.chi2 > misfit*float64(c.n) && c.rms > 0.2*limit*st.hold.length()/3600 || c.chi2 > plainMisfit*float64(c.n)) {
		doubt("the pressure does not go as a tight unit's does, nor as that of one steady leak")
	}
	if m, l := h.MoistureMGPerH, a.run.Profile.Accept.MoistureMGPerH; m != nil && l > 0 {
		switch {
		case m.Low > l && a.dampFails():
			h.Verdict = Fail
			h.Reasons = []string{fmt.Sprintf("at least %.3g mg/h of water vapour come in, the limit is %g", m.Low, l)}
			return h
		case m.High >= l:
			doubt("up to %.3g mg/h of water vapour may come in and the limit is %g", m.High, l)
		}
	}
	if e, l := st.rise, a.run.Profile.Accept.InsideRisePa; e != nil && l > 0 {
		switch i := e.interval(); {
		case i.Low > l && e.value > 4*e.u:
			h.Verdict = Fail
			h.Reasons = []string{fmt.Sprintf("what came in raised the pressure inside by at least %.3g Pa, the limit is %g", i.Low, l)}
			return h
		case i.High >= l:
			doubt("what came in may have raised the pressure inside by %.3g Pa and the limit is %g", i.High, l)
		}
	}
	if f != nil && f.time > st.hold.start && f.time < st.hold.end {
		h.Verdict = Fail
		h.Reasons = []string{f.text}
		return h
	}
	if len(h.Reasons) == 0 {
		h.Verdict = Pass
		if leaned {
			h.Reasons = []string{"this hold alone could not reach the limit; the bound leans on a deeper hold that is tight by itself, and on how rarely a seal leaks only while shallow"}
		}
	}
	return h
}

// plannedS is how long a stage's hold was to be, s; NaN where the sheet does not say.
func (a *analysis) plannedS(st *stage) float64 {
	if st.index >= 0 && st.index < len(a.run.Profile.Stages) {
		return a.run.Profile.Stages[st.index].HoldS
	}
	return math.NaN()
}

// short says whether a hold was cut short of its plan.
func (a *analysis) short(st *stage) string {
	plan := a.plannedS(st)
	if plan > 0 && st.hold.length() < mustReach*plan {
		return fmt.Sprintf("the hold was cut short: %.0f s of %.0f s", st.hold.length(), plan)
	}
	return ""
}

// doubts lists what keeps the whole record from a pass.
func (a *analysis) doubts() []string {
	var list []string
	if !a.whole.Intact {
		why := "lines are damaged"
		if len(a.trust) > 0 {
			why = a.trust[0]
		}
		list = append(list, "the record is not intact: "+why)
	}
	if a.x.aborted {
		list = append(list, "the run was stopped before its end")
	} else if !a.x.ended {
		list = append(list, "the record has no end: the run was cut off")
	}
	if n := len(a.stills); n > 0 {
		g := a.stills[n-1]
		list = append(list, fmt.Sprintf("the chamber's transducer stood still for %.0f s from %s: what it showed there is no reading", g.end-g.start, a.x.at(g.start).Format("15:04:05")))
	}
	if len(a.unsure) > 0 {
		j := a.unsure[0]
		list = append(list, fmt.Sprintf("at %s, just after the inlet opened, the pressure missed %.0f Pa: its flow may have done that, or a loss of volume", a.x.at(j.t0).Format("15:04:05"), j.drop))
	}
	if a.v.gas && (a.in == nil || a.in.pa == nil) {
		list = append(list, grossUnseen)
	}
	held := map[int]bool{}
	for _, st := range a.stages {
		if st.hold.real() {
			held[st.index] = true
		}
	}
	for _, st := range a.apart {
		held[st.index] = true
	}
	for i, s := range a.run.Profile.Stages {
		if !held[i] && s.HoldS > 0 { // a stage without a hold has nothing to measure
			list = append(list, fmt.Sprintf("the stage at %.1f m was not held", s.DepthM))
		}
	}
	if len(a.stages)+len(a.apart) == 0 {
		list = append(list, "the record holds no stage")
	}
	for _, w := range a.x.wets {
		if !w.stays {
			list = append(list, fmt.Sprintf("probe %s was wet for one reading at %s", w.sensor, a.x.at(w.t).Format("15:04:05")))
			break
		}
	}
	if !math.IsNaN(a.s.second) && a.s.second > 2*a.classSD() {
		list = append(list, fmt.Sprintf("the two transducers wander apart by %.0f Pa", a.s.second))
	}
	if len(a.stages) > 0 && a.in != nil && a.in.mg != nil && (a.damp == nil || math.IsNaN(a.damp.u)) {
		list = append(list, "the humidity inside could not be judged")
	}
	if !a.v.blankGiven && (a.in == nil || a.in.pa == nil) {
		list = append(list, "the bench's own leak is not known (no blank on its sheet)")
	}
	if a.run.Profile.Accept.MoistureMGPerH > 0 && a.damp != nil && a.damp.near && !a.dampFails() {
		list = append(list, "the air inside came near saturation: walls that give off moisture, or water that came in")
	}
	list = append(append(list, a.blindProbes()...), a.beyond()...)
	return append(list, a.calibrationDoubts()...)
}
