package plots

import (
	"math"
	"sort"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/certificate/units"
	"proofpot/profiles"
	"proofpot/rig/setup"
)

// Pressure draws the chamber's pressure over time with its stages, a second
// scale in depth-equivalent, the pressure that a tight unit would have shown,
// the events and the moment the unit began to fail; and below it what was read
// less what a tight unit would have shown, which is where a leak can be seen.
func Pressure(run setup.Run, r *analysis.Result, u units.System, size Size) (*Picture, error) {
	u, err := u.Check()
	if err != nil {
		return nil, err
	}
	if err := size.check(); err != nil {
		return nil, err
	}
	line, ok := newTimeline(r)
	if !ok {
		return nil, ErrNoData
	}
	read := line.points(r.Curves.ChamberPa, u.PressureValue)
	fitted := line.points(r.Curves.ChamberFittedPa, u.PressureValue)
	low, high, ok := extent(read, fitted)
	if !ok {
		return nil, ErrNoData
	}
	small, perPa := u.SmallPressure()
	excess := difference(r.Curves.ChamberPa, r.Curves.ChamberFittedPa, line, perPa)

	f := newFigure(size, u)
	scaleOfAll := around(low, high, 0.04, u.PressureValue(2e3))
	below, above, _ := extent(excess)
	scaleOfExcess := around(math.Min(below, 0), math.Max(above, 0), 0.06, 100*perPa)
	left, right := f.leftRoom(scaleOfAll, scaleOfExcess), f.Width-36*pt
	entries := []keyEntry{{label: "as read", stroke: readStroke}}
	if len(fitted) > 0 {
		entries = append(entries, keyEntry{label: "a tight unit", stroke: fittedStroke})
	}
	entries = append(entries, stageKey...)
	if r.Verdict.FirstFailure != nil {
		entries = append(entries, failureKey...)
	}
	entries = append(entries, eventKey(r.Events)...)
	top := f.Height - f.key(left, f.Width-2*pt, f.Height, entries) - 2*pt
	stageRow := top - lineStep/2
	top -= lineStep
	eventRow := top - 3*pt
	if len(r.Events) > 0 {
		top -= 7 * pt
	}

	bottom := timeAxisHeight
	share := 0.0
	if len(excess) > 0 {
		share = max((top-bottom)*0.30, min(30*pt, top-bottom-56*pt)) // as high as both titles
	}
	main := panel{f: f, left: left, right: right, bottom: bottom + share, top: top,
		span: line.span, y: scaleOfAll}
	if share > 0 {
		main.bottom += 5 * pt
	}
	lowest := main

	ticks := main.y.ticks(ticksIn(main))
	main.shadeStages(line, r.Stages)
	main.shadeFailure(line, r.Verdict.FirstFailure)
	main.grid(ticks)
	main.markEvents(line, r.Events, eventRow)
	main.curve(readStroke, read)
	main.pieces(fittedStroke, betweenRamps(fitted, line, r.Stages))
	main.markFailure(line, r.Verdict.FirstFailure)
	main.labelFailure(line, r.Verdict.FirstFailure, u)
	main.labelStages(line, r.Stages, u, stageRow)
	main.leftAxis(ticks, u.F("pressure, %s absolute", u.Pressure))
	if depths := depthTicks(main, run, r, u); len(depths) > 0 {
		main.rightAxis(depths, u.F("depth-equivalent, %s", u.Depth), u.F("depth, %s", u.Depth))
	}

	if share > 0 {
		lowest = panel{f: f, left: left, right: right, bottom: bottom, top: bottom + share - 5*pt,
			span: line.span, y: scaleOfExcess}
		ticks := lowest.y.ticks(ticksIn(lowest))
		lowest.shadeStages(line, r.Stages)
		lowest.shadeFailure(line, r.Verdict.FirstFailure)
		lowest.grid(ticks)
		lowest.level(fittedStroke, 0)
		lowest.pieces(readStroke, betweenRamps(excess, line, r.Stages))
		lowest.markFailure(line, r.Verdict.FirstFailure)
		lowest.leftAxis(ticks, "Δ, "+small)
	}
	lowest.timeAxis(timeTicks(line.span, int((right-left)/(42*pt))), line.axisTitle(u))

	title := u.F("Pressure in the chamber over time, unit %s", units.Clean(r.Verdict.Unit, 60))
	drawn, err := f.picture("pressure", title, pressureWords(r, u, line))
	return drawn.along(lowest.over(line), err)
}

