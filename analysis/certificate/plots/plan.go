package plots

import (
	"fmt"
	"image/color"

	"proofpot/analysis/certificate/drawing"
	"proofpot/analysis/certificate/units"
	"proofpot/profiles/plan"
)

// planSize is 24 cm × 11 cm.
var planSize = Size{Width: 680, Height: 312}

var (
	planStroke   = stroke(color.RGBA{0x1f, 0x2d, 0x3a, 0xff}, 1.4*pt)
	vacuumStroke = stroke(planStroke.Color, 1*pt, 3*pt, 2*pt)
	boundStroke  = stroke(rust, 0.8*pt, 5*pt, 3*pt)
	planWindow   = color.RGBA{0xc6, 0xdc, 0xeb, 0xff}
)

// Plan draws the chamber pressure that a plan foresees over time, with its measuring
// windows, the depth of each stage, what is drawn inside the unit, and the bench's limit.
func Plan(p *plan.Plan) (*Picture, error) {
	room := p.Bench.RoomPa
	end := p.Total.Minutes()
	per, unit := 1.0, "min"
	if end > 240 {
		per, unit = 60, "h"
	}
	peak, limit, lowest := (p.PeakPa-room)/1e5, (p.LimitPa-room)/1e5, 0.0
	top := 1.15*peak + 0.05
	near := limit > 0 && limit < 2*peak
	if near {
		top = max(top, 1.1*limit)
	}
	for _, l := range p.Legs {
		lowest = min(lowest, -l.VacuumPa/1e5)
	}
	if !usable(end) || !(end > 0) || !usable(top) {
		return nil, ErrNoData
	}
	f := newFigure(planSize, plain)
	y := scale{low: 1.15 * lowest, high: top}
	a := panel{f: f, left: f.leftRoom(y), right: f.Width - 14*pt, bottom: timeAxisHeight, top: f.Height - 16*pt, span: end, y: y}
	title := units.Clean(p.Profile.Name, 60) + ": planned chamber pressure; measuring windows shaded"
	f.write(style(9*pt, black, drawing.Middle, beside), f.Width/2, f.Height-7*pt, title)
	ticks := y.ticks(ticksIn(a))
	a.grid(ticks)
	for _, l := range p.Legs {
		if l.Hold > 0 {
			to := l.GaugePa / 1e5
			if l.VacuumPa > 0 {
				to = -l.VacuumPa / 1e5
			}
			f.box(planWindow, a.px((l.End() - l.Hold).Minutes()), a.py(0), a.px(l.End().Minutes()), a.py(to))
		}
	}
	var line []xy
	for _, c := range p.Curve() {
		line = append(line, xy{c.At.Minutes(), (c.Pa - room) / 1e5})
	}
	a.vacuums(p)
	a.pieces(planStroke, [][]xy{line})
	if near {
		a.level(boundStroke, limit)
		f.write(style(textSize, rust, drawing.Start, above), a.left+4*pt, a.py(limit)+1*pt, "limit of the bench, "+plain.Number(limit, 2)+" bar")
	}
	a.labelDepths(p)
	a.leftAxis(ticks, "chamber pressure, bar gauge")
	var marks []tick
	for _, t := range niceTicks(0, end/per, 10) {
		marks = append(marks, tick{t.at * per, t.label})
	}
	a.timeAxis(marks, "time, "+unit)
	words := fmt.Sprintf("It takes %s and goes to %s bar gauge.", plain.Length(p.Total), plain.Number(peak, 2))
	return f.picture("plan", title, words)
}

// vacuums draws what is drawn inside the unit, below the room's pressure.
func (p panel) vacuums(of *plan.Plan) {
	const words = "inside the unit"
	for _, l := range of.Legs {
		if l.VacuumPa <= 0 {
			continue
		}
		y := -l.VacuumPa / 1e5
		from, hold, to := l.Start.Minutes(), (l.End() - l.Hold).Minutes(), l.End().Minutes()
		p.pieces(vacuumStroke, [][]xy{{{from, 0}, {from + l.Ramp.Minutes(), y}, {to, y}, {to, 0}}})
		x, foot, look := p.px(hold)+4*pt, p.py(y)+2*pt, style(textSize, grey, drawing.Start, above)
		if width := p.f.textWidth(textSize, words) + 8*pt; width > p.px(to)-p.px(hold) { // beside its window
			if x = p.px(to) + 4*pt; x+width > p.right {
				x, look.anchor = p.px(from)-4*pt, drawing.End
			}
		}
		p.f.write(look, x, foot, words)
	}
}

// labelDepths writes the depth of each stage above its first leg, where nothing
// stands yet; before it where that is too short for it and the next goes up.
func (p panel) labelDepths(of *plan.Plan) {
	var taken []drawing.Box
	shown := -1
	for i, l := range of.Legs {
		if l.Stage == shown || l.GaugePa <= 0 {
			continue
		}
		shown = l.Stage
		text := fmt.Sprintf("%g m", l.DepthM)
		width := p.f.textWidth(textSize, text)
		x, y := p.px((l.Start + l.Ramp).Minutes()), p.py(l.GaugePa/1e5)+2*pt
		left := x + 4*pt
		up := i+1 < len(of.Legs) && of.Legs[i+1].GaugePa > l.GaugePa
		if up && width+8*pt > p.px(l.End().Minutes())-x {
			left = x - 4*pt - width
		}
		box := drawing.Box{Left: left, Right: left + width, Bottom: y, Top: y + textSize}
		free := left+width < p.right
		for _, b := range taken {
			free = free && !b.Overlaps(box, 0)
		}
		if free {
			taken = append(taken, box)
			p.f.write(style(textSize, grey, drawing.Start, above), left, y, text)
		}
	}
}
