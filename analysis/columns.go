package analysis

import "math"

// How much is kept of a record, however long it is: a night at 10 Hz whole, of
// longer ones fewer readings.
const (
	mostSlow      = 100_000 // readings of a slow signal: 12.5 h of slowBin
	mostPressures = 450_000 // readings of a transducer: 12.5 h at 10 Hz
	fewReadings   = 1 << 14 // up to so many a column grows as it must
)

// slowBin is the time over which slow signals are averaged, s, until there are
// mostSlow of them.
const slowBin = 0.45

// series is one slow signal as two columns: seconds since the first line, value.
// Readings that come faster than width are averaged: temperatures, humidity and
// the pressure inside a unit change over seconds.
type series struct {
	t []float64
	v []float32

	width                float64 // s; 0 before the first reading
	first, sumT, sumV, n float64
}

func (s *series) add(t, v float64) {
	if math.IsNaN(v) {
		return
	}
	if s.n > 0 && t-s.first >= s.width {
		s.flush()
	}
	if s.n == 0 {
		s.first = t
		s.width = max(s.width, slowBin)
	}
	s.sumT += t
	s.sumV += v
	s.n++
}

// flush ends the average under way.
func (s *series) flush() {
	if s.n == 0 {
		return
	}
	s.t = append(room(s.t, mostSlow), s.sumT/s.n)
	s.v = append(room(s.v, mostSlow), float32(s.sumV/s.n))
	s.sumT, s.sumV, s.n = 0, 0, 0
	for len(s.t) >= mostSlow { // the first rounds may only widen: a sensor that speaks each second has pauses of two widths
		s.halve()
	}
}

// halve averages neighbours, unless a pause lies between them.
func (s *series) halve() {
	s.width *= 2
	n := 0
	for i := 0; i < len(s.t); i++ {
		t, v := s.t[i], s.v[i]
		if i+1 < len(s.t) && s.t[i+1]-t < s.width {
			i++
			t, v = (t+s.t[i])/2, (v+s.v[i])/2
		}
		s.t[n], s.v[n] = t, v
		n++
	}
	s.t, s.v = s.t[:n], s.v[:n]
}

// pressures is what one transducer read: every one of its readings, or, where
// they are too many, every second, fourth and so on.
type pressures struct {
	sensor string
	t      []float64 // s
	p      []float64 // Pa absolute
	every  int
	passed int // since the last one that was kept
}

func (c *pressures) add(t, p float64, most int) {
	if n := len(c.t); n > 0 && t <= c.t[n-1] {
		return // a doubled or backward time stamp: the first stands
	}
	if c.passed++; c.passed < c.every {
		return
	}
	c.passed = 0
	c.t, c.p = append(room(c.t, most), t), append(room(c.p, most), p)
	if len(c.t) < most {
		return
	}
	n := 0
	for i := 1; i < len(c.t); i += 2 {
		c.t[n], c.p[n] = c.t[i], c.p[i]
		n++
	}
	c.t, c.p, c.every = c.t[:n], c.p[:n], 2*c.every
}

func (x *table) addPressure(sensor string, t, p float64) {
	for i := range x.chambers {
		if c := &x.chambers[i]; c.sensor == sensor {
			c.add(t, p, min(mostPressures, 2*mostPressures/len(x.chambers)))
			return
		}
	}
	if len(x.chambers) < 8 {
		x.chambers = append(x.chambers, pressures{sensor: sensor, t: []float64{t}, p: []float64{p}, every: 1})
	}
}

// room makes place for all that a column may ever hold once it is no short one:
// growing it bit by bit would leave as much behind several times over.
func room[T any](column []T, most int) []T {
	if len(column) == fewReadings && cap(column) < most {
		return append(make([]T, 0, most), column...)
	}
	return column
}
