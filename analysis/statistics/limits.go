package statistics

import "math"

// Limits are the two ends of a confidence interval, each with half of what the
// confidence leaves.
type Limits struct{ Low, High float64 }

// profileQuantile is the log-likelihood where the logarithm of the value by
// which a standard share has failed is held at q (less the centre).
func (fit *Fit) profileQuantile(z, q, a float64) float64 {
	shifted := make([]datum, len(fit.data))
	for i, d := range fit.data {
		shifted[i] = datum{low: d.low - q, high: d.high - q}
	}
	l, _ := climb(fit.Family, shifted, 1, line{a: a, b: [2]float64{z}}, intercept)
	return l.ll
}

// root is the signed root of twice the loss of log-likelihood.
func (fit *Fit) root(ll float64) float64 { return math.Sqrt(max(0, 2*(fit.best.ll-ll))) }

// quantileEnd walks from the estimate in direction dir until the likelihood has
// fallen by what critical allows. −Inf or +Inf: it never does.
func (fit *Fit) quantileEnd(z, critical, dir float64) float64 {
	a := fit.best.a
	at := (z - fit.best.b[0]) / a // the estimate, less the centre
	stretch := max(1/a, 1e-6) * max(1, math.Abs(z))
	inside, outside := 0.0, math.NaN()
	for w := 0.5 * stretch; w < 60; w *= 2 {
		if fit.root(fit.profileQuantile(z, at+dir*w, a)) > critical {
			outside = w
			break
		}
		inside = w
	}
	if math.IsNaN(outside) {
		return math.Inf(int(dir))
	}
	w := crossing(inside, outside, func(w float64) float64 {
		return fit.root(fit.profileQuantile(z, at+dir*w, a)) - critical
	})
	return fit.centre + at + dir*w
}

// crossing finds where a rising function is zero, by the Illinois variant of
// regula falsi (Dowell and Jarratt 1971, BIT 11, 168–174), to 1e-7.
func crossing(low, high float64, f func(float64) float64) float64 {
	fl, fh := f(low), f(high)
	side := 0
	for range 100 {
		if high-low < 1e-9*(1+math.Abs(high)) {
			break
		}
		x := (low*fh - high*fl) / (fh - fl)
		if !(x > low && x < high) {
			x = (low + high) / 2
		}
		v := f(x)
		switch {
		case math.Abs(v) < 1e-8:
			return x
		case v > 0:
			high, fh = x, v
			if side == 1 {
				fl /= 2
			}
			side = 1
		default:
			low, fl = x, v
			if side == -1 {
				fh /= 2
			}
			side = -1
		}
	}
	return (low + high) / 2
}

// QuantileLower gives the one-sided lower limit of the value by which a share p
// has failed, with the profile likelihood's critical value for this number of
// failures; see criticalTable.
func (fit *Fit) QuantileLower(p, confidence float64) float64 {
	c := criticalQuantile(fit.Family, p, fit.Failed, 1-confidence, false)
	return math.Exp(fit.quantileEnd(fit.Family.Z(p), c, -1))
}

// QuantileLimits gives both limits of the value by which a share p has failed.
func (fit *Fit) QuantileLimits(p, confidence float64) Limits {
	low := criticalQuantile(fit.Family, p, fit.Failed, (1-confidence)/2, false)
	high := criticalQuantile(fit.Family, p, fit.Failed, (1-confidence)/2, true)
	z := fit.Family.Z(p)
	return Limits{math.Exp(fit.quantileEnd(z, low, -1)), math.Exp(fit.quantileEnd(z, high, 1))}
}

// ScaleLimits gives both limits of the scale of the logarithm (of 1/β).
func (fit *Fit) ScaleLimits(confidence float64) Limits {
	low := critical(fit.Family, scaleTarget, fit.Failed, (1-confidence)/2, false)
	high := critical(fit.Family, scaleTarget, fit.Failed, (1-confidence)/2, true)
	return Limits{fit.scaleEnd(low, -1), fit.scaleEnd(high, 1)}
}

// profileScale is the log-likelihood where the scale is held.
func (fit *Fit) profileScale(scale float64) float64 {
	a := 1 / scale
	l, _ := climb(fit.Family, fit.data, 1, line{a: a, b: [2]float64{fit.best.b[0] * a / fit.best.a}}, slope)
	return l.ll
}

func (fit *Fit) scaleEnd(critical, dir float64) float64 {
	estimate := 1 / fit.best.a
	inside, outside := 0.0, math.NaN()
	for w := 0.2; w < 12; w *= 1.6 {
		if fit.root(fit.profileScale(estimate*math.Exp(dir*w))) > critical {
			outside = w
			break
		}
		inside = w
	}
	if math.IsNaN(outside) {
		if dir < 0 {
			return 0
		}
		return math.Inf(1)
	}
	w := crossing(inside, outside, func(w float64) float64 {
		return fit.root(fit.profileScale(estimate*math.Exp(dir*w))) - critical
	})
	return estimate * math.Exp(dir*w)
}
