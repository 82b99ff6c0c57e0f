package plots

import (
	"fmt"
	"image/color"
	"math"
	"slices"
	"sort"

	"proofpot/analysis"
	"proofpot/analysis/certificate/drawing"
	"proofpot/analysis/certificate/units"
)

// shadeStages marks settling and measuring windows over the whole height.
func (p panel) shadeStages(l timeline, stages []analysis.StageSpan) {
	for _, s := range stages {
		switch s.Kind {
		case "hold":
			p.shade(window, l.clamp(s.Start), l.clamp(s.End))
		case "settle":
			p.shade(settle, l.clamp(s.Start), l.clamp(s.End))
		}
	}
	for _, s := range stages {
		if s.Kind == "hold" && l.clamp(s.End) > l.clamp(s.Start) {
			p.upright(gridStroke, l.clamp(s.Start))
			p.upright(gridStroke, l.clamp(s.End))
		}
	}
}

var stageKey = []keyEntry{{label: "settling", shade: settle}, {label: "measuring window", shade: window}}

// labelStages writes above a panel which stage each measuring window belongs
// to: its name with its depth, its depth, or its number, whichever all of them
// have room for; what still does not fit is left out.
func (p panel) labelStages(l timeline, stages []analysis.StageSpan, u units.System, y float64) {
	type label struct {
		x     float64
		forms [3]string
	}
	var labels []label
	for _, s := range stages {
		from, to := l.clamp(s.Start), l.clamp(s.End)
		if s.Kind != "hold" || to <= from {
			continue
		}
		depth := u.DepthText(s.DepthM)
		name := units.Clean(s.Name, 24)
		if name == "" {
			name = u.F("stage %d", s.Index)
		}
		labels = append(labels, label{p.px((from + to) / 2), [3]string{name + ", " + depth, depth, fmt.Sprint(s.Index)}})
	}
	place := func(form int) (fits bool, draws func()) {
		fits = true
		var texts []func()
		end := p.left - 20*pt
		for _, one := range labels {
			text := one.forms[form]
			width := p.f.textWidth(tickSize, text)
			x := max(min(one.x, p.f.Width-width/2-1*pt), width/2+1*pt)
			if x-width/2 < end+4*pt {
				fits = false
				continue
			}
			end = x + width/2
			texts = append(texts, func() {
				p.f.write(style(tickSize, grey, drawing.Middle, beside), x, y, text)
			})
		}
		return fits, func() {
			for _, t := range texts {
				t()
			}
		}
	}
	for form := range 3 {
		if fits, draws := place(form); fits || form == 2 {
			draws()
			return
		}
	}
}

// eventLook is how the events of one kind are drawn.
type eventLook struct {
	kind  string
	plain string
	glyph shape
	tone  color.RGBA
	line  bool // whether a line runs down through the picture
}

// eventLooks are in the order in which they bear on the verdict.
var eventLooks = []eventLook{
	{"step", "sudden step", pyramid, black, true},
	{"wet", "wet probe", dot, blue, true},
	{"fault", "fault", heavyCross, black, true},
	{"run", "run event", block, black, false},
	{"note", "note", plus, grey, false},
}

// rankOf is the place of a kind in eventLooks; a kind that is not known ranks
// and looks like a note.
func rankOf(kind string) int {
	for i, look := range eventLooks {
		if look.kind == kind {
			return i
		}
	}
	return len(eventLooks) - 1
}

func eventKey(events []analysis.Event) []keyEntry {
	present := map[string]bool{}
	for _, e := range events {
		present[eventLooks[rankOf(e.Kind)].kind] = true
	}
	var entries []keyEntry
	for _, look := range eventLooks {
		if present[look.kind] {
			entries = append(entries, keyEntry{label: look.plain, glyph: look.glyph, tone: look.tone})
		}
	}
	return entries
}

