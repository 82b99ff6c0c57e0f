package analysis

import (
	"math"
)

// stage is one ramp with its settle and hold, as it ran. A profile that cycles
// gives several with the same index.
type stage struct {
	order  int
	index  int
	name   string
	depthM float64
	ramp   interval // NaN where there was none
	settle interval
	hold   interval
	closed []interval // settle and hold without the times of an open valve
	cut    bool       // the run was stopped in it
	lost   bool       // it was cut off by a gap in which the pressure was not held
	plannS float64    // s, how long the hold should have been; NaN where unknown

	missing float64 // share of the hold without a reading
	meanPa  float64 // mean of the chamber's pressure in the hold, absolute
	ready   *reduced
	chamber *estimate
	inside  *estimate
	rise    *estimate // Pa that the inside pressure gained in the hold by what came in
	both    *estimate // what the verdict uses
	damp    *estimate // mg/h

	warm        map[float64][]float64 // see warmParts, by the start of a closed part
	settles     []float64             // log-likelihood of each of settlingTimes by this stage; nil where it says nothing
	settlesLike []float64             // what the other stages say of them
}

var never = interval{math.NaN(), math.NaN()}

func (v interval) real() bool { return v.end > v.start }

func (v interval) length() float64 {
	if !v.real() {
		return 0
	}
	return v.end - v.start
}

// dwell is settle and hold together.
func (s *stage) dwell() interval {
	switch {
	case s.settle.real() && s.hold.real():
		return interval{s.settle.start, s.hold.end}
	case s.hold.real():
		return s.hold
	}
	return s.settle
}

// findStages strings the spans of a table into stages.
func findStages(x *table, dt float64) []*stage {
	var list []*stage
	var cur *stage
	rank := map[string]int{"ramp": 0, "settle": 1, "hold": 2}
	last := 3
	for i := range x.spans {
		v := &x.spans[i]
		r, ok := rank[v.kind]
		if !ok {
			last = 3
			continue
		}
		if cur == nil || v.index != cur.index || r <= last {
			cur = &stage{order: len(list), index: v.index, name: v.name, depthM: v.depthM, ramp: never, settle: never, hold: never, plannS: math.NaN()}
			list = append(list, cur)
		}
		last = r
		part := interval{v.start, v.end}
		switch v.kind {
		case "ramp":
			cur.ramp = part
		case "settle":
			cur.settle = part
		case "hold":
			cur.hold = part
		}
		if !math.IsNaN(v.depthM) {
			cur.depthM = v.depthM
		}
	}
	for i, s := range list {
		d := s.dwell()
		if d.real() {
			s.closed = shut(x, d, dt)
		}
		s.cut = x.aborted && i == len(list)-1
		s.lost = x.lostIn(s)
	}
	return list
}

// breakAt parts the closed times at a sudden loss: what follows it has its own
// start, and its gas, cooled by the expansion, its own settling.
func (s *stage) breakAt(j jump, dt float64) {
	var out []interval
	for _, p := range s.closed {
		if j.t0 <= p.start || j.t0 >= p.end {
			out = append(out, p)
			continue
		}
		if j.t0-p.start > 4*dt {
			out = append(out, interval{p.start, j.t0})
		}
		if after := j.t1 + 2*dt; p.end-after > 4*dt {
			out = append(out, interval{after, p.end})
		}
	}
	s.closed, s.ready = out, nil
}

// shut gives the parts of d in which both valves were shut, less a moment after
// each closing in which the gas is still moving.
func shut(x *table, d interval, dt float64) []interval {
	parts := []interval{d}
	for _, list := range [][]interval{x.fill, x.vent} {
		for _, o := range list {
			var next []interval
			for _, p := range parts {
				if o.end <= p.start || o.start >= p.end {
					next = append(next, p)
					continue
				}
				if o.start > p.start {
					next = append(next, interval{p.start, o.start})
				}
				if o.end < p.end {
					next = append(next, interval{o.end, p.end})
				}
			}
			parts = next
		}
	}
	var out []interval
	for _, p := range parts {
		p.start += 1.2 * dt
		if p.end-p.start > 4*dt {
			out = append(out, p)
		}
	}
	return out
}
