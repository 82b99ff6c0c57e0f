package certificate

import (
	"fmt"
	"math"
	"sort"
	"strings"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/certificate/plots"
	"proofpot/analysis/certificate/units"
	"proofpot/rig/setup"
)

// stageRow is one line of the table of results.
type stageRow struct {
	Stage, Name, Depth, Absolute, Gauge, Window, Leak, Detection, Moisture string
	Mark, Verdict                                                          string
	Reasons                                                                []string
}

// budgetRow is one source of uncertainty.
type budgetRow struct{ Source, Value, Remarks string }

// cause is one explanation considered.
type cause struct {
	Name, Standing string
	For, Against   []string
	Experiment     string
}

// eventRow is one event of the run.
type eventRow struct{ Time, Kind, Text string }

func duration(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// results prints the holds, and the conditions they were measured under.
func (p *page) results(run setup.Run, r *analysis.Result, u pen) {
	start := plots.Start(r)
	room := roomPa(run, r)
	holds, left := weightiest(r.Verdict.Holds)
	for _, h := range holds {
		row := u.newStageRow(h, targetPa(r.Stages, h), room, start)
		if f := r.Verdict.FirstFailure; f != nil && h.Verdict == analysis.Pass && h.Start.After(f.Time) {
			row.Reasons = append(row.Reasons, u.T("measured after it had begun to fail: it proves no depth"))
		}
		p.Stages = append(p.Stages, row)
	}
	if left > 0 {
		p.MoreStages = u.F("%d more holds stand in the record; none of them failed more clearly or has a higher upper bound than those listed.", left)
	}
	c := r.Conditions
	p.Readings = u.facts([]fact{
		{"Room", u.F("%s; temperature %s", u.absolute(roomPa(run, r)), u.measured(c.RoomC, 1, "°C"))},
		{"Water", u.between(c.WaterMinC, c.WaterMaxC)},
		{"Gas", u.between(c.GasMinC, c.GasMaxC)},
		{"Peak pressure", u.peak(c)},
		{"Zero at open vent", u.zero(c)},
		{"Sample interval", u.aboveZero(c.SampleS, 2, "s")},
		{"Compliance", u.aboveZero(c.ComplianceMLPerBar, units.Decimals(c.ComplianceMLPerBar), u.T("ml/bar at the deepest hold"))},
		{"Gas cushion", u.aboveZero(c.FreeGasML, 0, u.T("ml at room pressure, as used"))},
	})
}

// weightiest are the holds to list, in order of time, and how many are left out:
// those that did not pass first, then those with the highest upper bounds.
func weightiest(holds []analysis.Hold) (listed []analysis.Hold, left int) {
	if len(holds) <= mostHolds {
		return holds, 0
	}
	weight := func(h analysis.Hold) float64 {
		switch {
		case h.Verdict == analysis.Fail:
			return math.Inf(1)
		case h.Verdict != analysis.Pass, h.LeakMLPerH == nil, math.IsNaN(h.LeakMLPerH.High):
			return math.MaxFloat64
		default:
			return h.LeakMLPerH.High
		}
	}
	order := make([]int, len(holds))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(i, j int) bool { return weight(holds[order[i]]) > weight(holds[order[j]]) })
	order = order[:mostHolds]
	sort.Ints(order)
	for _, i := range order {
		listed = append(listed, holds[i])
	}
	return listed, len(holds) - mostHolds
}

func (u pen) peak(c analysis.Conditions) string {
	if !(c.PeakPa > 0) {
		return u.T(units.NotMeasured)
	}
	return u.F("%s, as deep as %s", u.absolute(c.PeakPa), u.DepthText(c.PeakDepthM))
}

// zero writes what the chamber's sensor read above the room at open vent.
func (u pen) zero(c analysis.Conditions) string {
	if !finite(c.ZeroBeforePa) || !finite(c.ZeroAfterPa) {
		return u.T(units.NotMeasured)
	}
	return u.F("%s before and %s after the run", u.measured(c.ZeroBeforePa, 0, "Pa"), u.measured(c.ZeroAfterPa, 0, "Pa"))
}

// absolute writes an absolute pressure, which is above zero where it is known.
func (u pen) absolute(pa float64) string {
	if !(pa > 0) || math.IsInf(pa, 0) {
		return u.T(units.NotMeasured)
	}
	return u.F("%s absolute", u.PressureText(pa))
}