// markEvents puts a mark above the panel for each event, those that bear most on
// the verdict first, and leaves out marks that would stand on one another. Where
// they are few, a dotted line runs down from what bears on the verdict.
func (p panel) markEvents(l timeline, events []analysis.Event, y float64) {
	const apart, fewLines = 4.5 * pt, 25
	sorted := append([]analysis.Event(nil), events...)
	sort.SliceStable(sorted, func(i, j int) bool { return rankOf(sorted[i].Kind) < rankOf(sorted[j].Kind) })
	var taken []float64
	var lines []float64
	for _, e := range sorted {
		at := l.seconds(e.Time)
		if e.Time.IsZero() || at < -1 || at > l.span+1 {
			continue
		}
		look, x := eventLooks[rankOf(e.Kind)], p.px(l.clamp(e.Time))
		if look.line {
			lines = append(lines, l.clamp(e.Time))
		}
		if slices.ContainsFunc(taken, func(t float64) bool { return math.Abs((t - x)) < (apart) }) {
			continue
		}
		taken = append(taken, x)
		p.f.mark(look.glyph, look.tone, 2.3*pt, x, y)
	}
	if len(lines) <= fewLines {
		for _, x := range lines {
			p.upright(eventStroke, x)
		}
	}
}

// shadeFailure shades the time within which the unit began to fail.
func (p panel) shadeFailure(l timeline, f *analysis.FirstFailure) {
	if f == nil || f.TimeLow.IsZero() || f.TimeHigh.IsZero() {
		return
	}
	from, to := l.clamp(f.TimeLow), l.clamp(f.TimeHigh)
	p.shade(straw, from, to)
}

// markFailure draws the moment the unit began to fail over its interval.
func (p panel) markFailure(l timeline, f *analysis.FirstFailure) {
	if f == nil {
		return
	}
	for _, t := range []float64{l.clamp(f.TimeLow), l.clamp(f.TimeHigh)} {
		if !f.TimeLow.IsZero() && !f.TimeHigh.IsZero() {
			p.upright(edgeStroke, t)
		}
	}
	if !f.Time.IsZero() {
		p.upright(failStroke, l.clamp(f.Time))
	}
}

// labelFailure writes when and where the unit began to fail beside its line, at
// the foot of the panel, on the side with more room.
func (p panel) labelFailure(l timeline, f *analysis.FirstFailure, u units.System) {
	if f == nil || f.Time.IsZero() {
		return
	}
	rows := []string{u.T("began to fail"), units.Elapsed(f.Time.Sub(l.start)) + ", " + u.DepthText(f.DepthM)}
	width := 0.0
	for _, row := range rows {
		width = (math.Max((width), p.f.textWidth(textSize, row)))
	}
	x := p.px(l.clamp(f.Time))
	left := x + 4*pt
	if left+width+4*pt > p.right {
		left = x - 8*pt - width
	}
	bottom := p.bottom + 3*pt
	p.f.box(paper, left-2*pt, bottom-1*pt, left+width+2*pt, bottom+2*lineStep-1*pt)
	for i, row := range rows {
		p.f.write(style(textSize, black, drawing.Start, above), left, bottom+float64(len(rows)-1-i)*(lineStep-1*pt), row)
	}
}

var failureKey = []keyEntry{{label: "began to fail (95 %)", stroke: failStroke}}

// betweenRamps splits a curve that is known in the holds alone wherever a whole
// ramp lies between two of its points, and at gaps.
func betweenRamps(points []xy, l timeline, stages []analysis.StageSpan) [][]xy {
	var ramps []xy // from x to y, in order
	for _, s := range stages {
		if s.Kind == "ramp" || s.Kind == "vent" {
			ramps = append(ramps, xy{l.seconds(s.Start), l.seconds(s.End)})
		}
	}
	var all [][]xy
	for _, piece := range pieces(points, l.span) {
		from, next := 0, 0
		for i := 1; i < len(piece); i++ {
			for next < len(ramps) && ramps[next].x < piece[i-1].x {
				next++
			}
			if next < len(ramps) && ramps[next].y <= piece[i].x {
				all = append(all, piece[from:i])
				from = i
			}
		}
		all = append(all, piece[from:])
	}
	return all
}
