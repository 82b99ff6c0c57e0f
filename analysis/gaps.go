package analysis

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// gap is a time without a reading of the chamber's pressure.
type gap struct{ start, end float64 }

// findGaps lists what is missing: a reading is missed where the next one comes
// after three intervals or five seconds, whichever is longer.
func findGaps(s *signal) []gap {
	var list []gap
	by := s.pace()
	last, at := math.NaN(), 0
	for i, t := range s.t {
		if s.spike[i] {
			continue
		}
		if t-last > max(3*by.across(at, i), 5) {
			list = append(list, gap{last, t})
		}
		last, at = t, i
	}
	return list
}

// missing is the share of a window without a reading; plan is how long it was to
// be, in s.
func (a *analysis) missing(w interval, plan float64) float64 {
	if !w.real() {
		return 1
	}
	lost := 0.0
	for _, g := range a.gaps {
		if d := min(g.end, w.end) - max(g.start, w.start); d > 0 && !a.carried(g, w, plan) {
			lost += d
		}
	}
	// Nothing at all before the first or after the last reading.
	if n := len(a.s.t); n > 0 {
		if d := a.s.t[0] - w.start; d > 5*a.s.dt {
			lost += min(d, w.length())
		}
		if d := w.end - a.s.t[n-1]; d > 5*a.s.pace().at(n-1) {
			lost += min(d, w.length())
		}
	}
	return min(lost/w.length(), 1)
}

// cut is a time in which the run was cut off, by a power cut or a crash, and what
// whoever went on with it found.
type cut struct {
	interval
	judged bool
	held   bool
	text   string
}

// resume takes in a resume line: the first says where the record was opened
// again, the second, which begins with "gap", what became of the pressure. A
// stage in which it was not held ends where the gap begins: what happened in
// between is nobody's measurement.
func (x *table) resume(text string, last, t float64) {
	word, is := strings.CutPrefix(text, "gap ")
	n := len(x.cuts)
	if !is || n == 0 || x.cuts[n-1].judged {
		if n < maxSpans {
			x.cuts = append(x.cuts, cut{interval: interval{last, t}, text: text})
		}
		return
	}
	c := &x.cuts[n-1]
	c.end, c.judged, c.held, c.text = t, true, strings.HasPrefix(word, "held"), text
	if c.held {
		return
	}
	if n := len(x.spans); n > 0 && math.IsNaN(x.spans[n-1].end) {
		x.spans[n-1].end = max(c.start, x.spans[n-1].start)
	}
	x.vent = append(x.vent, c.interval) // as far as is known
}

// lostIn says whether a stage was cut off by a gap in which its pressure was not held.
func (x *table) lostIn(s *stage) bool {
	end := s.ramp.end
	if d := s.dwell(); d.real() {
		end = d.end
	}
	for i := range x.cuts {
		if c := &x.cuts[i]; !c.held && math.Abs(c.start-end) < 1e-6 {
			return true
		}
	}
	return false
}

// carried says whether the rest of a window carries a gap: the pressure was held
// in it, the hold went on for as long as it was cut off, and what was read is as
// much as was planned.
func (a *analysis) carried(g gap, w interval, plan float64) bool {
	for i := range a.x.cuts {
		c := &a.x.cuts[i]
		if !c.held || g.start < c.start-5 || g.end > c.end+5 {
			continue
		}
		return w.length()-(g.end-g.start) >= mustReach*plan
	}
	return false
}

// repeated says whether a stage that a gap cut off was done again, to its end.
func (a *analysis) repeated(s *stage) bool {
	for _, later := range a.stages[s.order+1:] {
		if later.index == s.index && later.hold.real() && !later.lost && a.short(later) == "" {
			return true
		}
	}
	return false
}

// cost says what each time in which the run was cut off costs.
func (a *analysis) cost() []string {
	var all []string
	for i := range a.x.cuts {
		c := &a.x.cuts[i]
		text := fmt.Sprintf("the run was cut off at %s for %s", a.x.at(c.start).Format("15:04:05"),
			(time.Duration(math.Round(c.length())) * time.Second))
		switch {
		case !c.judged:
			text += " and again before anybody could tell what became of the pressure"
		case c.held:
			text += fmt.Sprintf("; the pressure was held (%s), the hold went on for as long again", strings.TrimPrefix(c.text, "gap "))
		default:
			text += fmt.Sprintf("; %s: the stage was begun again, what was measured in it before counts only against the unit", strings.TrimPrefix(c.text, "gap "))
		}
		all = append(all, text)
	}
	return all
}
