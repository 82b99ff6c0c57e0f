package analysis

import "math"

// profiled finds where a misfit is least in its one unknown that is not linear, a
// time constant: at each, what is linear has been fitted (variable projection:
// Golub & Pereyra, SIAM J. Numer. Anal. 10 (1973) 413, from memory). A grid of even
// ratios from least to most, then the golden section about its best point (Kiefer,
// Proc. AMS 4 (1953) 502, from memory), to where rounding hides the rest.
func profiled(least, most, ratio float64, misfit func(x float64) float64) float64 {
	best, low := least, math.Inf(1)
	for x := least; x < most; x *= ratio {
		if m := misfit(x); m < low {
			best, low = x, m
		}
	}
	const golden = 0.6180339887498949
	a, b := math.Log(math.Max(best/ratio, least)), math.Log(math.Min(best*ratio, most))
	c, d := b-golden*(b-a), a+golden*(b-a)
	mc, md := misfit(math.Exp(c)), misfit(math.Exp(d))
	for b-a > 1e-7 {
		if mc < md {
			b, d, md = d, c, mc
			c = b - golden*(b-a)
			mc = misfit(math.Exp(c))
		} else {
			a, c, mc = c, d, md
			d = a + golden*(b-a)
			md = misfit(math.Exp(d))
		}
	}
	if x := math.Exp((a + b) / 2); misfit(x) <= low {
		return x
	}
	return best
}
