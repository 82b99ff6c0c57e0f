package analysis

import "math"

// gap is a time without a reading of the chamber's pressure.
type gap struct{ start, end float64 }

// findGaps lists what is missing: a reading is missed where the next one comes
// after three intervals or five seconds, whichever is longer.
func findGaps(s *signal) []gap {
	var list []gap
	limit := max(3*s.dt, 5)
	last := math.NaN()
	for i, t := range s.t {
		if s.spike[i] {
			continue
		}
		if t-last > limit {
			list = append(list, gap{last, t})
		}
		last = t
	}
	return list
}

// missing is the share of a window without a reading.
func (a *analysis) missing(w interval) float64 {
	if !w.real() {
		return 1
	}
	lost := 0.0
	for _, g := range a.gaps {
		if d := min(g.end, w.end) - max(g.start, w.start); d > 0 {
			lost += d
		}
	}
	// Nothing at all before the first or after the last reading.
	if n := len(a.s.t); n > 0 {
		if d := a.s.t[0] - w.start; d > 5*a.s.dt {
			lost += min(d, w.length())
		}
		if d := w.end - a.s.t[n-1]; d > 5*a.s.dt {
			lost += min(d, w.length())
		}
	}
	return min(lost/w.length(), 1)
}