const mostTicks = 10

// ticksIn is how many marks a panel's left side has room for.
func ticksIn(p panel) int { return min(max(2, int((p.top-p.bottom)/(15*pt))), mostTicks) }

// pressureWords says in words what the picture of the pressure shows.
func pressureWords(r *analysis.Result, u units.System, l timeline) string {
	words := u.F("The run lasted %s.", u.Length(secondsLong(l.span)))
	holds, deepest := 0, 0.0
	for _, s := range r.Stages {
		if s.Kind == "hold" {
			holds++
			deepest = math.Max(deepest, s.DepthM)
		}
	}
	if holds > 0 {
		words += " " + u.F("Measuring windows: %d, the deepest at %s.", holds, u.DepthText(deepest))
	}
	if !math.IsNaN(r.Conditions.PeakPa) {
		words += " " + u.F("Highest pressure seen: %s absolute.", u.PressureText(r.Conditions.PeakPa))
	}
	if f := r.Verdict.FirstFailure; f != nil {
		words += " " + u.F("The unit began to fail %s after the start, at %s.",
			units.Elapsed(f.Time.Sub(l.start)), u.DepthText(f.DepthM))
	}
	return words
}

func secondsLong(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// difference is read less fitted at the moments of the fitted curve, with read
// taken linearly between its points, in units of perPa to the pascal. There is
// none in a gap of the readings.
func difference(read, fitted []analysis.Point, l timeline, perPa float64) []xy {
	gap := 0.0
	if n := len(read); n > 0 {
		gap = gapOver(read[n-1].Time.Sub(read[0].Time).Seconds()/float64(n), l.span)
	}
	var out []xy
	for _, q := range fitted {
		i := sort.Search(len(read), func(i int) bool { return !read[i].Time.Before(q.Time) })
		if i == len(read) || (i == 0 && !read[0].Time.Equal(q.Time)) {
			continue
		}
		value := read[i].Value
		if i > 0 && read[i].Time.After(q.Time) {
			a, b := read[i-1], read[i]
			if b.Time.Sub(a.Time).Seconds() > gap {
				continue
			}
			share := q.Time.Sub(a.Time).Seconds() / b.Time.Sub(a.Time).Seconds()
			value = a.Value + share*(b.Value-a.Value)
		}
		y := (value - q.Value) * perPa
		if x := l.seconds(q.Time); usable(y) && x >= 0 && x <= l.span {
			out = append(out, xy{x, y})
		}
	}
	return out
}

// depthTicks are round depths-equivalent at the panel's own pressures: the depth
// whose hydrostatic gauge pressure, in the water of the profile, equals the
// chamber's pressure less that at which the unit was closed. There are none
// where the sheet states no usable water or no pressure at closing.
func depthTicks(p panel, run setup.Run, r *analysis.Result, u units.System) []tick {
	sealed := sealedPa(run, r)
	column, err := profiles.NewColumn(run.Profile.Water)
	if err != nil || !(sealed > 0) || math.IsInf(sealed, 0) {
		return nil
	}
	depth := func(pressure float64) float64 {
		return u.DepthValue(column.DepthM(pressure/u.PressureValue(1) - sealed))
	}
	var ticks []tick
	for _, t := range niceTicks(depth(p.y.low), depth(p.y.high), ticksIn(p)) {
		if t.at > -1e-9 {
			ticks = append(ticks, tick{u.PressureValue(sealed + column.GaugePa(t.at/u.DepthValue(1))), t.label})
		}
	}
	return ticks
}
