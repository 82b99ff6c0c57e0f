package analysis

import (
	"math"
	"slices"
)

// jump is a sudden loss of chamber pressure between two readings.
type jump struct {
	i        int     // last sound reading before it
	t0, t1   float64 // s, that reading and the first one after the loss
	pa       float64 // Pa absolute, the smooth pressure at t0
	drop     float64 // Pa, what the pressure missed at t1
	u        float64 // Pa, standard uncertainty of drop
	paSD     float64 // Pa, standard uncertainty of pa
	slope    float64 // Pa/s before
	inletted bool    // the fill valve was open
}

func (j jump) z() float64 { return j.drop / j.u }

// changes lists the times at which a valve moved.
func (x *table) changes() []float64 {
	var c []float64
	for _, list := range [][]interval{x.fill, x.vent} {
		for _, o := range list {
			c = append(c, o.start)
			if !math.IsInf(o.end, 1) {
				c = append(c, o.end)
			}
		}
	}
	slices.Sort(c)
	return c
}

// jumpLimit is how many standard uncertainties a loss must have. A night of
// 10 Hz has 4e5 readings: at 6.5 with normal errors a false one comes once in
// some 6e4 nights; the second reading must agree besides.
const jumpLimit = 6.5

// trial is one reading against the parabola through the readings before it.
type trial struct {
	i          int
	drop       float64 // Pa missing
	lever      float64 // √(1 + variance of the parabola there)
	level, lsd float64 // Pa at the reading before, and its uncertainty in units of noise
	slope      float64
	last       float64 // s, the reading before
	second     float64 // Pa missing at the next reading, NaN without one
	lever2     float64
	segment    int
	moved      bool    // a valve moved before the next reading
	leant      bool    // the slope is borrowed from an earlier state
	fall       float64 // Pa that the reading lies below the one before
	step       float64 // Pa lost, by the fit of both sides; NaN without enough readings after
	stepLever  float64 // its standard uncertainty for unit noise
	open       bool
}

// findSteps looks at each reading for a loss against the parabola through the
// readings before it, under one state of the valves. In a ramp the supply makes
// the loss good within seconds, so only the next few readings show it; and an
// inlet's flow is never quite even, which shows in how far the readings of that
// ramp stray, and sets its limit.
func (a *analysis) findSteps() {
	changes := a.x.changes()
	trials := stepTrials(a.s.t, a.s.p, a.s.spike, a.s.dt, changes, 1, a.s.noise)
	for i := range trials {
		trials[i].open = openAt(a.x.fill, a.s.t[trials[i].i])
	}
	a.steps = judgeTrials(trials, a.s.t, a.s.noise)
}

// steps finds sudden rises of the inside pressure.
func (v *void) steps() []jump {
	if v.pa == nil {
		return nil
	}
	if v.jumps == nil {
		noise := v.noise * v.pa[0] / v.freeML
		v.jumps = judgeTrials(stepTrials(v.t, v.pa, v.bad, v.dt, nil, -1, noise), v.t, noise)
		if v.jumps == nil {
			v.jumps = []jump{}
		}
	}
	return v.jumps
}

// A state of the valves that has just begun has too few readings for a parabola
// of its own. It may lean on the last state but one, when the same valve stood
// the same way: an inlet lets in about as much as it did a few seconds ago.
const (
	leanWithin = 60.0 // s since that state ended
	leanShare  = 0.3  // of its slope: how well the slope carries over, standard uncertainty
	leanLeast  = 4    // readings of its own that a state needs besides
	leanBend   = 1e3  // weight that keeps a short state straight
	wholeState = 8    // readings with which a state stands alone
)

// leaning is what is known of a slope beforehand: none where w is 0.
type leaning struct {
	slope float64 // Pa/s
	w     float64 // weight of that, in readings of unit noise: (noise / its uncertainty)²
	ended float64 // s, when the state was left that it comes from
}

