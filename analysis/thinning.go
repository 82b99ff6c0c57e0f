package analysis

import "math"

// A record of any length is kept in the same room: a night at 10 Hz whole, of a longer
// one fewer readings of its calm hours, and every reading of what lasts minutes: ramps,
// the gas settling after them, what comes before and after a valve moves or a probe
// becomes wet. Only where those alone are too many are they thinned too.
const (
	mostPressures = 450_000 // readings of a transducer: 12.5 h at 10 Hz
	calmAfter     = 600.0   // s after the last thing that happened
	heldBack      = 256     // readings before the next
)

// thinning says how much of a table's pressures is kept: one reading in each width of
// time. It is the same for all transducers, so that what they read at the same time stays
// together.
type thinning struct {
	base float64 // s between two readings
	busy float64 // s; 0: every reading
	calm float64 // s; 0: every reading
	rest float64 // s, since when nothing happens; +Inf in a ramp, a vent, before the first stage
}

// pressures is what one transducer read.
type pressures struct {
	sensor string
	t      []float64 // s
	p      []float64 // Pa absolute
	calm   []bool    // nothing happened then

	late [heldBack]readingAt // not yet in the columns: what happens next makes them count
	from int
	held int
}

type readingAt struct {
	t, p float64
	calm bool
}

// calmAt says whether nothing has happened for a while.
func (n *thinning) calmAt(t float64) bool { return t > n.rest+calmAfter }

// last is the time of the latest reading, s.
func (c *pressures) last() float64 {
	switch {
	case c.held > 0:
		return c.late[(c.from+c.held-1)%heldBack].t
	case len(c.t) > 0:
		return c.t[len(c.t)-1]
	}
	return math.Inf(-1)
}

func (x *table) addPressure(sensor string, t, p float64) {
	for i := range x.chambers {
		if c := &x.chambers[i]; c.sensor == sensor {
			x.keep(c, t, p)
			return
		}
	}
	if len(x.chambers) < 8 {
		x.chambers = append(x.chambers, pressures{sensor: sensor})
		x.keep(&x.chambers[len(x.chambers)-1], t, p)
	}
}

func (x *table) keep(c *pressures, t, p float64) {
	if t <= c.last() {
		return // a doubled or backward time stamp: the first stands
	}
	r := readingAt{t, p, x.thin.calmAt(t)}
	if x.thin.calm == 0 { // nothing is thinned yet: what is in the columns is all there is
		x.put(c, r)
		return
	}
	if c.held == heldBack {
		x.letGo(c)
	}
	c.late[(c.from+c.held)%heldBack] = r
	c.held++
}

// letGo puts the oldest of the readings that are held back into the columns, if there is
// none of its time yet.
func (x *table) letGo(c *pressures) {
	r := c.late[c.from]
	c.from, c.held = (c.from+1)%heldBack, c.held-1
	if n := len(c.t); n == 0 || x.thin.both(c.t[n-1], c.calm[n-1], r.t, r.calm) {
		x.put(c, r)
	}
}

func (x *table) put(c *pressures, r readingAt) {
	most := min(mostPressures, 2*mostPressures/len(x.chambers))
	c.t, c.p, c.calm = append(room(c.t, most), r.t), append(room(c.p, most), r.p), append(room(c.calm, most), r.calm)
	for len(c.t) >= most {
		x.thinOut(c)
	}
}

// both says whether a reading is kept behind the one that was kept before it.
func (n *thinning) both(t0 float64, calm0 bool, t float64, calm bool) bool {
	width := n.busy
	if calm0 && calm {
		width = n.calm
	}
	return width == 0 || math.Floor((t+n.base/2)/width) != math.Floor((t0+n.base/2)/width)
}

// manyCalm says whether a full column holds enough readings of calm times to thin those.
// A thousand widths are the least: then it is the busy times that are too many.
func manyCalm(calm []bool, t []float64, width float64) bool {
	n := 0
	for _, is := range calm {
		if is {
			n++
		}
	}
	return n >= len(t)/4 && width < (t[len(t)-1]-t[0])/1000
}

// thinOut makes room in all columns, for a full one.
func (x *table) thinOut(full *pressures) {
	n := &x.thin
	if n.base == 0 {
		n.base = medianStep(full.t)
	}
	if manyCalm(full.calm, full.t, n.calm) {
		n.calm = 2 * max(n.calm, n.base)
	} else {
		n.busy = 2 * max(n.busy, n.base)
		n.calm = max(n.calm, n.busy)
	}
	for i := range x.chambers {
		c := &x.chambers[i]
		k := 0
		for j := range c.t {
			if k == 0 || n.both(c.t[k-1], c.calm[k-1], c.t[j], c.calm[j]) {
				c.t[k], c.p[k], c.calm[k] = c.t[j], c.p[j], c.calm[j]
				k++
			}
		}
		c.t, c.p, c.calm = c.t[:k], c.p[:k], c.calm[:k]
	}
}

// happens says that at t the chamber or the unit was touched by more than time: what was
// read just before it counts, and what is read for some minutes after it.
func (x *table) happens(t float64) {
	if !math.IsInf(x.thin.rest, 1) {
		x.thin.rest = t
	}
	for i := range x.chambers {
		c := &x.chambers[i]
		for j := range c.held {
			c.late[(c.from+j)%heldBack].calm = false
		}
		for j := max(0, len(c.calm)-heldBack+c.held); j < len(c.calm); j++ {
			c.calm[j] = false
		}
	}
}

// enters says that a stage of a kind begins.
func (x *table) enters(kind string, t float64) {
	x.thin.rest = math.Inf(1)
	if kind == "settle" || kind == "hold" {
		x.thin.rest = t
	}
	x.happens(t)
}

// pressuresEnd puts into the columns what was held back.
func (x *table) pressuresEnd() {
	x.happens(x.endS)
	for i := range x.chambers {
		for x.chambers[i].held > 0 {
			x.letGo(&x.chambers[i])
		}
	}
}

// pace is how closely the readings of a signal lie: each dt, and each calmDT where calm
// is set, which may be nil.
type pace struct {
	dt, calmDT float64 // s
	calm       []bool
}

// even is the pace of a signal that is not thinned.
func even(dt float64) pace { return pace{dt: dt} }

// at is the interval at reading i, s.
func (p pace) at(i int) float64 {
	if p.calm != nil && p.calm[i] {
		return p.calmDT
	}
	return p.dt
}

// across is the interval that may lie between two neighbours, s.
func (p pace) across(i, j int) float64 { return max(p.at(i), p.at(j)) }

// pace is that of its busy times, if it has them.
func (x *table) pace(c *pressures) pace { return paceOf(c.t, c.calm, x.thin.calm > x.thin.busy) }

func paceOf(t []float64, isCalm []bool, thinned bool) pace {
	all := even(medianStep(t))
	if !thinned {
		return all
	}
	var busy, calm []float64
	for i := 1; i < len(t); i += max(1, len(t)/20_000) {
		switch d := t[i] - t[i-1]; {
		case isCalm[i-1] && isCalm[i]:
			calm = append(calm, d)
		case !isCalm[i-1] && !isCalm[i]:
			busy = append(busy, d)
		}
	}
	if len(busy) < 50 || len(calm) == 0 {
		return all
	}
	return pace{dt: max(median(busy), 1e-3), calmDT: max(median(calm), 1e-3), calm: isCalm}
}
