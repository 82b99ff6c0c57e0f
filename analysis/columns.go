package analysis

import "math"

// How much is kept of a record, however long it is: a night at 10 Hz whole, of
// longer ones fewer readings.
const (
	mostSlow    = 100_000 // readings of a slow signal: 12.5 h of slowBin
	fewReadings = 1 << 14 // up to so many a column grows as it must
)

// slowBin is the time over which slow signals are averaged, s, until there are
// mostSlow of them.
const slowBin = 0.45

// series is one slow signal as two columns: seconds since the first line, value.
// Readings that come faster than its widths are averaged: temperatures, humidity and
// the pressure inside a unit change over seconds.
type series struct {
	t    []float64
	v    []float32
	calm []bool    // nothing happened then
	thin *thinning // nil: it is never calm

	busy, width          float64 // s, at busy times and at calm ones; 0 before the first reading
	first, sumT, sumV, n float64
	quiet                bool // the average under way
}

func (s *series) add(t, v float64) {
	if math.IsNaN(v) {
		return
	}
	calm := s.thin != nil && s.thin.calmAt(t)
	if s.n > 0 && (t-s.first >= s.widthOf(s.quiet) || s.quiet && !calm) {
		s.flush()
	}
	if s.n == 0 {
		s.first, s.quiet = t, calm
		s.busy, s.width = max(s.busy, slowBin), max(s.width, slowBin)
	}
	s.sumT += t
	s.sumV += v
	s.n++
}

func (s *series) widthOf(calm bool) float64 {
	if calm {
		return s.width
	}
	return s.busy
}

// flush ends the average under way.
func (s *series) flush() {
	if s.n == 0 {
		return
	}
	s.t = append(room(s.t, mostSlow), s.sumT/s.n)
	s.v = append(room(s.v, mostSlow), float32(s.sumV/s.n))
	s.calm = append(room(s.calm, mostSlow), s.quiet)
	s.sumT, s.sumV, s.n = 0, 0, 0
	for len(s.t) >= mostSlow { // the first rounds may only widen: a sensor that speaks each second has pauses of two widths
		s.halve()
	}
}

// halve averages neighbours, unless a pause lies between them: those of calm times, as
// long as there are many.
func (s *series) halve() {
	if manyCalm(s.calm, s.t, s.width) {
		s.width *= 2
	} else {
		s.busy *= 2
		s.width = max(s.width, s.busy)
	}
	n := 0
	for i := 0; i < len(s.t); i++ {
		t, v, calm := s.t[i], s.v[i], s.calm[i]
		if i+1 < len(s.t) && s.t[i+1]-t < s.widthOf(calm && s.calm[i+1]) {
			i++
			t, v, calm = (t+s.t[i])/2, (v+s.v[i])/2, calm && s.calm[i]
		}
		s.t[n], s.v[n], s.calm[n] = t, v, calm
		n++
	}
	s.t, s.v, s.calm = s.t[:n], s.v[:n], s.calm[:n]
}

// pace is that of its busy times, if it has them.
func (s *series) pace() pace { return paceOf(s.t, s.calm, s.width > s.busy) }

// room makes place for all that a column may ever hold once it is no short one:
// growing it bit by bit would leave as much behind several times over.
func room[T any](column []T, most int) []T {
	if len(column) == fewReadings && cap(column) < most {
		return append(make([]T, 0, most), column...)
	}
	return column
}
