package plots

import (
	"fmt"
	"image/color"
	"math"

	"proofpot/analysis"
	"proofpot/analysis/certificate/drawing"
	"proofpot/analysis/statistics"
)

// modeMarks tell the modes of failure apart by shape.
var modeMarks = []struct {
	mode  string
	glyph shape
	tone  color.RGBA
}{
	{analysis.Seep, dot, blue},
	{analysis.Burst, cross, rust},
	{analysis.Collapse, block, rust},
	{analysis.Reseal, ring, blue},
	{analysis.Damp, triangle, blue},
}

// row is a line of a picture of variants: a bar between two depths.
type row struct {
	label string
	head  bool
	obs   *statistics.Observation
	ends  statistics.Limits
	point float64 // estimate, NaN for none
	bound float64 // lower bound, NaN for none
}

// measured names what a variant's units are compared by.
func measured(h statistics.History) string {
	if h.CyclesToM > 0 {
		return fmt.Sprintf("cycles to %g m", h.CyclesToM)
	}
	return "depth, m"
}

// what is measured's word for a title.
func what(all []statistics.History) string {
	if len(all) > 0 && all[0].CyclesToM > 0 {
		return "cycles"
	}
	return "depth"
}

// deepest gives a round end of the axis of depth.
func deepest(all []statistics.History) float64 {
	most := 1.0
	for _, h := range all {
		for _, o := range h.Observations {
			most = max(most, o.LowM)
			if o.Failed() {
				most = max(most, o.HighM)
			}
		}
	}
	return most * 1.15
}

// rowsOver draws rows of bars over depth.
func rowsOver(id, title, description, axis string, rows []row, span float64, entries []keyEntry) (*Picture, error) {
	if len(rows) == 0 {
		return nil, ErrNoData
	}
	const rowStep = 12 * pt
	height := 60 + float64(len(rows))*(rowStep/pt) + 2*(lineStep/pt)
	f := newFigure(Size{Wide.Width, min(height, 4900)}, plain)
	left := 60.0
	for _, r := range rows {
		left = max(left, f.textWidth(textSize, r.label)+12*pt)
	}
	left = min(left, f.Width/3)
	p := panel{f: f, left: left, right: f.Width - 10*pt, bottom: timeAxisHeight + 4*pt, span: span, y: scale{low: 0, high: float64(len(rows))}}
	p.top = f.Height - 6*pt - f.key(left, p.right, f.Height-2*pt, entries)
	ticks := niceTicks(0, span, 9)
	for _, t := range ticks {
		p.upright(gridStroke, t.at)
	}
	for i, r := range rows {
		y := p.py(float64(len(rows)-i) - 0.5)
		f.write(style(textSize, black, drawing.End, beside), left-5*pt, y, r.label)
		if r.head {
			continue
		}
		x0, x1 := p.px(min(max(0, r.ends.Low), span)), p.px(min(r.ends.High, span))
		f.line(readStroke, x0, y, x1, y)
		f.line(readStroke, x0, y-3*pt, x0, y+3*pt)
		if r.ends.High > span { // goes on: an arrow
			f.line(readStroke, x1-4*pt, y-2.5*pt, x1, y)
			f.line(readStroke, x1-4*pt, y+2.5*pt, x1, y)
		} else {
			f.line(readStroke, x1, y-3*pt, x1, y+3*pt)
		}
		if !math.IsNaN(r.bound) && r.bound <= span {
			f.mark(pyramid, rust, 3*pt, p.px(r.bound), y)
		}
		if !math.IsNaN(r.point) && r.point <= span {
			f.mark(block, black, 2.2*pt, p.px(r.point), y)
		}
		if r.obs != nil {
			for _, m := range modeMarks {
				if r.obs.Mode == m.mode {
					f.mark(m.glyph, m.tone, 2.5*pt, x1, y)
				}
			}
		}
	}
	f.outline(p.left, p.bottom, p.right, p.top)
	p.timeAxis(ticks, axis)
	return f.picture(id, title, description)
}