// aboveZero writes a quantity that cannot be zero where it was measured.
func (u pen) aboveZero(v float64, decimals int, unit string) string {
	if !(v > 0) {
		return u.T(units.NotMeasured)
	}
	return u.measured(v, decimals, unit)
}

func (u pen) measured(v float64, decimals int, unit string) string {
	if !finite(v) {
		return u.T(units.NotMeasured)
	}
	return u.Number(v, decimals) + " " + unit
}

func (u pen) between(low, high float64) string {
	if !finite(low) || !finite(high) {
		return u.T(units.NotMeasured)
	}
	return u.F("%s to %s °C", u.Number(low, 1), u.Number(high, 1))
}

// roomPa is the pressure that gauge pressures count from; NaN where unknown.
func roomPa(run setup.Run, r *analysis.Result) float64 {
	switch {
	case r.Conditions.RoomPa > 0:
		return r.Conditions.RoomPa
	case run.Bench.RoomPa > 0:
		return run.Bench.RoomPa
	default:
		return math.NaN()
	}
}

// targetPa is the absolute pressure that a hold was meant to stand at; NaN
// where the record does not say.
func targetPa(stages []analysis.StageSpan, h analysis.Hold) float64 {
	for _, s := range stages {
		if s.Kind == "hold" && s.Index == h.Stage && !s.Start.After(h.End) && !s.End.Before(h.Start) && s.TargetPa > 0 {
			return s.TargetPa
		}
	}
	return math.NaN()
}

func (u pen) newStageRow(h analysis.Hold, target, room float64, start time.Time) stageRow {
	none := u.T(units.NotMeasured)
	row := stageRow{
		Stage: fmt.Sprint(h.Stage), Name: units.Clean(h.Name, mostName), Depth: u.DepthText(h.DepthM),
		Absolute: u.T("not stated"), Gauge: u.T("not stated"),
		Window: none, Leak: none, Detection: none, Moisture: none,
		Reasons: u.short(h.Reasons, 4),
	}
	if finite(target) {
		row.Absolute, row.Gauge = u.PressureText(target), u.PressureText(target-room)
	}
	row.Mark, row.Verdict = "doubt", u.T("inconclusive")
	switch h.Verdict {
	case analysis.Pass:
		row.Mark, row.Verdict = "pass", u.T("pass")
	case analysis.Fail:
		row.Mark, row.Verdict = "fail", u.T("fail")
	}
	if !h.Start.IsZero() && !h.End.IsZero() {
		row.Window = u.F("%s to %s", u.since(h.Start, start), u.since(h.End, start))
	}
	if q := h.LeakMLPerH; q != nil && finite(q.Estimate) {
		decimals := units.Decimals(q.Estimate, q.Low, q.High)
		row.Leak = u.Number(q.Estimate, decimals) + " (" + u.bounds(*q, decimals) + ")"
	}
	if d := h.DetectionLimitMLPerH; d != nil {
		row.Detection = u.SizedUp(*d)
	}
	if m := h.MoistureMGPerH; m != nil && finite(m.Estimate) {
		decimals := units.Decimals(m.Estimate, m.Low, m.High)
		row.Moisture = u.Number(m.Estimate, decimals) + " (" + u.bounds(*m, decimals) + ")"
	}
	return row
}

func (u pen) bounds(q analysis.Interval, decimals int) string {
	return u.F("%s to %s", u.Bound(q.Low, decimals, false), u.Bound(q.High, decimals, true))
}

// budget prints the sources of uncertainty and their root sum of squares.
// mostBudget is how many lines of the budget are printed; the others are small
// and stand in one line together.
const mostBudget = 6

func (u pen) budget(lines []analysis.Budget) (rows []budgetRow, combined string) {
	lines = append([]analysis.Budget(nil), lines...)
	sort.SliceStable(lines, func(i, j int) bool { return lines[i].MLPerH > lines[j].MLPerH })
	sum, rest := 0.0, 0.0
	for i, b := range lines {
		sum += b.MLPerH * b.MLPerH
		if i >= mostBudget && len(lines) > mostBudget+1 {
			rest += b.MLPerH * b.MLPerH
			continue
		}
		rows = append(rows, budgetRow{u.named(u.Say(b.Source)), u.SizedUp(b.MLPerH), told(u.Say(b.Remarks))})
	}
	if n := len(lines) - mostBudget; rest > 0 {
		rows = append(rows, budgetRow{u.F("%d smaller ones", n), u.SizedUp(math.Sqrt(rest)), u.T("together")})
	}
	return rows, u.SizedUp(math.Sqrt(sum))
}

