package statistics

import (
	"math"
)

// Family is a distribution of depths whose logarithm has a location and a scale.
type Family int

// The families. For Weibull the location is ln η and the scale 1/β; for
// lognormal they are mean and standard deviation of the logarithm.
const (
	Weibull Family = iota
	Lognormal
)

func (f Family) String() string {
	if f == Lognormal {
		return "lognormal"
	}
	return "Weibull"
}

// Z gives the standard quantile of a share that has failed, 0 < p < 1: the
// smallest extreme value's ln(−ln(1−p)), or the normal's.
func (f Family) Z(p float64) float64 {
	if f == Lognormal {
		return normalZ(p)
	}
	return math.Log(-math.Log1p(-p))
}

// P gives the share that has failed at a standard value: inverse of Z.
func (f Family) P(z float64) float64 {
	if f == Lognormal {
		return normalP(z)
	}
	return -math.Expm1(-math.Exp(z))
}

func normalZ(p float64) float64 { return -math.Sqrt2 * math.Erfcinv(2*p) }
func normalP(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// terms are the log-likelihood of one observation with its first and second
// derivatives by the standard values of its lower and upper end. An exact one
// has all in the upper.
type terms struct{ ll, gl, gu, hll, hlu, huu float64 }

var logSqrt2Pi = 0.5 * math.Log(2*math.Pi)

// density gives the log density at z, its derivative and its second derivative.
func (f Family) density(z float64) (v, d, dd float64) {
	if f == Lognormal {
		return -0.5*z*z - logSqrt2Pi, -z, -1
	}
	e := math.Exp(z)
	return z - e, 1 - e, -e
}

// logSurvival is ln(1−F).
func (f Family) logSurvival(z float64) float64 {
	if f == Lognormal {
		return logNormalTail(z)
	}
	return -math.Exp(z)
}

// logFailed is ln F.
func (f Family) logFailed(z float64) float64 {
	if f == Lognormal {
		return logNormalTail(-z)
	}
	return log1mexp(math.Exp(z))
}

// logBetween is ln(F(zu) − F(zl)), zl < zu, without losing the far tails.
func (f Family) logBetween(zl, zu float64) float64 {
	if f == Weibull {
		el := math.Exp(zl)
		// e^zu − e^zl, with expm1 where they are close.
		return -el + log1mexp(el*math.Expm1(zu-zl))
	}
	if zl+zu < 0 {
		zl, zu = -zu, -zl
	}
	a, b := logNormalTail(zl), logNormalTail(zu)
	return a + log1mexp(a-b)
}

// log1mexp is ln(1 − e^−x), x > 0 (Mächler 2012, "Accurately computing
// log(1−exp(−|a|))", eq. 7).
func log1mexp(x float64) float64 {
	if x <= math.Ln2 {
		return math.Log(-math.Expm1(-x))
	}
	return math.Log1p(-math.Exp(-x))
}

// logNormalTail is ln Q(z). Beyond z = 30 the asymptotic series of Mills' ratio
// (Abramowitz and Stegun 26.2.12) is good to 1e-9.
func logNormalTail(z float64) float64 {
	if z < 30 {
		return math.Log(0.5 * math.Erfc(z/math.Sqrt2))
	}
	i := 1 / (z * z)
	return -0.5*z*z - logSqrt2Pi - math.Log(z) + math.Log1p(-i+3*i*i-15*i*i*i)
}

// between gives the terms of a censored observation; zl is −Inf or zu +Inf where
// it is open.
func (f Family) between(zl, zu float64) terms {
	var t terms
	openL, openU := math.IsInf(zl, -1), math.IsInf(zu, 1)
	switch {
	case openL && openU:
		return t
	case openL:
		t.ll = f.logFailed(zu)
	case openU:
		t.ll = f.logSurvival(zl)
	default:
		t.ll = f.logBetween(zl, zu)
	}
	if math.IsInf(t.ll, 0) || math.IsNaN(t.ll) {
		return terms{ll: math.Inf(-1)}
	}
	if !openU {
		v, d, _ := f.density(zu)
		r := math.Exp(v - t.ll)
		t.gu, t.huu = r, r*d-r*r
	}
	if !openL {
		v, d, _ := f.density(zl)
		r := math.Exp(v - t.ll)
		t.gl, t.hll = -r, -r*d-r*r
	}
	t.hlu = -t.gl * t.gu
	return t
}
