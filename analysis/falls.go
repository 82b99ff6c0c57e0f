package analysis

import (
	"cmp"
	"math"
	"slices"
	"sort"
)

// While the vent is shut nothing lets pressure go at once: gas that cools takes
// seconds, and the inlet only adds. So a fall from one reading to the next that is
// large beside the noise and beside every other fall about it was a loss, however few
// readings stand around it under one state of the valves – as on a bench that tops up
// every few seconds, or answers a loss before the next reading.
const (
	fallNoise  = 10.0 // standard deviations of a reading
	fallOther  = 3.0  // times the largest fall about it, or after other closings of the inlet
	fallWindow = 30   // readings to each side in which others are looked for
	fallBack   = 0.7  // of the fall: what comes back within a reading was a spike
	fallRise   = 6.0  // standard deviations of a reading, by which the one before may rise with nothing let in
	fallFresh  = 3    // readings after a closing, in which the gas cools fastest
)

// plainFalls adds the losses that show as such a fall.
func (a *analysis) plainFalls() {
	if a.byHand() {
		return
	}
	s := a.s
	for i := range s.t {
		n := s.sound(i, 1)
		if s.spike[i] || n < 0 || !(s.p[i]-s.p[n] > fallNoise*s.noise) || !a.fellBy(i, s.p[i]-s.p[n]) {
			continue
		}
		if slices.ContainsFunc(a.steps, func(o jump) bool { return math.Abs(o.t0-s.t[i]) < 3*s.dt }) {
			continue
		}
		a.steps = append(a.steps, jump{i: i, t0: s.t[i], t1: s.t[n], pa: a.pressureBefore(i), drop: s.p[i] - s.p[n],
			u: s.noise * math.Sqrt2, paSD: s.noise, inletted: openAt(a.x.fill, s.t[i])})
	}
	slices.SortFunc(a.steps, func(p, q jump) int { return cmp.Compare(p.t0, q.t0) })
}

// sound is the next sound reading after i in a direction, 1 or −1; −1 for none.
func (s *signal) sound(i, way int) int {
	for i += way; i >= 0 && i < len(s.t); i += way {
		if !s.spike[i] {
			return i
		}
	}
	return -1
}

// fell is by how much the pressure fell from a sound reading to the next one, Pa; NaN
// where none follows closely, or the vent was open.
func (a *analysis) fell(i int) float64 {
	s := a.s
	n := s.sound(i, 1)
	if n < 0 || s.t[n]-s.t[i] > 4*s.pace().across(i, n) || overlaps(a.x.vent, s.t[i]-2*s.dt, s.t[n]+s.dt) {
		return math.NaN()
	}
	return s.p[i] - s.p[n]
}

// fellBy tells whether the fall after reading i was a loss.
func (a *analysis) fellBy(i int, fall float64) bool {
	s := a.s
	last, n := s.sound(i, -1), s.sound(i, 1)
	if last < 0 || math.IsNaN(a.fell(i)) || math.IsNaN(a.fell(n)) {
		return false
	}
	next := s.sound(n, 1)
	other, seen, in := a.fallsAbout(i)
	if seen < fallWindow/2 || fall < fallOther*other {
		return false
	}
	// A fall from a reading that stood out was a spike's, and one that comes back.
	may, back := fallRise*s.noise, s.p[next]-s.p[n]
	if overlaps(a.x.fill, s.t[last]-s.dt/2, s.t[i]) {
		may += 2 * in
	}
	if overlaps(a.x.fill, s.t[n], s.t[next]) {
		if back < -3*s.noise { // with the supply below the chamber the open inlet lets it fall, and go on falling
			return false
		}
		back -= in
	}
	if s.p[i]-s.p[last] > may || back > fallBack*fall {
		return false
	}
	cools, known := a.coolsAfterClosing(i)
	return known && fall > fallOther*cools
}

// fallsAbout gives the largest fall among the readings about i, how many were looked
// at, and the most that the inlet brings from one reading to the next, Pa; not those
// beside i.
func (a *analysis) fallsAbout(i int) (most float64, seen int, in float64) {
	var rises []float64
	for _, way := range []int{1, -1} {
		m := i
		for k := 1; k <= fallWindow; k++ {
			if m = a.s.sound(m, way); m < 0 {
				break
			}
			f := a.fell(m)
			if k == 1 || math.IsNaN(f) {
				continue
			}
			most = max(most, f)
			seen++
			if overlaps(a.x.fill, a.s.t[m], a.s.t[a.s.sound(m, 1)]) {
				rises = append(rises, -f)
			}
		}
	}
	if len(rises) > 0 {
		slices.Sort(rises)
		in = max(rises[len(rises)*9/10], 0) // a spike is no rise
	}
	return most, seen, in
}

// coolsAfterClosing is the most that the gas loses between two of the first readings
// after the inlet has shut, at the pressure of reading i, by the other closings of the
// record; 0 where i is none of those, not known where there are no others.
func (a *analysis) coolsAfterClosing(i int) (pa float64, known bool) {
	s := a.s
	alike, fresh := 0, false
	for _, o := range a.x.fill {
		m := sort.SearchFloat64s(s.t, o.end) - 1 // the readings from the last before it on
		for k := 0; k <= fallFresh && m < len(s.t); k++ {
			if m = s.sound(m, 1); m < 0 {
				break
			}
			if m == i {
				fresh = true
				break
			}
			if f := a.fell(m); !math.IsNaN(f) && k < fallFresh && s.sound(m, 1) != i && s.sound(m, -1) != i {
				pa = max(pa, f*s.p[i]/s.p[m])
				alike++
			}
		}
	}
	if !fresh {
		return 0, true
	}
	return pa, alike >= fallFresh
}
