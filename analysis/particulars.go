package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"proofpot/rig/setup"
)

// describe adds to a verdict what the certificate draws and prints beside it.
func (a *analysis) describe(r *Result) *Result {
	r.Stages = a.spans()
	r.Events = a.happened()
	r.Curves = a.curves()
	r.Conditions = a.conditions()
	st := a.deciding(r)
	r.Budget = a.budget(st)
	r.Explanations = a.explain(r, st)
	return r
}

// spans are the stages as they ran. The last one ends with the record.
func (a *analysis) spans() []StageSpan {
	list := make([]StageSpan, 0, len(a.x.spans))
	for _, v := range a.x.spans {
		end := v.end
		if math.IsNaN(end) {
			end = a.x.endS
		}
		list = append(list, StageSpan{Kind: v.kind, Index: v.index, Name: v.name, DepthM: v.depthM, TargetPa: v.targetPa,
			Start: a.x.at(v.start), End: a.x.at(end)})
	}
	return list
}

// mostEvents bounds the events of a result, and mostWords a text of theirs.
const (
	mostEvents = 200
	mostWords  = 300
)

// eventOrder says which events stay where there are too many.
var eventOrder = map[string]int{"step": 0, "wet": 1, "run": 2, "fault": 3, "gap": 4, "note": 5}

// happened lists what happened, in order of time.
func (a *analysis) happened() []Event {
	var list []Event
	add := func(t float64, kind, format string, args ...any) {
		list = append(list, Event{Time: a.x.at(t), Kind: kind, Text: fmt.Sprintf(format, args...)})
	}
	for _, e := range a.x.events {
		if before, after, ok := strings.Cut(e.Text, ": "); ok && e.Kind == "run" && (after == "" || strings.EqualFold(before, after)) {
			e.Text = before
		}
		e.Text = strings.TrimSpace(strings.TrimPrefix(e.Text, ": "))
		list = append(list, e)
	}
	for _, j := range a.steps {
		add(j.t0, "step", "the chamber's pressure fell at once by %s more than it should (%.0f times its uncertainty), at %.2f m", pascals(j.drop), j.z(), a.depth(j.pa))
	}
	if a.in != nil {
		for _, j := range a.in.steps() {
			add(j.t0, "step", "the pressure inside the unit rose at once by %s", pascals(j.drop))
		}
	}
	for _, w := range a.x.wets {
		switch {
		case !w.stays:
			add(w.t, "wet", "probe %s was wet for one reading and dry again", w.sensor)
		case math.IsNaN(w.lastDry):
			add(w.t, "wet", "probe %s was wet from its first reading on", w.sensor)
		default:
			add(w.t, "wet", "probe %s turned wet; last dry %.0f s before", w.sensor, w.t-w.lastDry)
		}
	}
	for _, g := range a.gaps {
		add(g.start, "gap", "no chamber pressure for %.0f s", g.end-g.start)
	}
	if a.s.spikes > 0 {
		for i, bad := range a.s.spike {
			if bad {
				add(a.s.t[i], "note", "spike: %s of the chamber's pressure off from those before and after, left out; this is the first", counted(a.s.spikes, "reading", "readings"))
				break
			}
		}
	}
	for i := range list {
		if t := []rune(list[i].Text); len(t) > mostWords {
			list[i].Text = string(t[:mostWords-1]) + "…"
		}
	}
	if len(list) > mostEvents {
		slices.SortStableFunc(list, func(p, q Event) int { return cmp.Compare(eventOrder[p.Kind], eventOrder[q.Kind]) })
		left := map[string]int{}
		for _, e := range list[mostEvents-1:] {
			left[e.Kind]++
		}
		var words []string
		for kind, n := range left {
			words = append(words, fmt.Sprintf("%d × %s", n, kind))
		}
		slices.Sort(words)
		list = append(list[:mostEvents-1], Event{Time: a.x.at(a.x.endS), Kind: "note", Text: "left out here, in the record: " + strings.Join(words, ", ")})
	}
	slices.SortStableFunc(list, func(p, q Event) int { return p.Time.Compare(q.Time) })
	return list
}

// conditions are the surroundings of the test; NaN where not measured.
func (a *analysis) conditions() Conditions {
	c := Conditions{RoomPa: mean(a.x.roomPa.v), RoomC: mean(a.x.roomC.v), PeakPa: math.NaN(), PeakDepthM: math.NaN(), SampleS: a.s.dt,
		ComplianceMLPerBar: math.NaN(), FreeGasML: math.NaN(), ZeroBeforePa: a.zero.before, ZeroAfterPa: a.zero.after}
	c.WaterMinC, c.WaterMaxC = extremes(a.x.water.v)
	c.GasMinC, c.GasMaxC = extremes(a.x.gas.v)
	for i, p := range a.s.p {
		if !a.s.spike[i] && !(p <= c.PeakPa) {
			c.PeakPa = p
		}
	}
	if !math.IsNaN(c.PeakPa) {
		c.PeakDepthM = a.depth(c.PeakPa)
	}
	var deepest *stage
	for _, st := range a.stages {
		if st.dwell().real() && st.meanPa > 0 && (deepest == nil || st.meanPa > deepest.meanPa) {
			deepest = st
		}
	}
	if deepest != nil {
		d := deepest.dwell()
		c.ComplianceMLPerBar = 1e5 * a.compliance((d.start+d.end)/2)
	}
	if a.run.Bench.Medium != setup.MediumGas {
		c.FreeGasML = a.v.gasML
	}
	return c
}

