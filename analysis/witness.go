package analysis

import "math"

// channel is one witness of a slow leak: readings about a level before the
// onset, which rise after it by a sum of shapes.
type channel struct {
	t, y, sd []float64
	trend    float64 // sd of a slope that was there before, units/s
	shapes   []func(t0, t float64) float64
	extra    []other // what else the reading may follow
}

// other is something else that a reading may follow, by an unknown share of it
// with standard uncertainty 1.
type other func(t float64) float64

// misfit gives χ² of the channel with the onset at t0, over level, trend and rise.
func (c *channel) misfit(t0 float64) float64 {
	chi2, _ := c.fit(t0)
	return chi2
}

// fit gives the same, and the sum of its shapes at the end.
func (c *channel) fit(t0 float64) (chi2, rise float64) {
	const k = 6
	var m [k][k]float64
	var r [k]float64
	yy := 0.0
	mid := c.t[len(c.t)/2]
	end := c.t[len(c.t)-1]
	span := end - c.t[0] + 1
	var scale [2]float64
	for j, shape := range c.shapes {
		scale[j] = max(math.Abs(shape(t0, end)), 1e-30)
	}
	base := c.y[0]
	for i, t := range c.t {
		w := 1 / (c.sd[i] * c.sd[i])
		f := [k]float64{1, (t - mid) / span}
		for j, other := range c.extra {
			f[4+j] = other(t)
		}
		if t > t0 {
			for j, shape := range c.shapes {
				f[2+j] = shape(t0, t) / scale[j]
			}
		}
		y := c.y[i] - base
		for a := range k {
			for b := range k {
				m[a][b] += w * f[a] * f[b]
			}
			r[a] += w * f[a] * y
		}
		yy += w * y * y
	}
	tr := c.trend * span
	m[1][1] += 1 / (tr*tr + 1e-30)
	m[4][4]++
	m[5][5]++
	for a := range k {
		m[a][a] += 1e-9 * m[0][0]
	}
	// Gauss elimination; what is left of the quadratic form is χ².
	for a := range k {
		if m[a][a] <= 0 {
			continue
		}
		for b := a + 1; b < k; b++ {
			f := m[b][a] / m[a][a]
			for j := a; j < k; j++ {
				m[b][j] -= f * m[a][j]
			}
			r[b] -= f * r[a]
		}
		yy -= r[a] * r[a] / m[a][a]
	}
	var b [k]float64
	for a := k - 1; a >= 0; a-- {
		if m[a][a] <= 0 {
			continue
		}
		b[a] = r[a]
		for j := a + 1; j < k; j++ {
			b[a] -= m[a][j] * b[j]
		}
		b[a] /= m[a][a]
	}
	for j, shape := range c.shapes {
		rise += b[2+j] * shape(t0, end) / scale[j]
	}
	return yy, rise
}

// course is the driving pressure cumulated over time on a grid, and the same
// behind a first-order lag, so that what a leak lets in, and what a sensor that
// follows with a lag shows of it, can be had for any onset.
type course struct {
	from, step float64
	sum, lag   []float64
	tau        float64
}

func (a *analysis) newCourse(from, to, tau float64) *course {
	const n = 2400
	c := &course{from: from, step: (to - from) / n, tau: tau, sum: make([]float64, n+1), lag: make([]float64, n+1)}
	keep := math.Exp(-c.step / tau)
	for i := 1; i <= n; i++ {
		t := from + c.step*(float64(i)-0.5)
		d := max(a.drive(t), 0)
		if a.v.gas {
			// Laminar flow of gas goes with the difference of the squares (TRADE.md section 3.5).
			d *= (a.pressureAt(t) - d/2) / a.sealed
		}
		c.sum[i] = c.sum[i-1] + d*c.step
		c.lag[i] = c.lag[i-1]*keep + d*tau*(1-keep)
	}
	return c
}

func (c *course) at(list []float64, t float64) float64 {
	p := (t - c.from) / c.step
	i := min(max(int(p), 0), len(list)-2)
	return list[i] + (p-float64(i))*(list[i+1]-list[i])
}

// driven is what has come in since t0, Pa s; of gas, in proportion to it.
func (c *course) driven(t0, t float64) float64 {
	return max(c.at(c.sum, t)-c.at(c.sum, t0), 0)
}

// lagged is the same as a sensor shows it that follows with time constant tau.
func (c *course) lagged(t0, t float64) float64 {
	e := math.Exp(-(t - t0) / c.tau)
	return max(c.driven(t0, t)-c.at(c.lag, t)+e*c.at(c.lag, t0), 0)
}

// steady is a constant source behind the same lag, s.
func (c *course) steady(t0, t float64) float64 {
	s := t - t0
	return s - c.tau*(1-math.Exp(-s/c.tau))
}

// bent is a source that grows or fades evenly, behind the same lag, s².
func (c *course) bent(t0, t float64) float64 {
	s := t - t0
	return s*s - 2*c.tau*s + 2*c.tau*c.tau*(1-math.Exp(-s/c.tau))
}

// humidityLag is how long a humidity sensor takes to follow: 5 to 10 s for the
// element and as much for the air about it (TRADE.md section 4), as a log-normal
// distribution.
const (
	humidityLag       = 15.0 // s
	humidityLagSpread = 0.45
)
