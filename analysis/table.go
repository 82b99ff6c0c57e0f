package analysis

import (
	"errors"
	"io"
	"math"
	"slices"
	"time"

	"proofpot/rig/record"
	"proofpot/rig/setup"
)

// Source gives the lines of a record in order of time; io.EOF at its end.
// record.Reader is one.
type Source interface {
	Next(*record.Line) error
}

func (s *series) empty() bool { return len(s.t) == 0 }

// between gives the indices of the readings in (a, b].
func (s *series) between(a, b float64) (int, int) { return between(s.t, a, b) }

func between(t []float64, a, b float64) (int, int) {
	lo, _ := slices.BinarySearch(t, math.Nextafter(a, math.Inf(1)))
	hi, _ := slices.BinarySearch(t, math.Nextafter(b, math.Inf(1)))
	return lo, max(lo, hi)
}

// span is a ramp, settle, hold or vent in seconds.
type span struct {
	kind       string
	index      int
	name       string
	depthM     float64
	targetPa   float64
	start, end float64
}

type interval struct{ start, end float64 }

// table is a record by columns.
type table struct {
	startNS   int64
	endS      float64
	chambers  []pressures
	thin      thinning
	gas       series // °C
	water     series // °C
	wall      series // °C
	insidePa  series // kept as the difference from insideBasePa, so that single precision loses nothing
	insideC   series
	insideRH  series
	roomPa    series
	roomC     series
	insideRef float64 // Pa, see insidePa
	spans     []span
	fill      []interval // the fill valve was open
	vent      []interval
	wets      []wetting
	probes    int
	events    []Event
	aborted   bool
	ended     bool
	cuts      []cut
	faults    int
	troubles  []trouble          // faults of sensors that are a doubt
	blindAt   map[string]float64 // of the first fault of a sensor since it last was a wet probe that could be read
	lines     int64
}

// wetting is the time at which a probe became wet, and its last dry reading.
type wetting struct {
	sensor  string
	lastDry float64 // s, NaN where it was never seen dry
	t       float64 // s
	stays   bool    // wet to the end of its readings, at least twice or until the abort
}

func (x *table) at(s float64) time.Time {
	return time.Unix(0, x.startNS+int64(math.Round(s*1e9))).UTC()
}

// maxSpans bounds what a hostile record can make the table hold beside its readings.
const maxSpans = 100_000

