package plots

import (
	"fmt"
	"math"

	"proofpot/sensors/calibration"
)

// Residuals draws what a calibration leaves at each point over the pressure, with
// the sensor's accuracy class; falling points are crosses.
func Residuals(c *calibration.Calibration, size Size) (*Picture, error) {
	if err := size.check(); err != nil {
		return nil, err
	}
	low, high, span := -c.AccuracyPa, c.AccuracyPa, 0.0
	for _, p := range c.Points {
		if !usable(p.ResidualPa) || !usable(p.ReferencePa) {
			return nil, ErrNoData
		}
		low, high = min(low, p.ResidualPa), max(high, p.ResidualPa)
		span = max(span, p.ReferencePa/1e5*1.05)
	}
	if !(span > 0) || !(low <= high) {
		return nil, ErrNoData
	}
	f := newFigure(size, plain)
	y := around(low, high, 0.06, math.Max(1, (high-low)*0.1))
	p := panel{f: f, left: f.leftRoom(y), right: f.Width - 8*pt, bottom: timeAxisHeight, top: f.Height - 6*pt, span: span, y: y}
	ticks := y.ticks(ticksIn(p))
	p.grid(ticks)
	p.level(fittedStroke, 0)
	if c.AccuracyPa > 0 {
		p.level(secondStroke, c.AccuracyPa)
		p.level(secondStroke, -c.AccuracyPa)
	}
	for _, q := range c.Points {
		var glyph shape = dot
		if q.Falling {
			glyph = cross
		}
		f.mark(glyph, black, 3*pt, p.px(q.ReferencePa/1e5), p.py(q.ResidualPa))
	}
	p.leftAxis(ticks, "residual, Pa")
	p.timeAxis(niceTicks(0, span, 8), "pressure, bar absolute")
	return f.picture("residuals", "Residuals of the calibration of sensor "+c.Sensor,
		fmt.Sprintf("Reference less corrected reading at %d points, over the pressure; the largest is %.0f Pa.", len(c.Points), c.WorstPa))
}
