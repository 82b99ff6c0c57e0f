package page

import (
	"math"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/certificate/plots"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

// soFar is what the pictures of a run that is under way are drawn from: its
// stages, events and thinned curves, in constant memory.
type soFar struct {
	run    setup.Run
	sensor string // of the chamber: the first
	start  time.Time
	last   time.Time
	stages []analysis.StageSpan
	events []analysis.Event
	curves struct{ chamber, inside, insideC, insideRH thinned }
	leaks  []plots.LeakPoint
	leakAt time.Duration
}

// thinned keeps a curve in at most some thousand points: of each stretch its
// lowest and highest, with stretches that double when it is full.
type thinned struct {
	points  []analysis.Point
	stretch int // readings a pair of points
	n       int
	low     analysis.Point
	high    analysis.Point
}

const mostThinned = 4096

func (c *thinned) add(p analysis.Point) {
	if c.stretch == 0 {
		c.stretch = 1
	}
	if c.n == 0 || p.Value < c.low.Value {
		c.low = p
	}
	if c.n == 0 || p.Value > c.high.Value {
		c.high = p
	}
	if c.n++; c.n < c.stretch {
		return
	}
	c.n = 0
	a, b := c.low, c.high
	if b.Time.Before(a.Time) {
		a, b = b, a
	}
	c.points = append(c.points, a)
	if b.Time.After(a.Time) {
		c.points = append(c.points, b)
	}
	if len(c.points) >= mostThinned {
		c.points = plots.Thin(c.points, mostThinned/2)
		c.stretch *= 2
	}
}

// line takes in a line that was recorded.
func (s *soFar) line(l *record.Line) {
	at := time.Unix(0, l.TimeNS).UTC()
	if s.start.IsZero() {
		s.start = at
	}
	s.last = at
	point := func(to *thinned, v float64) {
		if !math.IsNaN(v) {
			to.add(analysis.Point{Time: at, Value: v})
		}
	}
	switch l.Measurement {
	case record.Chamber:
		if s.sensor == "" && !math.IsNaN(l.PressurePa) {
			s.sensor = l.Sensor
		}
		if l.Sensor == s.sensor {
			point(&s.curves.chamber, l.PressurePa)
		}
	case record.UnitInside:
		point(&s.curves.inside, l.PressurePa)
		point(&s.curves.insideC, l.TemperatureC)
		point(&s.curves.insideRH, l.RHPct)
	case record.Stage:
		if n := len(s.stages); n > 0 {
			s.stages[n-1].End = at
		}
		s.stages = append(s.stages, analysis.StageSpan{Kind: l.Kind, Index: l.Index, Name: l.Name, DepthM: l.DepthM, TargetPa: l.PressurePa, Start: at, End: at})
	case record.Fault, record.Note, record.RunEvent:
		kind := map[record.Measurement]string{record.Fault: "fault", record.Note: "note", record.RunEvent: "run"}[l.Measurement]
		if len(s.events) < 4*mostEvents {
			s.events = append(s.events, analysis.Event{Time: at, Kind: kind, Text: l.Text})
		}
	}
}

const leakEvery = 5 * time.Second

// leak takes in the live estimate.
func (s *soFar) leak(at time.Duration, l analysis.Interval) {
	if at < s.leakAt+leakEvery && len(s.leaks) > 0 {
		return
	}
	s.leakAt = at
	s.leaks = append(s.leaks, plots.LeakPoint{Time: s.last, Leak: l})
	if len(s.leaks) >= mostThinned {
		for i := range len(s.leaks) / 2 {
			s.leaks[i] = s.leaks[2*i]
		}
		s.leaks = s.leaks[:len(s.leaks)/2]
	}
}

// result is what the pictures need of it; the stages end where it stands.
func (s *soFar) result() *analysis.Result {
	r := &analysis.Result{Stages: append([]analysis.StageSpan(nil), s.stages...), Events: append([]analysis.Event(nil), s.events...)}
	if n := len(r.Stages); n > 0 {
		r.Stages[n-1].End = s.last
	}
	clone := func(c *thinned) []analysis.Point { return append([]analysis.Point(nil), c.points...) }
	r.Curves.ChamberPa = clone(&s.curves.chamber)
	r.Curves.InsidePa = clone(&s.curves.inside)
	r.Curves.InsideC = clone(&s.curves.insideC)
	r.Curves.InsideRHPct = clone(&s.curves.insideRH)
	r.Conditions.RoomPa, r.Conditions.PeakPa = s.run.Bench.RoomPa, math.NaN()
	r.Verdict.Unit = s.run.Unit.ID
	return r
}
