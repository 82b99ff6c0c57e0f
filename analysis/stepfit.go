package analysis

import "math"

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

// stepFit fits a cubic to the readings on both sides of the gap before
// reading i, with a step and a change of slope there: the step and its standard
// uncertainty for readings of unit noise; NaN where too few follow.
func stepFit(ts, ps, t, p []float64, spike []bool, i int, end, dt float64) (step, lever float64) {
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