// Units draws what is known of each unit: the range of depth in which it first
// failed, marked by mode, or an arrow where it did not.
func Units(all []statistics.History) (*Picture, error) {
	var rows []row
	for _, h := range all {
		rows = append(rows, row{label: h.Variant + ":", head: true})
		for _, o := range h.Observations {
			rows = append(rows, row{label: o.Unit, obs: &o, ends: statistics.Limits{Low: o.LowM, High: o.HighM}, point: math.NaN(), bound: math.NaN()})
		}
	}
	var entries []keyEntry
	for _, m := range modeMarks {
		entries = append(entries, keyEntry{label: m.mode, glyph: m.glyph, tone: m.tone})
	}
	if len(all) == 0 {
		return nil, ErrNoData
	}
	from, description := "from the last tight hold; an arrow: did not fail", "For each unit the depths between which it first failed, with the mode; an arrow where it did not fail."
	if all[0].CyclesToM > 0 {
		from, description = "from the last cycle stood; an arrow: run-out", "For each unit the cycles between which it leaked, with the mode; an arrow where it did not."
	}
	entries = append(entries, keyEntry{label: from, stroke: readStroke})
	return rowsOver("units", "Units against "+what(all), description, measured(all[0]), rows, deepest(all), entries)
}

// Forest draws the median of each variant with its 95 % limits and the lower
// bound of B10; bounds has one for each history.
func Forest(all []statistics.History, bounds []statistics.Bound) (*Picture, error) {
	var rows []row
	for i, h := range all {
		if len(h.Observations) == 0 {
			continue
		}
		r := row{label: fmt.Sprintf("%s (%d)", h.Variant, len(h.Observations)), point: math.NaN(), bound: bounds[i].ValueM,
			ends: statistics.Limits{Low: bounds[i].ValueM, High: math.Inf(1)}}
		if fit := bounds[i].Fit; fit != nil {
			r.point, r.ends = fit.Quantile(0.5), fit.QuantileLimits(0.5, 0.95)
		}
		rows = append(rows, r)
	}
	if len(all) == 0 {
		return nil, ErrNoData
	}
	return rowsOver("forest", "Variants", "Median "+what(all)+" at the first failure of each variant with its 95 % limits, and the lower bound of B10.", measured(all[0]), rows, 1.25*deepest(all), []keyEntry{
		{label: "median", glyph: block, tone: black},
		{label: "95 % limits of the median (no square: scatter not seen, arrow from the lower bound)", stroke: readStroke},
		{label: "90 % of units stand this (lower 90 % bound)", glyph: pyramid, tone: rust}})
}

// Survival draws the share of units still tight over depth: Turnbull's estimate
// with the steps in which it is ambiguous shaded, the fit, and the lower bounds
// of its quantiles.
func Survival(h statistics.History, b statistics.Bound) (*Picture, error) {
	steps := statistics.Turnbull(h.Observations)
	if len(steps) == 0 {
		return nil, ErrNoData
	}
	span := deepest([]statistics.History{h})
	f := newFigure(Wide, plain)
	p := panel{f: f, left: 40 * pt, right: f.Width - 10*pt, bottom: timeAxisHeight + 4*pt, span: span, y: scale{low: 0, high: 1.05}}
	entries := []keyEntry{{label: "Turnbull's estimate", stroke: readStroke}, {label: "ambiguous within a step", shade: window}}
	if b.Fit != nil {
		entries = append(entries, keyEntry{label: b.Fit.Family.String() + " fit", stroke: fittedStroke}, keyEntry{label: "lower 90 % bound", stroke: secondStroke})
	}
	p.top = f.Height - 6*pt - f.key(p.left, p.right, f.Height-2*pt, entries)
	ticks, levels := niceTicks(0, span, 9), niceTicks(0, 1, 5)
	p.grid(levels)
	tight, from := 1.0, 0.0
	for _, s := range steps {
		end := min(s.HighM, span)
		f.line(readStroke, p.px(from), p.py(tight), p.px(min(s.LowM, span)), p.py(tight))
		if !math.IsInf(s.HighM, 1) {
			f.box(window, p.px(s.LowM), p.py(tight-s.Share), p.px(end), p.py(tight))
			f.outline(p.px(s.LowM), p.py(tight-s.Share), p.px(end), p.py(tight))
			tight -= s.Share
		}
		from = min(end, span)
		if math.IsInf(s.HighM, 1) {
			from = span // beyond the deepest nothing is known
		}
	}
	if b.Fit != nil {
		var fitted, bound []xy
		for i := range 200 {
			d := span * float64(i+1) / 200
			fitted = append(fitted, xy{d, 1 - b.Fit.ShareFailed(d)})
		}
		for _, share := range []float64{0.5, 0.4, 0.3, 0.2, 0.1, 0.05, 0.01} {
			bound = append([]xy{{b.Fit.QuantileLower(share, 0.9), 1 - share}}, bound...)
		}
		p.pieces(fittedStroke, [][]xy{fitted})
		p.pieces(secondStroke, [][]xy{bound})
	}
	p.leftAxis(levels, "share still tight")
	p.timeAxis(ticks, measured(h))
	return f.picture("survival", "Share still tight over "+what([]statistics.History{h})+": "+h.Variant, "Turnbull's estimate with its ambiguous steps shaded, the fitted distribution and the lower bounds of its quantiles.")
}