func (u pen) causes(explanations []analysis.Explanation) []cause {
	var out []cause
	for i, e := range explanations {
		if i == mostList {
			break
		}
		c := cause{Name: told(u.stated(u.Say(e.Cause))), Standing: u.T("ruled out by the data"), Experiment: told(u.Say(e.Experiment)),
			For: u.short(e.For, 5), Against: u.short(e.Against, 5)}
		if e.Holds {
			c.Standing = u.T("the data leave it standing")
		}
		out = append(out, c)
	}
	return out
}

// settling says what would turn a doubt into an answer: the cheapest tests that
// the analysis names for the causes still standing, or what helps in general.
func (u pen) settling(r *analysis.Result) []string {
	var out []string
	for _, e := range r.Explanations {
		if e.Holds && strings.TrimSpace(e.Experiment) != "" {
			out = append(out, u.F("%s (tells whether it is: %s)", told(u.Say(e.Experiment)), u.stated(u.Say(e.Cause))))
		}
	}
	var open []string
	for _, h := range r.Verdict.Holds {
		if h.Verdict != analysis.Pass && h.Verdict != analysis.Fail {
			open = append(open, fmt.Sprint(h.Stage))
		}
	}
	if len(open) > 0 {
		out = append(out, u.F("Repeat what was left open (stage %s) in a whole new test of the same closure, with a longer measuring window and no gap in the readings.", strings.Join(open, ", ")))
	}
	if len(out) == 0 {
		out = []string{u.T("Repeat the test with longer measuring windows, a blank run of the bench, and a sensor inside the unit.")}
	}
	return u.first(out, mostList)
}

// eventRank puts what bears on the verdict before what does not.
var eventRank = map[string]int{"step": 0, "wet": 0, "fault": 1, "gap": 1, "run": 2, "note": 3}

// runsOf joins events of one kind and text that follow one another, as a silent
// sensor makes them, to one that says how often and until when.
func (u pen) runsOf(all []analysis.Event) (list []analysis.Event) {
	for i := 0; i < len(all); {
		e, n := all[i], 1
		for i+n < len(all) && all[i+n].Kind == e.Kind && all[i+n].Text == e.Text {
			n++
		}
		if n > 1 {
			e.Text = u.F("%s (%d times, the last at %s)", u.Say(e.Text), n, u.UTCClock(all[i+n-1].Time))
		}
		list = append(list, e)
		i += n
	}
	return list
}

// events lists the events that matter most, in order of time, and counts the rest.
func (u pen) events(r *analysis.Result, start time.Time) (rows []eventRow, more string) {
	list := u.runsOf(r.Events)
	rank := func(e analysis.Event) int {
		if n, known := eventRank[e.Kind]; known {
			return n
		}
		return 3
	}
	if len(list) > mostEvents {
		sort.SliceStable(list, func(i, j int) bool { return rank(list[i]) < rank(list[j]) })
		left := map[string]int{}
		for _, e := range list[mostEvents:] {
			left[units.Clean(e.Kind, 20)]++
		}
		var kinds []string
		for kind, n := range left {
			kinds = append(kinds, fmt.Sprintf("%d × %s", n, u.T(u.stated(kind))))
		}
		sort.Strings(kinds)
		more = u.F("%d more events stand in the record: %s.", len(list)-mostEvents, strings.Join(kinds[:min(len(kinds), 6)], ", "))
		list = list[:mostEvents]
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].Time.Before(list[j].Time) })
	for _, e := range list {
		rows = append(rows, eventRow{u.since(e.Time, start), u.T(u.named(e.Kind)), units.Clean(u.Say(e.Text), 160)})
	}
	return rows, more
}

// integrity says whether the record is whole.
func (p *page) integrity(i analysis.Integrity, u pen) {
	chain := "not chained: a later change of the record would not be noticed"
	switch {
	case i.Chained && i.Intact:
		chain = "chained and intact"
	case !i.Chained && !i.Intact:
		chain = "damaged, and not chained: neither damage nor a later change can be placed"
	case i.Chained:
		chain = "chain broken: the record was changed or damaged after it was written"
	}
	p.Whole = []fact{{"Record", u.T(chain)}, {"Lines read", fmt.Sprint(i.Lines)}}
	if len(i.Gaps) == 0 {
		p.Whole = append(p.Whole, fact{"Gaps", u.T("none found in the readings")})
	}
	p.Whole = u.facts(p.Whole)
	p.Gaps = u.short(i.Gaps, mostList)
}
