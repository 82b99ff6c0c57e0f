package plots

import (
	"math"

	"proofpot/analysis"
	"proofpot/analysis/certificate/drawing"
	"proofpot/analysis/certificate/units"
	"proofpot/rig/setup"
)

// track is one field of a picture that stacks several over the same time.
type track struct {
	title  string
	weight float64 // share of the height
	least  float64 // smallest range of the scale, in the track's own unit
	curves []trackCurve
}

type trackCurve struct {
	points []xy
	stroke drawing.Stroke
}

// Humidity draws what water vapour did inside the unit: absolute humidity,
// which only water entering or leaving the air can change, relative humidity,
// and the dew point beside the temperature inside.
func Humidity(run setup.Run, r *analysis.Result, u units.System, size Size) (*Picture, error) {
	u, err := u.Check()
	if err != nil {
		return nil, err
	}
	line, ok := newTimeline(r)
	absolute := line.points(r.Curves.AbsHumidityGM3, same)
	relative := line.points(r.Curves.InsideRHPct, same)
	if !ok || len(absolute)+len(relative) == 0 {
		return nil, ErrNoData
	}
	tracks := []track{
		{title: "g/m³", weight: 1.5, least: 0.5, curves: []trackCurve{{absolute, readStroke}}},
		{title: "RH, %", weight: 0.9, least: 2, curves: []trackCurve{{relative, readStroke}}},
	}
	entries := append([]keyEntry(nil), stageKey...)
	if dew := line.points(DewPoints(r.Curves.InsideRHPct, r.Curves.InsideC), same); len(dew) > 0 {
		tracks = append(tracks, track{title: "°C", weight: 0.9, least: 1, curves: []trackCurve{
			{line.points(r.Curves.InsideC, same), readStroke}, {dew, secondStroke}}})
		entries = append(entries, keyEntry{label: "temperature inside", stroke: readStroke}, keyEntry{label: "dew point", stroke: secondStroke})
	}
	words := ""
	if n := len(absolute); n > 0 {
		words = u.F("Absolute humidity from %s to %s g/m³.", u.Number(absolute[0].y, 2), u.Number(absolute[n-1].y, 2))
	}
	if n := len(relative); n > 0 {
		words += " " + u.F("Relative humidity from %s to %s %%.", u.Number(relative[0].y, 1), u.Number(relative[n-1].y, 1))
	}
	return stack(r, line, u, size, tracks, entries, "humidity", "Humidity inside the unit over time", words)
}

// InsidePressure draws the pressure inside the unit and the temperature there.
func InsidePressure(run setup.Run, r *analysis.Result, u units.System, size Size) (*Picture, error) {
	u, err := u.Check()
	if err != nil {
		return nil, err
	}
	line, ok := newTimeline(r)
	unit, perPa := string(u.Pressure), u.PressureValue(1)
	if u.Pressure == units.Bar {
		unit, perPa = "mbar", 1e-2
	}
	pressure := line.points(r.Curves.InsidePa, func(pa float64) float64 { return pa * perPa })
	if !ok || len(pressure) == 0 {
		return nil, ErrNoData
	}
	tracks := []track{
		{title: u.F("%s absolute", unit), weight: 1.6, least: 200 * perPa, curves: []trackCurve{{pressure, readStroke}}},
		{title: "inside, °C", weight: 1, least: 0.5, curves: []trackCurve{{line.points(r.Curves.InsideC, same), readStroke}}},
	}
	words := u.F("Pressure inside from %s to %s %s absolute.",
		u.Number(pressure[0].y, 2), u.Number(pressure[len(pressure)-1].y, 2), unit)
	return stack(r, line, u, size, tracks, append([]keyEntry(nil), stageKey...), "inside", "Pressure inside the unit over time", words)
}

// stack draws tracks above one another over the same time, leaving out those
// without a point.
func stack(r *analysis.Result, line timeline, u units.System, size Size, tracks []track, entries []keyEntry, id, title, words string) (*Picture, error) {
	if err := size.check(); err != nil {
		return nil, err
	}
	f := newFigure(size, u)
	right := f.Width - 8*pt
	if r.Verdict.FirstFailure != nil {
		entries = append(entries, keyEntry{label: "began to fail", stroke: failStroke})
	}
	var shown []track
	var scales []scale
	total := 0.0
	for _, t := range tracks {
		if low, high, ok := extent(t.all()...); ok {
			shown = append(shown, t)
			scales = append(scales, around(low, high, 0.08, t.least))
			total += t.weight
		}
	}
	left := f.leftRoom(scales...)
	top := f.Height - f.key(left, f.Width-2*pt, f.Height, entries) - 2*pt
	const gap = 8 * pt
	room := top - timeAxisHeight - gap*float64(len(shown)-1)
	var last panel
	for i, t := range shown {
		height := room * t.weight / total
		last = panel{f: f, left: left, right: right, bottom: top - height, top: top, span: line.span, y: scales[i]}
		ticks := last.y.ticks(ticksIn(last))
		last.shadeStages(line, r.Stages)
		last.shadeFailure(line, r.Verdict.FirstFailure)
		last.grid(ticks)
		for _, c := range t.curves {
			last.curve(c.stroke, c.points)
		}
		last.markFailure(line, r.Verdict.FirstFailure)
		last.leftAxis(ticks, t.title)
		top -= height + gap
	}
	axis := line.axisTitle(u)
	if f.textWidth(textSize, axis) > right-left {
		axis = "time since start, h:mm"
	}
	last.timeAxis(timeTicks(line.span, int((right-left)/(36*pt))), axis)
	drawn, err := f.picture(id, title, words)
	return drawn.along(last.over(line), err)
}

func (t track) all() [][]xy {
	var all [][]xy
	for _, c := range t.curves {
		all = append(all, c.points)
	}
	return all
}

// DewPoints is the dew point over time in °C where both relative humidity and
// temperature were read at about the same moment.
func DewPoints(rhPct, celsius []analysis.Point) []analysis.Point {
	var out []analysis.Point
	j := 0
	for _, q := range rhPct {
		for j+1 < len(celsius) && !celsius[j+1].Time.After(q.Time) {
			j++
		}
		if j >= len(celsius) || math.Abs(celsius[j].Time.Sub(q.Time).Seconds()) > 60 {
			continue
		}
		if d := DewPointC(q.Value, celsius[j].Value); !math.IsNaN(d) {
			out = append(out, analysis.Point{Time: q.Time, Value: d})
		}
	}
	return out
}

// DewPointC is the dew point over water, °C, of air at a relative humidity in %
// and a temperature in °C, by the Magnus form of WMO-No. 8 (2018), Part I,
// Annex 4.B: e_w = 6.112 hPa · exp(17.62 t / (243.12 + t)), −45 to 60 °C. NaN
// outside that range and for a humidity that is not above zero.
func DewPointC(rhPct, celsius float64) float64 {
	if !(rhPct > 0) || !(celsius >= -45 && celsius <= 60) {
		return math.NaN()
	}
	h := math.Log(rhPct/100) + 17.62*celsius/(243.12+celsius)
	return 243.12 * h / (17.62 - h)
}
