package plots

import (
	"math"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/certificate/units"
)

// MomentSpan is how much of the record the picture of a failure shows: as much
// before the moment as after it, 1 min to 30 min, and twice what the moment is
// uncertain by.
func MomentSpan(f *analysis.FirstFailure) (from, to time.Time) {
	half := 2 * f.TimeHigh.Sub(f.TimeLow)
	half = min(max(half, time.Minute), 30*time.Minute)
	return f.Time.Add(-half), f.Time.Add(half)
}

// Moment draws the readings round the moment at which a unit began to fail, as
// they were read: the pressure of the chamber, and that inside the unit where it
// was measured.
func Moment(f *analysis.FirstFailure, chamber, inside []analysis.Point, u units.System, size Size) (*Picture, error) {
	u, err := u.Check()
	if err != nil {
		return nil, err
	}
	if err := size.check(); err != nil {
		return nil, err
	}
	if f == nil || f.Time.IsZero() {
		return nil, ErrNoData
	}
	from, to := MomentSpan(f)
	line := timeline{start: from, span: to.Sub(from).Seconds()}
	small, perPa := "mbar", 1e-2
	if u.Pressure != units.Bar {
		small, perPa = string(u.Pressure), u.PressureValue(1)
	}
	type row struct {
		points []xy
		scale  scale
		title  string
	}
	var rows []row
	add := func(curve []analysis.Point, title string, unit float64, least float64) {
		points := line.points(curve, func(pa float64) float64 { return pa * unit })
		if low, high, ok := extent(points); ok && len(points) > 1 {
			rows = append(rows, row{points, around(low, high, 0.08, least*unit), title})
		}
	}
	add(chamber, u.F("chamber, %s", u.Pressure), u.PressureValue(1), 100)
	add(inside, u.F("inside, %s", small), perPa, 20)
	if len(rows) == 0 {
		return nil, ErrNoData
	}
	fig := newFigure(size, u)
	scales := make([]scale, len(rows))
	for i := range rows {
		scales[i] = rows[i].scale
	}
	left, right := fig.leftRoom(scales...), fig.Width-8*pt
	top := fig.Height - fig.key(left, fig.Width-2*pt, fig.Height, failureKey) - 2*pt
	const gap = 5 * pt
	height := (top - timeAxisHeight - gap*float64(len(rows)-1)) / float64(len(rows))
	var last panel
	for _, r := range rows {
		last = panel{f: fig, left: left, right: right, bottom: top - height, top: top, span: line.span, y: r.scale}
		ticks := last.y.ticks(ticksIn(last))
		last.shadeFailure(line, f)
		last.grid(ticks)
		last.curve(readStroke, r.points)
		last.markFailure(line, f)
		last.leftAxis(ticks, r.title)
		top -= height + gap
	}
	half := line.span / 2
	unit, per := "s", 1.0
	if half > 300 {
		unit, per = "min", 60
	}
	var ticks []tick
	for _, t := range niceTicks(-half/per, half/per, max(2, int((right-left)/(40*pt)))) {
		ticks = append(ticks, tick{t.at*per + half, t.label})
	}
	last.timeAxis(ticks, u.F("%s from the moment it began to fail", unit))
	words := u.F("Readings from %s to %s.", u.UTCClock(from), u.UTCClock(to))
	if n := len(rows[0].points); n > 1 {
		words += " " + u.F("The first curve goes from %s to %s.", u.Number(rows[0].points[0].y, 3), u.Number(rows[0].points[n-1].y, 3))
	}
	return fig.picture("moment", "Readings round the moment at which the unit began to fail", words)
}

// Thin keeps at most n points of a curve: of each stretch its lowest and highest.
func Thin(curve []analysis.Point, n int) []analysis.Point {
	if len(curve) <= n || n < 4 {
		return curve
	}
	stretch := int(math.Ceil(float64(2*len(curve)) / float64(n)))
	var out []analysis.Point
	for i := 0; i < len(curve); i += stretch {
		part := curve[i:min(i+stretch, len(curve))]
		low, high := 0, 0
		for j := range part {
			if part[j].Value < part[low].Value {
				low = j
			}
			if part[j].Value > part[high].Value {
				high = j
			}
		}
		out = append(out, part[min(low, high)])
		if low != high {
			out = append(out, part[max(low, high)])
		}
	}
	return out
}