// readTable takes a record in. Only columns of numbers are kept.
func readTable(src Source) (*table, error) {
	x := &table{startNS: math.MinInt64, blindAt: map[string]float64{}, thin: thinning{rest: math.Inf(1)}}
	var l record.Line
	slow := []*series{&x.gas, &x.water, &x.wall, &x.insidePa, &x.insideC, &x.insideRH, &x.roomPa, &x.roomC}
	for _, s := range slow {
		s.thin = &x.thin
	}
	fillOpen, ventOpen := math.NaN(), math.NaN()
	type probe struct {
		wet     bool
		lastDry float64
		since   int
		index   int
	}
	probes := map[string]*probe{}
	for {
		err := src.Next(&l)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		x.lines++
		if x.startNS == math.MinInt64 {
			x.startNS = l.TimeNS
		}
		t := float64(l.TimeNS-x.startNS) / 1e9
		last := x.endS
		x.endS = max(x.endS, t)
		switch l.Measurement {
		case record.Chamber:
			x.gas.add(t, l.GasC)
			x.water.add(t, l.WaterC)
			x.wall.add(t, l.WallC)
			if !math.IsNaN(l.PressurePa) {
				x.addPressure(l.Sensor, t, l.PressurePa)
			}
		case record.UnitInside:
			if x.insideRef == 0 && !math.IsNaN(l.PressurePa) {
				x.insideRef = l.PressurePa
			}
			x.insidePa.add(t, l.PressurePa-x.insideRef)
			x.insideC.add(t, l.TemperatureC)
			x.insideRH.add(t, l.RHPct)
		case record.Room:
			x.roomPa.add(t, l.PressurePa)
			x.roomC.add(t, l.TemperatureC)
		case record.Probe:
			wet := l.Wet
			if !l.HasWet {
				if math.IsNaN(l.Level) {
					continue
				}
				wet = l.Level >= 0.5
			}
			p := probes[l.Sensor]
			if p == nil {
				if len(probes) >= 64 {
					continue
				}
				p = &probe{lastDry: math.NaN(), index: -1}
				probes[l.Sensor] = p
				x.probes++
			}
			switch {
			case wet && !p.wet:
				if len(x.wets) < maxSpans {
					p.index = len(x.wets)
					x.wets = append(x.wets, wetting{sensor: l.Sensor, lastDry: p.lastDry, t: t})
				}
				p.since = 1
			case wet:
				p.since++
				if p.index >= 0 {
					x.wets[p.index].stays = true
				}
			default:
				if p.wet && p.index >= 0 && p.since < 2 {
					x.wets[p.index].stays = false
				}
				p.lastDry = t
			}
			if wet != p.wet {
				x.happens(t)
			}
			p.wet = wet
			delete(x.blindAt, l.Sensor)
		case record.Valve:
			if !l.HasOpen {
				continue
			}
			x.happens(t)
			switch l.Valve {
			case "fill":
				x.fill, fillOpen = valve(x.fill, fillOpen, l.Open, t)
			case "vent":
				x.vent, ventOpen = valve(x.vent, ventOpen, l.Open, t)
			}
		case record.Stage:
			x.enters(l.Kind, t)
			if n := len(x.spans); n > 0 && math.IsNaN(x.spans[n-1].end) {
				x.spans[n-1].end = t
			}
			if len(x.spans) < maxSpans {
				x.spans = append(x.spans, span{kind: l.Kind, index: l.Index, name: l.Name, depthM: l.DepthM, targetPa: l.PressurePa, start: t, end: math.NaN()})
			}
		case record.Fault:
			x.fault(t, &l)
		case record.Note:
			x.event(t, "note", l.Text)
			x.over(t, l.Text)
		case record.RunEvent:
			switch l.Event {
			case "abort":
				x.aborted = true
			case "end":
				x.ended = true
			case "resume":
				x.resume(l.Text, last, t)
			}
			x.event(t, "run", l.Event+": "+l.Text)
		}
	}
	for _, s := range slow {
		s.flush()
	}
	x.pressuresEnd()
	if n := len(x.spans); n > 0 && math.IsNaN(x.spans[n-1].end) {
		x.spans[n-1].end = x.endS
	}
	if !math.IsNaN(fillOpen) {
		x.fill = append(x.fill, interval{fillOpen, math.Inf(1)})
	}
	if !math.IsNaN(ventOpen) {
		x.vent = append(x.vent, interval{ventOpen, math.Inf(1)})
	}
	for _, p := range probes {
		if p.wet && p.index >= 0 && x.aborted {
			x.wets[p.index].stays = true
		}
	}
	if len(x.chambers) == 0 {
		return nil, errors.New("the record holds no chamber pressure")
	}
	return x, nil
}

func valve(list []interval, open float64, now bool, t float64) ([]interval, float64) {
	switch {
	case now && math.IsNaN(open):
		return list, t
	case !now && !math.IsNaN(open):
		if len(list) < maxSpans {
			list = append(list, interval{open, t})
		}
		return list, math.NaN()
	}
	return list, open
}

func (x *table) event(t float64, kind, text string) {
	if len(x.events) < 10_000 {
		x.events = append(x.events, Event{Time: x.at(t), Kind: kind, Text: text})
	}
}

// sheetFirst puts the transducer that the sheet names first, else the one with
// the most readings: what has no sheet has no calibration, and can only help.
func (x *table) sheetFirst(run setup.Run) {
	rank := func(p pressures) int {
		for i, s := range run.Bench.Sensors {
			if s.ID == p.sensor && s.Measures == "chamber pressure" {
				return i
			}
		}
		return len(run.Bench.Sensors)
	}
	slices.SortStableFunc(x.chambers, func(a, b pressures) int {
		if d := rank(a) - rank(b); d != 0 {
			return d
		}
		return len(b.t) - len(a.t)
	})
}

// sealedPa is the pressure, absolute, at which the unit was closed: the sheet's,
// else the room's at the start.
func sealedPa(run setup.Run, x *table) float64 {
	if run.Unit.SealedPa > 0 {
		return run.Unit.SealedPa
	}
	if !x.roomPa.empty() {
		return float64(x.roomPa.v[0])
	}
	if run.Bench.RoomPa > 0 {
		return run.Bench.RoomPa
	}
	return 101325
}

// roomStartPa is the room's pressure at the start, absolute.
func roomStartPa(run setup.Run, x *table) float64 {
	if run.Bench.RoomPa > 0 {
		return run.Bench.RoomPa
	}
	if !x.roomPa.empty() {
		return float64(x.roomPa.v[0])
	}
	return sealedPa(run, x)
}
