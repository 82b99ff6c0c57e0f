package plots

import (
	"fmt"
	"math"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/certificate/units"
)

// LeakPoint is the estimate of a leak at a moment.
type LeakPoint struct {
	Time time.Time
	Leak analysis.Interval
}

// LeakTrace draws how the estimate of a leak settled while a test went on: the
// band of its 95 % bounds, the estimate in it, and the limit of acceptance (ml/h;
// 0: none). The scale is that of the limit: what lies far beyond is cut off.
func LeakTrace(r *analysis.Result, leaks []LeakPoint, limit float64, u units.System, size Size) (*Picture, error) {
	if err := size.check(); err != nil {
		return nil, err
	}
	line, ok := newTimeline(r)
	if !ok || len(leaks) == 0 {
		return nil, ErrNoData
	}
	most := 4 * limit
	last := leaks[len(leaks)-1].Leak
	if most <= 0 || math.Abs(last.Estimate) > most {
		most = math.Max(most, 3*math.Max(math.Abs(last.Low), math.Abs(last.High)))
	}
	if !usable(most) || most <= 0 {
		return nil, ErrNoData
	}
	cut := func(v float64) float64 { return math.Max(-most/2, math.Min(most, v)) }
	f := newFigure(size, u)
	y := scale{low: -most / 2, high: most}
	left, right := f.leftRoom(y), f.Width-8*pt
	entries := []keyEntry{{label: "estimate", stroke: readStroke}, {label: "95 % bounds", shade: straw}}
	if limit > 0 {
		entries = append(entries, keyEntry{label: u.F("limit %s", u.Sized(limit)), stroke: limitStroke})
	}
	top := f.Height - f.key(left, f.Width-2*pt, f.Height, entries) - 2*pt
	p := panel{f: f, left: left, right: right, bottom: timeAxisHeight, top: top, span: line.span, y: y}
	ticks := y.ticks(ticksIn(p))
	p.shadeStages(line, r.Stages)
	var estimate []xy
	for i, q := range leaks {
		x := line.seconds(q.Time)
		if !usable(q.Leak.Estimate) || x < 0 || x > line.span {
			continue
		}
		estimate = append(estimate, xy{x, cut(q.Leak.Estimate)})
		if i+1 < len(leaks) {
			if to := line.seconds(leaks[i+1].Time); to-x < gapOver(line.span/float64(len(leaks)), line.span) {
				f.box(straw, p.px(x), p.py(cut(q.Leak.Low)), p.px(math.Min(to, line.span)), p.py(cut(q.Leak.High)))
			}
		}
	}
	p.grid(ticks)
	p.level(stroke(grey, 0.6*pt), 0)
	if limit > 0 {
		p.level(limitStroke, limit)
	}
	p.curve(readStroke, estimate)
	p.leftAxis(ticks, "leak, ml/h")
	p.timeAxis(timeTicks(line.span, int((right-left)/(42*pt))), line.axisTitle(u))
	words := fmt.Sprintf("At the end %s ml/h, between %s and %s.", u.Number(last.Estimate, 2), u.Number(last.Low, 2), u.Number(last.High, 2))
	drawn, err := f.picture("trace", "Leak as it was estimated over time", words)
	return drawn.along(p.over(line), err)
}
