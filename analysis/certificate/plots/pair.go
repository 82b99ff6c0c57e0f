package plots

import (
	"proofpot/analysis"
	"proofpot/analysis/certificate/units"
)

// Pair draws two tests over the time since each began: the pressure of the
// chamber, and what it was less than a tight unit would have shown, where a leak
// falls away.
func Pair(a, b *analysis.Result, u units.System, size Size) (*Picture, error) {
	u, err := u.Check()
	if err != nil {
		return nil, err
	}
	if err := size.check(); err != nil {
		return nil, err
	}
	small, perPa := u.SmallPressure()
	span := 0.0
	lines := [2]timeline{}
	for i, r := range []*analysis.Result{a, b} {
		line, ok := newTimeline(r)
		if !ok {
			return nil, ErrNoData
		}
		lines[i] = line
		span = max(span, line.span)
	}
	var pressure, excess [2][]xy
	for i, r := range []*analysis.Result{a, b} {
		lines[i].span = span
		pressure[i] = lines[i].points(r.Curves.ChamberPa, u.PressureValue)
		excess[i] = difference(r.Curves.ChamberPa, r.Curves.ChamberFittedPa, lines[i], perPa)
	}
	f := newFigure(size, u)
	low, high, ok := extent(pressure[:]...)
	if !ok {
		return nil, ErrNoData
	}
	scales := []scale{around(low, high, 0.04, u.PressureValue(2e3))}
	below, above, both := extent(excess[:]...)
	if both {
		scales = append(scales, around(min(below, 0), max(above, 0), 0.06, 100*perPa))
	}
	left, right := f.leftRoom(scales...), f.Width-8*pt
	entries := []keyEntry{{label: "1: " + units.Clean(a.Verdict.Record, 40), stroke: readStroke}, {label: "2: " + units.Clean(b.Verdict.Record, 40), stroke: secondStroke}}
	top := f.Height - f.key(left, f.Width-2*pt, f.Height, entries) - 2*pt
	height := (top - timeAxisHeight) / float64(len(scales))
	var last panel
	for i, y := range scales {
		last = panel{f: f, left: left, right: right, bottom: top - height + 3*pt, top: top, span: span, y: y}
		ticks := y.ticks(ticksIn(last))
		last.grid(ticks)
		if i == 0 {
			last.curve(readStroke, pressure[0])
			last.curve(secondStroke, pressure[1])
			last.leftAxis(ticks, u.F("pressure, %s", u.Pressure))
		} else {
			last.level(fittedStroke, 0)
			last.pieces(readStroke, betweenRamps(excess[0], lines[0], a.Stages))
			last.pieces(secondStroke, betweenRamps(excess[1], lines[1], b.Stages))
			last.leftAxis(ticks, "Δ, "+small)
		}
		top -= height
	}
	last.timeAxis(timeTicks(span, int((right-left)/(42*pt))), "time since each began, h:mm")
	return f.picture("pair", "Two tests over the time since each began", "Pressure of the chamber, and its difference from that of a tight unit.")
}
