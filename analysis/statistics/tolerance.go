package statistics

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// ToleranceFactor gives k of the one-sided normal tolerance bound mean − k·s of
// n values: at least a share of all lies above it, at the confidence. k·√n is the
// quantile of the non-central t with n−1 degrees of freedom and non-centrality
// z_share·√n (ISO 16269-6:2014, annex; Owen 1968, Technometrics 10, 445–478). For
// n ≥ 2.
func ToleranceFactor(n int, share, confidence float64) float64 {
	if n < 2 {
		return math.Inf(1)
	}
	root := math.Sqrt(float64(n))
	delta := normalZ(share) * root
	low, high := 0.0, 1.0
	for noncentralT(high*root, n-1, delta) < confidence {
		low, high = high, 2*high
	}
	for range 60 {
		k := (low + high) / 2
		if noncentralT(k*root, n-1, delta) < confidence {
			low = k
		} else {
			high = k
		}
	}
	return (low + high) / 2
}

// noncentralT is the distribution function: Φ(t·s − δ) over the distribution of
// s = √(χ²/ν), by the midpoint rule over the latter's probability.
func noncentralT(t float64, freedom int, delta float64) float64 {
	chi := distuv.ChiSquared{K: float64(freedom)}
	// In u = √χ² the density is smooth and falls off within 9 of its peak.
	peak := math.Sqrt(max(float64(freedom)-1, 0))
	low, high := max(0, peak-9), peak+9
	const steps = 2000 // even
	h := (high - low) / steps
	sum := 0.0
	for i := range steps + 1 {
		u := low + float64(i)*h
		w := 2.0
		switch {
		case i == 0 || i == steps:
			w = 1
		case i%2 == 1:
			w = 4
		}
		var density float64
		if u > 0 {
			density = 2 * u * chi.Prob(u*u)
		} else if freedom == 1 {
			density = math.Sqrt(2 / math.Pi)
		}
		sum += w * density * normalP(t*u/math.Sqrt(float64(freedom))-delta)
	}
	return sum * h / 3
}

// ToleranceLower gives the value above which at least a share of all units lies,
// at a confidence, from values that all failed and are all known closely
// (intervals count with their lower ends), if they are lognormal. NaN where a
// unit did not fail, or fewer than two did.
func ToleranceLower(all []Observation, share, confidence float64) float64 {
	n := float64(len(all))
	if n < 2 || Failures(all) < len(all) {
		return math.NaN()
	}
	sum, sq := 0.0, 0.0
	for _, o := range all {
		if o.LowM <= 0 {
			return math.NaN()
		}
		y := math.Log(o.LowM)
		sum += y
		sq += y * y
	}
	mean := sum / n
	s := math.Sqrt(max(0, (sq-n*mean*mean)/(n-1)))
	return math.Exp(mean - ToleranceFactor(len(all), share, confidence)*s)
}

// ToleranceBound gives a one-sided tolerance bound: lognormal values that all
// failed by the tolerance factor, exact for exact values and low for intervals;
// anything else as the lower confidence bound of the value by which a share
// 1−share has failed, which is the same thing (Meeker and Escobar 1998,
// "Statistical Methods for Reliability Data", section 3.6; Lawless 2003, section
// 5.1), with LowerBound's critical values.
func ToleranceBound(f Family, all []Observation, share, confidence, slope float64) (Bound, error) {
	if f == Lognormal {
		if v := ToleranceLower(all, share, confidence); !math.IsNaN(v) {
			fit, err := Estimate(f, all)
			if err == nil {
				return Bound{ValueM: v, Method: ByFactor, Fit: fit}, nil
			}
		}
	}
	return LowerBound(f, all, 1-share, confidence, slope)
}
