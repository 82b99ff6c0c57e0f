package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"proofpot/profiles"
	"proofpot/profiles/water"
)

// Stages that the chamber's pressure says nothing of are judged apart, by the
// inside alone: a vacuum check, a unit that cools after a plunge or warms itself
// under power, and so grows and shrinks in the chamber as a leak would. A
// conditioning is not judged at all.

const (
	vapourDoubt  = 0.1    // of the vapour's pressure, 1 standard uncertainty: a humidity sensor of 3 % and its lag
	usualSqueeze = 1.2e-9 // 1/Pa, of a void; see profiles/plan
	unseenVapour = 60.0   // Pa/h from walls, where no humidity is read: a vacuum of 25 kPa takes some 250 Pa of it away, which comes back in hours
)

// apart is such a stage.
type apart struct {
	*stage
	kind  string
	asked profiles.Stage
}

// kindOf is the kind of a stage of the profile, by its number.
func kindOf(stages []profiles.Stage, index int) string {
	if index < 0 || index >= len(stages) || stages[index].Kind == "" {
		return profiles.KindHold
	}
	return stages[index].Kind
}

// byChamber tells whether the chamber's pressure tells of a leak in a stage of
// this kind.
func byChamber(kind string) bool {
	switch kind {
	case profiles.KindConditioning, profiles.KindVacuum, profiles.KindPlunge, profiles.KindPowered:
		return false
	}
	return true
}

// setApart takes such stages out of those that the chamber judges, and gives the
// part of the record in which the sensors inside see an undisturbed unit.
func (a *analysis) setApart() (from, to float64) {
	from, to = math.Inf(-1), math.Inf(1)
	var rest []*stage
	for _, st := range a.stages {
		kind := kindOf(a.run.Profile.Stages, st.index)
		if byChamber(kind) {
			st.order = len(rest)
			rest = append(rest, st)
			continue
		}
		start := st.dwell().start
		if st.ramp.real() {
			start = st.ramp.start
		}
		end := start
		if d := st.dwell(); d.real() {
			end = d.end
		} else if st.ramp.real() {
			end = st.ramp.end
		}
		a.aside = append(a.aside, interval{start, end})
		if kind != profiles.KindConditioning {
			if len(rest) == 0 {
				from = max(from, end)
			} else if start < to {
				to = start
			}
		}
		if st.hold.real() {
			a.apart = append(a.apart, &apart{stage: st, kind: kind, asked: a.run.Profile.Stages[st.index]})
		}
	}
	a.stages = rest
	return from, to
}

// setAside tells whether a jump of the chamber's pressure lies in such a stage:
// a lid that is opened, a warm unit that is put in.
func (a *analysis) setAside(j jump) bool {
	for _, p := range a.aside {
		if j.t1 >= p.start && j.t0 <= p.end {
			return true
		}
	}
	return false
}

// insideBetween is the table with the readings inside the unit of one part only.
func (x *table) insideBetween(from, to float64) *table {
	if math.IsInf(from, -1) && math.IsInf(to, 1) {
		return x
	}
	y := *x
	for _, s := range []*series{&y.insidePa, &y.insideC, &y.insideRH} {
		lo, hi := between(s.t, from, to)
		s.t, s.v, s.calm = s.t[lo:hi], s.v[lo:hi], s.calm[lo:hi]
	}
	return &y
}

// judgeApart adds the stages that are judged apart to what the chamber showed.
func (a *analysis) judgeApart(r *Result) {
	v := &r.Verdict
	for _, st := range a.apart {
		if st.kind == profiles.KindConditioning {
			continue
		}
		h := a.judgeInside(st)
		v.Holds = append(v.Holds, h)
		if st.both != nil && (len(r.Budget) == 0 || h.Verdict == Fail) {
			st.meanPa = a.meanPressure(st.hold)
			r.Budget = a.budget(st.stage)
		}
		at := fmt.Sprintf("stage %q: ", st.name)
		switch {
		case h.Verdict == Fail:
			if v.Verdict != Fail {
				v.Verdict, v.Reasons = Fail, nil
			}
			v.RatedDepthM = 0
			v.Reasons = append(v.Reasons, at+h.Reasons[0])
			if f := v.FirstFailure; f == nil || h.Start.Before(f.Time) {
				v.FirstFailure = a.apartFailure(st)
				v.ProvedDepthM = 0
				for _, o := range v.Holds {
					if o.Verdict == Pass && o.End.Before(h.Start) {
						v.ProvedDepthM = max(v.ProvedDepthM, o.DepthM)
					}
				}
				v.FirstFailure.LastTightDepthM = v.ProvedDepthM
			}
		case h.Verdict == Inconclusive && v.Verdict != Fail:
			if v.Verdict == Pass {
				v.Verdict, v.Reasons = Inconclusive, nil
			}
			v.RatedDepthM = 0
			for _, why := range h.Reasons {
				v.Reasons = append(v.Reasons, at+why)
			}
		}
	}
	slices.SortStableFunc(v.Holds, func(p, q Hold) int { return cmp.Compare(p.Start.UnixNano(), q.Start.UnixNano()) })
}

func (a *analysis) apartFailure(st *apart) *FirstFailure {
	start := st.dwell().start
	if st.ramp.real() {
		start = st.ramp.start
	}
	return &FirstFailure{
		Time: a.x.at(st.dwell().start), TimeLow: a.x.at(start), TimeHigh: a.x.at(st.hold.end),
		DepthM: st.depthM, DepthLowM: 0, DepthHighM: max(st.depthM, a.column.DepthM(st.asked.VacuumPa)),
		Mode: Seep, Evidence: []string{ByInsidePressure},
	}
}