func stepTrials(t, p []float64, spike []bool, dt float64, changes []float64, sign, noise float64) []trial {
	const most = 14
	var before, last leaning // of the last state but one, and of the last
	ts := make([]float64, 0, most)
	ps := make([]float64, 0, most)
	next := 0
	from := math.Inf(-1) // since when the state has lasted
	end := math.Inf(1)
	if len(changes) > 0 {
		end = changes[0]
	}
	settled := max(1.2*dt, 0.2)
	segment := 0
	var list []trial
	for i := range t {
		if spike[i] {
			continue
		}
		for next < len(changes) && t[i] > changes[next] {
			from = changes[next]
			next++
			end = math.Inf(1)
			if next < len(changes) {
				end = changes[next]
			}
			before, last = last, leaning{}
			if len(ts) >= wholeState {
				if fit, ok := polyfit(ts, ps, ts[len(ts)-1], 1); ok {
					last = leaning{slope: fit.c[1], w: sq(noise / (leanShare * max(math.Abs(fit.c[1]), noise/dt))), ended: ts[len(ts)-1]}
				}
			}
			ts, ps = ts[:0], ps[:0]
			segment++
		}
		if len(ts) > 0 && t[i]-ts[len(ts)-1] > 4*dt {
			ts, ps = ts[:0], ps[:0]
		}
		if t[i] < from+settled {
			continue
		}
		lean, deg, least := leaning{}, 2, wholeState
		if len(ts) < wholeState && before.w > 0 && t[i]-before.ended < leanWithin {
			lean, deg, least = before, 1, leanLeast
		}
		if n := len(ts); n >= least {
			if fit, ok := leaningFit(ts, ps, ts[n-1], deg, lean); ok {
				pred, v := fit.at(t[i])
				level, lv := fit.at(ts[n-1])
				c := trial{i: i, drop: sign * (pred - p[i]), lever: math.Sqrt(1 + v), level: level, lsd: math.Sqrt(lv),
					slope: fit.c[1], last: ts[n-1], second: math.NaN(), segment: segment,
					leant: lean.w > 0, fall: sign * (ps[n-1] - p[i])}
				k := i + 1
				for k < len(t) && spike[k] {
					k++
				}
				if k < len(t) && t[k]-t[i] < 4*dt {
					p2, v2 := fit.at(t[k])
					c.second, c.lever2 = sign*(p2-p[k]), math.Sqrt(1+v2)
					c.moved = t[k] > end
				}
				c.step, c.stepLever = leaningStepFit(ts, ps, t, p, spike, i, end, dt, lean)
				c.step *= -sign
				list = append(list, c)
			}
		}
		if len(ts) == most {
			copy(ts, ts[1:])
			copy(ps, ps[1:])
			ts, ps = ts[:most-1], ps[:most-1]
		}
		ts = append(ts, t[i])
		ps = append(ps, p[i])
	}
	return list
}

// judgeTrials keeps the losses that stand out from the noise and from how far
// the other readings of the same state of the valves stray: the first one of
// each state, since the readings behind a loss are bent by it.
func judgeTrials(list []trial, t []float64, noise float64) []jump {
	var found []jump
	var opens []float64
	for _, c := range list {
		if c.open && !c.leant {
			opens = append(opens, c.drop/c.lever)
		}
	}
	inlet := 2 * noise
	if len(opens) >= 20 {
		inlet = max(noise, madSD(opens))
	}
	for lo := 0; lo < len(list); {
		hi := lo
		for hi < len(list) && list[hi].segment == list[lo].segment {
			hi++
		}
		part := list[lo:hi]
		lo = hi
		r := make([]float64, 0, len(part))
		for _, c := range part {
			if !c.leant {
				r = append(r, c.drop/c.lever)
			}
		}
		scale := noise
		if part[0].open {
			scale = inlet
		}
		if len(r) >= 30 {
			scale = max(noise, madSD(r))
		}
		for _, c := range part {
			u := scale * c.lever
			if c.drop < jumpLimit*u || !(c.second > 0.3*c.drop) || c.second < 2.5*scale*c.lever2 {
				continue
			}
			// A valve that moves right behind it could have done it, unless it is large.
			if c.moved && c.drop < 3*jumpLimit*u {
				continue
			}
			// A borrowed slope proves nothing but what the readings show by
			// themselves: that the pressure stood still or fell while gas was let
			// in, and a gap between the readings of both sides.
			if c.leant && !(c.open && c.fall > -0.3*c.drop && c.step > jumpLimit*scale*c.stepLever) {
				continue
			}
			// A bend is no step: the readings of both sides must leave a gap.
			if !math.IsNaN(c.step) && c.step < 4.5*scale*c.stepLever {
				continue
			}
			found = append(found, jump{i: c.i - 1, t0: c.last, t1: t[c.i], pa: c.level, drop: c.drop, u: u, paSD: noise * c.lsd, slope: c.slope, inletted: c.open})
			break
		}
	}
	return found
}

// poly is a least-squares parabola or line about a centre, with the variance of
// its value in units of the readings'.
type poly struct {
	mid float64
	deg int
	c   [3]float64
	inv [3][3]float64
}

