package analysis

import (
	"math"
	"sort"
)

// The inflow of a ramp is not known, but it is even: an inlet lets the pressure
// rise along a smooth line. A leak that begins in a ramp bends that line by as
// much as it takes, until whatever governs the inlet has made up for it. How much
// that is follows from the leak that the hold behind it shows; so the readings of
// the ramp say how likely each onset is. Before the onset the pressure is an
// integrated random walk, as even as the ramps of the record make likeliest
// (Wahba, J. R. Stat. Soc. B 40 (1978) 364, has this for smoothing splines).

// rampLeak is what one opening of the inlet says of a leak that begins in it.
type rampLeak struct {
	from, to float64 // s
	at       []float64
	by       [len(governs)][]bent // for each onset, by how fast the inlet is governed
}

// bent is the readings' agreement with the bend that a leak of 1 ml/h/Pa makes.
type bent struct {
	with float64 // bend × readings, weighed
	self float64 // bend × bend, weighed
}

// governs are the times within which an inlet may make up for a leak, s; common
// practice, no source.
var governs = [...]float64{4, 9, 25, 100}

const (
	rampLeast  = 24     // readings
	rampMost   = 900    // readings; more are averaged
	rampOnsets = 220    // onsets that are tried
	rampStartS = 8.0    // s, in which the inlet finds its flow; common practice, no source
	rampStart  = 0.03   // 1/s, by how much of the ramp's rate that bends it
	rampLeakSD = 0.35   // of what is expected: how the gas warms, and how the leak may differ
	rampUsual  = 1600.0 // Pa/s, a ramp of 10 m/min
)

// rampLeaks prepares the ramps of the record.
func (a *analysis) rampLeaks() []*rampLeak {
	if a.ramps != nil {
		return a.ramps
	}
	a.ramps = []*rampLeak{}
	if a.byHand() || a.v.waterFed {
		return a.ramps
	}
	var lines []*evenLine
	for _, st := range a.stages {
		if !st.ramp.real() {
			continue
		}
		for _, o := range a.x.fill {
			if o.start > st.ramp.end || o.end < st.ramp.start || math.IsInf(o.end, 1) {
				continue
			}
			if l := a.evenLine(interval{o.start, min(o.end, st.ramp.end)}); l != nil {
				lines = append(lines, l)
			}
		}
	}
	best, top := 1.0, math.Inf(-1)
	for q := 0.01; q < 2e4; q *= 4 {
		sum := 0.0
		for _, l := range lines {
			sum += l.filter(q)
		}
		if sum > top {
			best, top = q, sum
		}
	}
	for _, l := range lines {
		l.filter(best)
		a.ramps = append(a.ramps, a.bends(l))
	}
	return a.ramps
}

// evenLine is the readings of one opening as an integrated random walk about a
// line, by a Kalman filter.
type evenLine struct {
	interval
	t, y  []float64 // s, Pa
	r     float64   // Pa², variance of a reading
	rate  float64   // Pa/s
	gain  [][2]float64
	s     []float64 // variance of each innovation
	e     []float64 // the readings' innovations
	scale float64
}

func (a *analysis) evenLine(o interval) *evenLine {
	s := a.s
	l := &evenLine{interval: o}
	lo, hi := between(s.t, o.start+1.2*s.dt, o.end+1e-6)
	for i := lo; i < hi; i++ {
		if !s.spike[i] {
			l.t, l.y = append(l.t, s.t[i]), append(l.y, s.p[i])
		}
	}
	if len(l.t) < rampLeast {
		return nil
	}
	m := (len(l.t) + rampMost - 1) / rampMost
	if m > 1 {
		k := 0
		for i := 0; i+m <= len(l.t); i += m {
			var t, y float64
			for j := i; j < i+m; j++ {
				t += l.t[j] / float64(m)
				y += l.y[j] / float64(m)
			}
			l.t[k], l.y[k] = t, y
			k++
		}
		l.t, l.y = l.t[:k], l.y[:k]
	}
	l.r = s.noise * s.noise / float64(m)
	n := len(l.t)
	l.rate = (l.y[n-1] - l.y[0]) / (l.t[n-1] - l.t[0])
	if l.rate <= 0 {
		return nil
	}
	base := l.y[0]
	for i := range l.y {
		l.y[i] -= base + l.rate*(l.t[i]-l.t[0])
	}
	return l
}