// compliance is the volume that leaves for each Pa that is lost, at a time, ml/Pa.
func (a *analysis) compliance(t float64) float64 {
	gone := 0.0
	if a.w != nil {
		gone = a.w.at(t)
	}
	return a.v.compliance(a.pressureAt(t), gone)
}

func mean(v []float32) float64 {
	sum := 0.0
	for _, x := range v {
		sum += float64(x)
	}
	return sum / float64(len(v)) // NaN of none
}

func extremes(v []float32) (low, high float64) {
	if len(v) == 0 {
		return math.NaN(), math.NaN()
	}
	return float64(slices.Min(v)), float64(slices.Max(v))
}

// deciding is the hold on which the verdict turns: the first that failed, else
// of those in doubt, or else of all, the one with the highest upper bound; nil
// where no hold was measured.
func (a *analysis) deciding(r *Result) *stage {
	var held []*stage
	for _, st := range a.stages {
		if st.hold.real() {
			held = append(held, st)
		}
	}
	var best *stage
	top, rank := math.Inf(-1), 0
	for i, h := range r.Verdict.Holds {
		if i >= len(held) || held[i].both == nil || h.LeakMLPerH == nil {
			continue
		}
		n := map[string]int{Pass: 1, Inconclusive: 2, Fail: 3}[h.Verdict]
		high := h.LeakMLPerH.High
		if n > rank || n == rank && n < 3 && high > top {
			best, rank, top = held[i], n, high
		}
	}
	return best
}

// budget is the uncertainty of the leak of a hold by its sources, largest first,
// each with what it rests on.
func (a *analysis) budget(st *stage) []Budget {
	if st == nil {
		return nil
	}
	list := slices.Clone(st.both.budget)
	gauge := (st.meanPa - a.v.roomPa) / 1e5
	for i := range list {
		b := &list[i]
		if b.Remarks != "" {
			continue
		}
		switch {
		case strings.HasPrefix(b.Source, "bench's own leak"):
			b.Remarks = fmt.Sprintf("%.3g ± %.2g ml/h/bar on the sheet, at %.2f bar gauge", a.v.blank*1e5, a.v.blankSD*1e5, gauge)
			if !a.v.blankGiven {
				b.Remarks = fmt.Sprintf("no blank on the sheet: %.2g ml/h/bar taken as its standard uncertainty, at %.2f bar gauge", a.v.blankSD*1e5, gauge)
			}
		case strings.HasPrefix(b.Source, "stiffness"):
			b.Remarks = fmt.Sprintf("%.3g ml/bar on the sheet, taken as good to ±10 %%", a.v.stiff*1e5)
		case strings.HasPrefix(b.Source, "gas volume"):
			b.Remarks = fmt.Sprintf("%.4g ml on the sheet, taken as good to ±10 %%; goes with the leak", a.v.gasML)
		case strings.HasPrefix(b.Source, "warming"):
			b.Remarks = "no thermometer; a slow change of unknown size allowed for"
			if a.base != nil {
				b.Remarks = fmt.Sprintf("temperature from: %s, slope known to %.2g K/h", a.base.from, a.base.u)
			}
		case b.Source == bySettling:
			b.Remarks = "no gas thermometer: fitted to the pressure"
			if a.s.gas != nil {
				b.Remarks = "from the gas thermometer"
			}
		case strings.HasPrefix(b.Source, "unit far"):
			b.Remarks = "it grows or shrinks by what the air inside tells only roughly"
		case strings.HasPrefix(b.Source, "creep"):
			b.Remarks = "allowed for by the unit's volume and the step in pressure"
		case strings.HasPrefix(b.Source, "drift"):
			b.Remarks = "errors that hang together in time, as a transducer's do"
		case strings.HasPrefix(b.Source, "free volume"):
			b.Remarks = fmt.Sprintf("%.4g ml on the sheet, taken as good to ±10 %%; goes with the leak", a.run.Unit.FreeVolumeML)
		case strings.HasPrefix(b.Source, "noise and drift of the inside"):
			b.Remarks = "readings of the sensor in the unit"
		case strings.HasPrefix(b.Source, "squeeze"):
			b.Remarks = "air's room as the pressure outside changes"
		case strings.HasPrefix(b.Source, "pressure of the vapour"):
			b.Remarks = "whether the sensor in the unit shows it or not"
		case strings.HasPrefix(b.Source, "chamber and inside"):
			b.Remarks = "more than chance: half the difference"
		case strings.HasPrefix(b.Source, "inside temperature"):
			if a.in != nil {
				b.Remarks = fmt.Sprintf("slope known to %.2g K/h", a.in.temp.u)
			}
		}
	}
	slices.SortStableFunc(list, func(p, q Budget) int { return cmp.Compare(q.MLPerH, p.MLPerH) })
	for i := range list {
		if list[i].MLPerH < negligible*list[0].MLPerH {
			return list[:i]
		}
	}
	return list
}

// negligible is the share of the largest source below which one is not listed:
// a dozen of them together change the sum by 3 in 1000.
const negligible = 0.02

// pascals writes a difference of pressure with two or three figures.
func pascals(pa float64) string {
	if math.Abs(pa) < 1000 {
		return fmt.Sprintf("%.0f Pa", pa)
	}
	return fmt.Sprintf("%.2f kPa", pa/1000)
}

func pascalsSigned(pa float64) string {
	if math.Abs(pa) < 0.5 {
		return "0 Pa"
	}
	if pa > 0 {
		return "+" + pascals(pa)
	}
	return pascals(pa)
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func lasting(s float64) string { return (time.Duration(math.Round(s)) * time.Second).String() }