// judgeInside judges one stage by the pressure and temperature inside.
func (a *analysis) judgeInside(st *apart) Hold {
	h := Hold{Stage: st.index, Name: st.name, DepthM: st.depthM, Start: a.x.at(st.hold.start), End: a.x.at(st.hold.end), Verdict: Inconclusive}
	doubt := func(format string, args ...any) { h.Reasons = append(h.Reasons, fmt.Sprintf(format, args...)) }
	if short := a.short(st.stage); short != "" {
		doubt("%s", short)
	}
	d := st.dwell()
	vacuum := st.kind == profiles.KindVacuum
	in := newVoid(a.run, a.x.insideBetween(d.start, d.end))
	if in == nil || in.pa == nil {
		doubt("neither pressure nor temperature inside were read: nothing can be said")
		return h
	}
	room := a.v.roomPa
	pressure, creep := a.pressureAt, a.creepAt
	if vacuum {
		in.gas = true
		pressure = func(float64) float64 { return room }
		creep = func(float64) float64 { return 0 }
	}
	drive := func(t float64) float64 { return pressure(t) - in.pressureAt(t) }
	// A stage of these kinds is recorded by this rig, whose sensors show the pressure
	// of air and vapour together (Dalton); what the humidity says is good to a tenth.
	in.share, in.shareU = 1, vapourDoubt
	in.squeeze, in.squeezeU = usualSqueeze, usualSqueeze
	if in.vapour == nil {
		in.share, in.shareU = 0, 0
	} else {
		in.lost()
	}
	e := in.leak(st.hold, pressure, drive, creep, false, yielding{end: d.start})
	if e == nil {
		doubt("the leak could not be measured")
		return h
	}
	mid := (st.hold.start + st.hold.end) / 2
	inside := in.pressureAt(mid)
	if in.vapour == nil {
		e.u = math.Hypot(e.u, unseenVapour/inside*in.freeML)
		e.lod = math.Hypot(e.lod, currie(unseenVapour/inside*in.freeML))
	}
	if vacuum || a.v.gas {
		e.scale(liquidEquivalent(1, inside, pressure(mid), in.temp.at(mid)+water.ZeroC))
	}
	st.both = e
	i, lod, limit := e.interval(), e.lod, a.limit()
	h.LeakMLPerH, h.DetectionLimitMLPerH = &i, &lod
	if why := a.asAsked(st, in); why != "" {
		doubt("%s", why)
	}
	if !vacuum && len(in.steps()) > 0 {
		doubt("the pressure inside made a step at %s: the unit gave way, or its sensor did", a.x.at(in.steps()[0].t0).Format("15:04:05"))
	}
	switch {
	case i.Low > limit && e.value > 4*e.u:
		h.Verdict = Fail
		h.Reasons = []string{fmt.Sprintf("the leak is at least %.3g ml/h, the limit is %g", i.Low, limit)}
		if vacuum {
			h.Reasons[0] += a.atDepth(i.Low, drive(mid))
		}
		return h
	case e.value < -impossible*e.u:
		doubt("the pressure inside goes as if %.3g ml/h left the unit, which nothing explains", -e.value)
	case i.High >= limit:
		doubt("the leak may be as much as %.3g ml/h and the limit is %g", i.High, limit)
	}
	if len(h.Reasons) == 0 {
		h.Verdict = Pass
		if vacuum {
			h.Reasons = []string{fmt.Sprintf("at most %.2g ml/h at %.2f bar of vacuum%s; it shows that the joints are seated, and no more", max(i.High, 0), drive(mid)/1e5, a.atDepth(max(i.High, 0), drive(mid)))}
		}
	}
	return h
}

// atDepth says what the path of a leak under vacuum would pass at depth, were it
// to stay as it is: laminar, so in proportion to the pressure.
func (a *analysis) atDepth(mlPerH, vacuumPa float64) string {
	depth := a.run.Profile.RatedM()
	if depth <= 0 {
		depth = 10
	}
	return fmt.Sprintf(" (%.2g ml/h at %.4g m, if the path stayed as it is)", mlPerH*a.column.GaugePa(depth)/max(vacuumPa, 1e3), depth)
}

// asAsked says how a stage was not what the profile asks for, or nothing.
func (a *analysis) asAsked(st *apart, in *void) string {
	const enough = 0.7
	start, end := in.temp.at(st.dwell().start), in.temp.at(st.hold.end)
	switch st.kind {
	case profiles.KindVacuum:
		if drawn := a.v.roomPa - in.pressureAt(st.dwell().start+2*in.dt); drawn < enough*st.asked.VacuumPa {
			return fmt.Sprintf("only %.2f bar of vacuum were drawn, %.2f are asked for", drawn/1e5, st.asked.VacuumPa/1e5)
		}
	case profiles.KindPlunge:
		// It has cooled for as long as the ramp took before it is first looked at.
		if first := highest(&a.x.insideC, st.dwell().start-600, st.dwell().start+30); first-end < enough*st.asked.WarmerK {
			return fmt.Sprintf("the inside cooled by %.1f K only, the unit was to be %g K warmer than the water", first-end, st.asked.WarmerK)
		}
	case profiles.KindPowered:
		below := start
		if t := newTrack(&a.x.water, 900, "water"); t != nil {
			below = t.at(st.hold.end)
		}
		if end-below < enough*st.asked.WarmerK {
			return fmt.Sprintf("the inside was %.1f K warmer only, %g K are asked for", end-below, st.asked.WarmerK)
		}
	}
	return ""
}

// highest is the highest value of a series in a part.
func highest(s *series, from, to float64) float64 {
	lo, hi := between(s.t, from, to)
	top := math.Inf(-1)
	for i := lo; i < hi; i++ {
		top = max(top, float64(s.v[i]))
	}
	return top
}
