package plots

import (
	"fmt"
	"image/color"
	"math"

	"proofpot/analysis"
	"proofpot/analysis/certificate/drawing"
	"proofpot/analysis/certificate/units"
	"proofpot/rig/setup"
)

// leastLimit is the smallest limit of acceptance that is drawn, ml/h: far below
// what any bench detects.
const leastLimit = 1e-6

// Leak draws the leak rate of each hold with its 95 % bounds, the limit of
// acceptance, and the least leak that each hold could have detected. Where the
// rates differ by orders of magnitude the scale turns logarithmic.
func Leak(run setup.Run, r *analysis.Result, u units.System, size Size) (*Picture, error) {
	u, err := u.Check()
	if err != nil {
		return nil, err
	}
	if err := size.check(); err != nil {
		return nil, err
	}
	holds := r.Verdict.Holds
	limit := run.Profile.Accept.LeakMLPerH
	if !usable(limit) || limit < leastLimit {
		limit = 0 // not judged
	}
	low, high, measured := leakExtent(holds, limit)
	if !measured {
		return nil, ErrNoData
	}

	f := newFigure(size, u)
	rates := leakScale(low, high, limit)
	left, right := f.leftRoom(rates), f.Width-4*pt
	entries := leakKey(holds, limit, u)
	top := f.Height - f.key(left, f.Width-2*pt, f.Height, entries) - 3*pt
	p := panel{f: f, left: left, right: right, bottom: 3*lineStep - 1*pt, top: top,
		span: float64(len(holds)), y: rates}
	ticks := p.y.ticks(ticksIn(p))
	p.grid(ticks)
	p.level(stroke(grey, 0.6*pt), 0)
	if limit > 0 {
		p.level(limitStroke, limit)
	}
	for i, h := range holds {
		p.hold(i, h)
	}
	p.labelHolds(holds, u)
	title := "leak, ml/h"
	if p.y.bend > 0 {
		title = "leak, ml/h (log beyond limit)"
	}
	p.leftAxis(ticks, title)
	f.write(style(textSize, black, drawing.Middle, above), (left+right)/2, 1*pt, u.T("hold and its depth-equivalent"))
	return f.picture("leak", "Leak rate of each hold with its 95 % bounds", leakWords(holds, limit, u))
}

func leakExtent(holds []analysis.Hold, limit float64) (low, high float64, measured bool) {
	high = math.Max(0, limit)
	for _, h := range holds {
		if h.LeakMLPerH != nil {
			for _, v := range []float64{h.LeakMLPerH.Low, h.LeakMLPerH.Estimate, h.LeakMLPerH.High} {
				if usable(v) {
					low, high, measured = math.Min(low, v), math.Max(high, v), true
				}
			}
		}
		if d := h.DetectionLimitMLPerH; d != nil && usable(*d) {
			high, measured = math.Max(high, *d), true
		}
	}
	return low, high, measured
}

// leakScale bends where the largest value is beyond eight times the limit.
func leakScale(low, high, limit float64) scale {
	if limit > 0 && math.Max(high, -low) > 8*limit {
		return scale{low: math.Min(1.6*low, -limit), high: 1.6 * high, bend: limit}
	}
	return around(low, high, 0.07, 1e-3)
}

func verdictLook(verdict string) (string, shape, color.RGBA) {
	switch verdict {
	case analysis.Pass:
		return "pass", dot, blue
	case analysis.Fail:
		return "fail", heavyCross, rust
	default:
		return "inconclusive", triangle, black
	}
}

func leakKey(holds []analysis.Hold, limit float64, u units.System) []keyEntry {
	var entries []keyEntry
	seen := map[string]bool{}
	detection := false
	for _, h := range holds {
		name, glyph, tone := verdictLook(h.Verdict)
		if !seen[name] {
			seen[name] = true
			entries = append(entries, keyEntry{label: name, glyph: glyph, tone: tone})
		}
		detection = detection || h.DetectionLimitMLPerH != nil
	}
	entries = append(entries, keyEntry{label: "95 % bounds", stroke: readStroke})
	if limit > 0 {
		entries = append(entries, keyEntry{label: u.F("limit %s", u.Sized(limit)), stroke: limitStroke})
	}
	if detection {
		entries = append(entries, keyEntry{label: "detection limit", stroke: detectStroke})
	}
	return entries
}

// hold draws one hold in its slot.
func (p panel) hold(i int, h analysis.Hold) {
	x := p.px(float64(i) + 0.5)
	half := (math.Min((p.right-p.left)/p.span*0.36, 14))
	if d := h.DetectionLimitMLPerH; d != nil && usable(*d) {
		p.f.line(detectStroke, x-half, p.py(*d), x+half, p.py(*d))
	}
	if h.LeakMLPerH == nil || !usable(h.LeakMLPerH.Estimate) {
		look := style(tickSize, grey, drawing.Start, beside)
		look.up = true
		p.f.write(look, x, p.bottom+4*pt, p.f.u.T(units.NotMeasured))
		return
	}
	q := h.LeakMLPerH
	if usable(q.Low) && usable(q.High) {
		p.f.line(readStroke, x, p.py(q.Low), x, p.py(q.High))
		cap := half / 2
		p.f.line(readStroke, x-cap, p.py(q.Low), x+cap, p.py(q.Low))
		p.f.line(readStroke, x-cap, p.py(q.High), x+cap, p.py(q.High))
	}
	_, glyph, tone := verdictLook(h.Verdict)
	p.f.mark(glyph, tone, 2.8*pt, x, p.py(q.Estimate))
}

// labelHolds names the slots below the panel; where there are too many, every
// so many of them.
func (p panel) labelHolds(holds []analysis.Hold, u units.System) {
	slot := (p.right - p.left) / float64(len(holds))
	widest := 0.0
	for _, h := range holds {
		widest = max(widest, p.f.textWidth(tickSize, u.DepthText(h.DepthM)))
	}
	every := max(1, int(math.Ceil(float64((widest+3*pt)/slot))))
	room := slot*float64(every) - 3*pt
	end := 0.0
	for i := 0; i < len(holds); i += every {
		h, x := holds[i], p.px(float64(i)+0.5)
		name := units.Clean(h.Name, 24)
		if name == "" || p.f.textWidth(tickSize, name) > room {
			name = fmt.Sprint(h.Stage)
		}
		look := style(tickSize, black, drawing.Middle, below)
		half := max(p.f.textWidth(tickSize, name), p.f.textWidth(tickSize, u.DepthText(h.DepthM))) / 2
		x = min(x, p.f.Width-half-1*pt)
		if x-half < end+2*pt {
			continue
		}
		end = x + half
		for row, text := range []string{name, u.DepthText(h.DepthM)} {
			p.f.write(look, x, p.bottom-3*pt-float64(row)*8*pt, text)
		}
	}
}

// leakWords says in words what the picture of the leak rates shows.
func leakWords(holds []analysis.Hold, limit float64, u units.System) string {
	words := ""
	if limit > 0 {
		words = u.F("Limit of acceptance %s ml/h.", u.Sized(limit))
	}
	for i, h := range holds {
		if i == 20 {
			return words + " " + u.F("And %d more holds.", len(holds)-i)
		}
		words += " " + u.F("Stage %d, %s", h.Stage, u.DepthText(h.DepthM)) + ": "
		if h.LeakMLPerH == nil {
			words += u.T(units.NotMeasured) + "."
			continue
		}
		words += u.F("%s ml/h (%s to %s).", u.Sized(h.LeakMLPerH.Estimate),
			u.Sized(h.LeakMLPerH.Low), u.Sized(h.LeakMLPerH.High))
	}
	return words
}