func (p *poly) at(t float64) (value, variance float64) {
	x := t - p.mid
	f := [3]float64{1, x, x * x}
	for i := 0; i <= p.deg; i++ {
		value += p.c[i] * f[i]
		for j := 0; j <= p.deg; j++ {
			variance += f[i] * p.inv[i][j] * f[j]
		}
	}
	return value, variance
}

func polyfit(ts, ps []float64, mid float64, deg int) (poly, bool) {
	return leaningFit(ts, ps, mid, deg, leaning{})
}

// leaningFit is polyfit with what is known of the slope at mid beforehand.
func leaningFit(ts, ps []float64, mid float64, deg int, lean leaning) (poly, bool) {
	p := poly{mid: mid, deg: deg}
	var m [3][6]float64
	k := deg + 1
	base := ps[len(ps)-1]
	for n := range ts {
		x := ts[n] - mid
		f := [3]float64{1, x, x * x}
		for i := range k {
			for j := range k {
				m[i][j] += f[i] * f[j]
			}
			p.c[i] += f[i] * (ps[n] - base)
		}
	}
	m[1][1] += lean.w
	p.c[1] += lean.w * lean.slope
	for i := range k {
		m[i][3+i] = 1
	}
	// Gauss-Jordan with the right-hand side in p.c.
	for i := range k {
		q := i
		for j := i + 1; j < k; j++ {
			if math.Abs(m[j][i]) > math.Abs(m[q][i]) {
				q = j
			}
		}
		if math.Abs(m[q][i]) < 1e-12 {
			return p, false
		}
		m[i], m[q] = m[q], m[i]
		p.c[i], p.c[q] = p.c[q], p.c[i]
		f := 1 / m[i][i]
		for j := range m[i] {
			m[i][j] *= f
		}
		p.c[i] *= f
		for r := range k {
			if r == i {
				continue
			}
			g := m[r][i]
			for j := range m[r] {
				m[r][j] -= g * m[i][j]
			}
			p.c[r] -= g * p.c[i]
		}
	}
	for i := range k {
		for j := range k {
			p.inv[i][j] = m[i][3+j]
		}
	}
	p.c[0] += base
	return p, true
}

func openAt(list []interval, t float64) bool {
	for _, o := range list {
		if t > o.start && t <= o.end {
			return true
		}
	}
	return false
}

// stepFit fits a cubic to the readings on both sides of the gap before
// reading i, with a step and a change of slope there: the step and its standard
// uncertainty for readings of unit noise; NaN where too few follow.
func stepFit(ts, ps, t, p []float64, spike []bool, i int, end, dt float64) (step, lever float64) {
	return leaningStepFit(ts, ps, t, p, spike, i, end, dt, leaning{})
}

// leaningStepFit is stepFit with what is known of the slope before beforehand.
func leaningStepFit(ts, ps, t, p []float64, spike []bool, i int, end, dt float64, lean leaning) (step, lever float64) {
	const k = 6
	const after = 8
	at := t[i]
	base := ps[len(ps)-1]
	var m [k][k + 2]float64
	scale := at - ts[0] + dt
	add := func(x, y, h float64) {
		f := [k]float64{1, x, x * x, h, h * x, x * x * x / (scale * scale)}
		for a := range k {
			for b := range k {
				m[a][b] += f[a] * f[b]
			}
			m[a][k] += f[a] * y
		}
	}
	for j := range ts {
		add(ts[j]-at, ps[j]-base, 0)
	}
	n := 0
	for j := i; j < len(t) && n < after && t[j] <= end && t[j]-at < 12*dt; j++ {
		if !spike[j] {
			add(t[j]-at, p[j]-base, 1)
			n++
		}
	}
	if n < 5 || len(ts) < 10 {
		return math.NaN(), 1
	}
	m[3][k+1] = 1 // the column of the inverse that belongs to the step
	for a := range k {
		q := a
		for b := a + 1; b < k; b++ {
			if math.Abs(m[b][a]) > math.Abs(m[q][a]) {
				q = b
			}
		}
		if math.Abs(m[q][a]) < 1e-12 {
			return math.NaN(), 1
		}
		m[a], m[q] = m[q], m[a]
		for b := range k {
			if b == a {
				continue
			}
			f := m[b][a] / m[a][a]
			for c := a; c < k+2; c++ {
				m[b][c] -= f * m[a][c]
			}
		}
	}
	return m[3][k] / m[3][3], math.Sqrt(max(m[3][k+1]/m[3][3], 0))
}

func sq(x float64) float64 { return x * x }
