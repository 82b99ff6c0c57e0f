package statistics

import "math"

// datum is an observation as the likelihood takes it: logarithms, −Inf and +Inf
// where open, and the group whose location it has.
type datum struct {
	low, high float64
	group     int
}

// fixed says which of slope and intercept are held.
type fixed int

const (
	none      fixed = iota
	intercept       // the intercepts stay as they begin
	slope           // the slope stays as it begins
)

// line is z = a·y + b[group], y the logarithm: a = 1/scale, b = −location/scale.
// In a and b the log-likelihood of both families is concave, censored or not
// (Burridge 1981, J. R. Statist. Soc. B 43, 41–45; Pratt 1981, J. Amer. Statist.
// Assoc. 76, 103–106), so that Newton's method with step halving climbs to the
// one maximum.
type line struct {
	a  float64
	b  [2]float64
	ll float64
}

const (
	flattest = 1e-4 // slope below which the scatter has no upper bound
	steepest = 1e7  // slope above which there is no scatter
)

type slopes struct {
	ll, ga, haa float64
	gb, hbb     [2]float64
	hab         [2]float64
}

// at gives log-likelihood, gradient and Hessian. Exact observations count with
// their density on the logarithm's scale.
func at(f Family, data []datum, a float64, b [2]float64) slopes {
	var s slopes
	for _, d := range data {
		g := d.group
		if d.low == d.high {
			z := a*d.high + b[g]
			v, dv, ddv := f.density(z)
			s.ll += v + math.Log(a)
			s.ga += dv*d.high + 1/a
			s.haa += ddv*d.high*d.high - 1/(a*a)
			s.gb[g] += dv
			s.hbb[g] += ddv
			s.hab[g] += ddv * d.high
			continue
		}
		zl, zu, yl, yu := math.Inf(-1), math.Inf(1), 0.0, 0.0
		if !math.IsInf(d.low, -1) {
			yl = d.low
			zl = a*yl + b[g]
		}
		if !math.IsInf(d.high, 1) {
			yu = d.high
			zu = a*yu + b[g]
		}
		t := f.between(zl, zu)
		s.ll += t.ll
		s.ga += t.gl*yl + t.gu*yu
		s.haa += t.hll*yl*yl + 2*t.hlu*yl*yu + t.huu*yu*yu
		s.gb[g] += t.gl + t.gu
		s.hbb[g] += t.hll + 2*t.hlu + t.huu
		s.hab[g] += t.hll*yl + t.hlu*(yl+yu) + t.huu*yu
	}
	return s
}

// climb finds the maximum from a start, with what is fixed held. ok is false
// where the slope runs to one of its ends.
func climb(f Family, data []datum, groups int, from line, hold fixed) (best line, ok bool) {
	a, b := from.a, from.b
	s := at(f, data, a, b)
	for range 200 {
		da, db := 0.0, [2]float64{}
		switch hold {
		case none:
			// The Hessian is an arrow: eliminate the intercepts.
			h, g := s.haa, s.ga
			for k := range groups {
				if s.hbb[k] < 0 {
					h -= s.hab[k] * s.hab[k] / s.hbb[k]
					g -= s.hab[k] * s.gb[k] / s.hbb[k]
				}
			}
			da = step(g, h, a)
			da = max(da, -0.8*a)
			for k := range groups {
				db[k] = step(s.gb[k]+s.hab[k]*da, s.hbb[k], 1)
			}
		case intercept:
			da = max(step(s.ga, s.haa, a), -0.8*a)
		case slope:
			for k := range groups {
				db[k] = step(s.gb[k], s.hbb[k], 1)
			}
		}
		gain := da * s.ga
		for k := range groups {
			gain += db[k] * s.gb[k]
		}
		if !(gain > 1e-14*(1+math.Abs(s.ll))) {
			break
		}
		moved := false
		for t := 1.0; t > 1e-10; t /= 2 {
			na, nb := a+t*da, b
			for k := range groups {
				nb[k] += t * db[k]
			}
			n := at(f, data, na, nb)
			if n.ll > s.ll {
				a, b, s, moved = na, nb, n, true
				break
			}
		}
		if !moved || a < flattest || a > steepest {
			break
		}
	}
	return line{a, b, s.ll}, a >= flattest && a <= steepest
}

// step is Newton's, or along the gradient where the curve is flat.
func step(g, h, size float64) float64 {
	if h < -1e-300 {
		return -g / h
	}
	if g == 0 {
		return 0
	}
	return math.Copysign(size, g)
}

// begin gives a start from the middles of the observations, and the centre to
// which the logarithms are best shifted.
func begin(data []datum) (middle, spread float64) {
	n, sum, sq := 0.0, 0.0, 0.0
	for _, d := range data {
		y := d.high
		switch {
		case math.IsInf(d.high, 1):
			y = d.low
		case !math.IsInf(d.low, -1):
			y = (d.low + d.high) / 2
		}
		if math.IsInf(y, 0) {
			continue
		}
		n++
		sum += y
		sq += y * y
	}
	middle = sum / n
	return middle, math.Sqrt(max(sq/n-middle*middle, 1e-4))
}