// filter sets the gains for an intensity q of the walk, (Pa/s²)² s at 10 m/min,
// and gives the log likelihood of the readings.
func (l *evenLine) filter(q float64) float64 {
	n := len(l.t)
	l.gain, l.s = make([][2]float64, n), make([]float64, n)
	q *= l.rate * l.rate / (rampUsual * rampUsual)
	p00, p01, p11 := 1e10, 0.0, l.rate*l.rate
	for i := range l.t {
		if i > 0 {
			d := l.t[i] - l.t[i-1]
			start := rampStart * l.rate
			q := q + start*start*rampStartS*math.Exp(-2*(l.t[i]-l.start)/rampStartS)
			p00 += 2*d*p01 + d*d*p11 + q*d*d*d/3
			p01 += d*p11 + q*d*d/2
			p11 += q * d
		}
		s := p00 + l.r
		k0, k1 := p00/s, p01/s
		l.gain[i], l.s[i] = [2]float64{k0, k1}, s
		p11 -= k1 * p01
		p01 -= k0 * p01
		p00 -= k0 * p00
	}
	l.e = l.innovations(l.y, 0)
	sum, chi := 0.0, 0.0
	for i, e := range l.e {
		z := e * e / l.s[i]
		chi += z
		sum -= (min(z, 16) + math.Log(l.s[i])) / 2 // a stray reading must not decide
	}
	l.scale = max(1, chi/float64(n))
	return sum
}

// innovations filters a course whose first values are zero up to from.
func (l *evenLine) innovations(y []float64, from int) []float64 {
	e := make([]float64, len(y))
	x, v := 0.0, 0.0
	for i := from; i < len(y); i++ {
		if i > 0 {
			x += v * (l.t[i] - l.t[i-1])
		}
		e[i] = y[i] - x
		x += l.gain[i][0] * e[i]
		v += l.gain[i][1] * e[i]
	}
	return e
}

// bends weighs the readings of an opening against the bend of each onset.
func (a *analysis) bends(l *evenLine) *rampLeak {
	r := &rampLeak{from: l.start, to: l.end}
	n := len(l.t)
	// What a leak of 1 ml/h/Pa takes from the pressure, Pa/s.
	take := make([]float64, n)
	for i, t := range l.t {
		pa := a.pressureAt(t)
		take[i] = max(a.drive(t), 0) / 3600 / a.v.compliance(pa, 0)
		if a.v.gas {
			take[i] /= liquidEquivalent(1, pa, a.sealed, 293.15)
		}
	}
	parts := 2
	step := 1
	for n*parts/step > rampOnsets {
		if parts > 1 {
			parts = 1
		} else {
			step++
		}
	}
	y := make([]float64, n)
	for i := 0; i+1 < n; i += step {
		for part := range parts {
			t0 := l.t[i] + (l.t[i+1]-l.t[i])*float64(part)/float64(parts)
			r.at = append(r.at, t0)
			for g, tau := range governs {
				clear(y)
				h, last := 0.0, t0
				for j := i + 1; j < n; j++ {
					d := l.t[j] - last
					keep := math.Exp(-d / tau)
					h = h*keep - take[j]*tau*(1-keep)
					y[j], last = h, l.t[j]
				}
				e := l.innovations(y, i+1)
				var b bent
				for j := i + 1; j < n; j++ {
					b.with += e[j] * l.e[j] / l.s[j]
					b.self += e[j] * e[j] / l.s[j]
				}
				b.with /= l.scale
				b.self /= l.scale
				r.by[g] = append(r.by[g], b)
			}
		}
	}
	return r
}

// says is the logarithm of how much likelier the readings of the ramp are with a
// leak of k ml/h/Pa from t on than with none.
func (r *rampLeak) says(t, k float64) float64 {
	if t >= r.to || len(r.at) < 2 {
		return 0
	}
	i := min(max(sort.SearchFloat64s(r.at, t), 1), len(r.at)-1)
	f := min(max((t-r.at[i-1])/(r.at[i]-r.at[i-1]), 0), 1)
	sum, top := 0.0, math.Inf(-1)
	var list [len(governs)]float64
	for g := range governs {
		p, q := r.by[g][i-1], r.by[g][i]
		with := k * (p.with + f*(q.with-p.with))
		self := k * k * (p.self + f*(q.self-p.self))
		const v = rampLeakSD * rampLeakSD
		list[g] = (with*with*v+2*with-self)/(2*(1+v*self)) - math.Log1p(v*self)/2
		top = max(top, list[g])
	}
	for _, l := range list {
		sum += math.Exp(l - top)
	}
	return top + math.Log(sum/float64(len(governs)))
}

// rampAt is the ramp that holds t; nil for none.
func (a *analysis) rampAt(t float64) *rampLeak {
	for _, r := range a.rampLeaks() {
		if t >= r.from && t < r.to {
			return r
		}
	}
	return nil
}