// Probability draws the fit as a straight line: depth on a logarithmic axis
// against the family's standard quantile, with the ends of Turnbull's steps.
func Probability(h statistics.History, b statistics.Bound) (*Picture, error) {
	if b.Fit == nil {
		return nil, ErrNoData
	}
	fit := b.Fit
	steps := statistics.Turnbull(h.Observations)
	shares := []float64{0.01, 0.05, 0.1, 0.2, 0.5, 0.8, 0.95}
	least, most := min(fit.QuantileLower(0.01, 0.9), fit.Quantile(0.01)), 1.15*max(deepest([]statistics.History{h}), fit.Quantile(0.95))
	if !(least > 0.05*most) {
		least = 0.05 * most
	}
	least /= 1.05
	f := newFigure(Wide, plain)
	p := panel{f: f, left: 46 * pt, right: f.Width - 10*pt, bottom: timeAxisHeight + 4*pt, span: math.Log(most / least),
		y: scale{low: fit.Family.Z(0.008), high: fit.Family.Z(0.97)}}
	p.top = f.Height - 6*pt - f.key(p.left, p.right, f.Height-2*pt, []keyEntry{
		{label: "step of Turnbull's estimate", stroke: readStroke}, {label: fit.Family.String() + " fit", stroke: fittedStroke}, {label: "lower 90 % bound", stroke: secondStroke}})
	var levels, ticks []tick
	for _, s := range shares {
		levels = append(levels, tick{fit.Family.Z(s), plain.Number(100*s, 0) + " %"})
	}
	for _, t := range niceTicks(least, most, 8) {
		if t.at > 0 {
			ticks = append(ticks, tick{math.Log(t.at / least), t.label})
		}
	}
	p.grid(levels)
	failed := 0.0
	for _, s := range steps {
		if math.IsInf(s.HighM, 1) {
			break
		}
		failed += s.Share
		if failed > 0.005 && failed < 0.999 && s.LowM > least {
			z := fit.Family.Z(failed)
			p.pieces(readStroke, [][]xy{{{math.Log(s.LowM / least), z}, {math.Log(s.HighM / least), z}}})
			f.mark(dot, black, 2*pt, p.px(math.Log(s.HighM/least)), p.py(z))
		}
	}
	var line, bound []xy
	for _, s := range []float64{0.01, 0.03, 0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.95} {
		line = append(line, xy{math.Log(fit.Quantile(s) / least), fit.Family.Z(s)})
		if s <= 0.5 {
			if low := fit.QuantileLower(s, 0.9); low > 0 {
				bound = append(bound, xy{math.Log(low / least), fit.Family.Z(s)})
			}
		}
	}
	p.pieces(fittedStroke, [][]xy{line})
	p.pieces(secondStroke, [][]xy{bound})
	p.leftAxis(levels, "share failed")
	p.timeAxis(ticks, measured(h)+" (logarithmic)")
	return f.picture("probability", "Probability plot: "+h.Variant, "The fit as a straight line, with the steps of Turnbull's estimate and the lower bounds.")
}
