package statistics

import (
	"math"
	"math/rand/v2"
)

// Trial is a comparison that has not been made: lognormal depths with a
// coefficient of variation, a second variant deeper by a ratio, tested in steps
// that grow by a share of the median, until all have failed.
type Trial struct {
	Ratio float64 // > 0
	CV    float64 // > 0
	Step  float64 // share of the first one's median
	Level float64 // of the two-sided test; 0: 0.05
}

// Power gives how often the permutation test would find the difference with n
// units of each, from runs simulated comparisons; its standard error is at most
// 1/(2√runs). Above 20,000 arrangements the normal approximation of the
// permutation distribution is taken.
func (t Trial) Power(n, runs int) float64 {
	if t.Level == 0 {
		t.Level = 0.05
	}
	sigma := math.Sqrt(math.Log1p(t.CV * t.CV))
	chance := rand.New(rand.NewPCG(7, uint64(n)))
	found := 0
	all := make([]Observation, 2*n)
	arrangements := choose(2*n, n)
	for range runs {
		for i := range all {
			v := math.Exp(sigma * chance.NormFloat64())
			if i >= n {
				v *= t.Ratio
			}
			k := math.Ceil(v/t.Step - 1e-12)
			all[i] = Observation{LowM: max(0, (k-1)*t.Step), HighM: k * t.Step}
		}
		scores := Scores(all)
		var p float64
		if arrangements <= 20_000 {
			p = permute(scores, n).P
		} else {
			p = normalPermutation(scores, n)
		}
		if p <= t.Level {
			found++
		}
	}
	return float64(found) / float64(runs)
}

// normalPermutation approximates the permutation distribution by the normal of
// its mean and variance.
func normalPermutation(scores []float64, n int) float64 {
	total := float64(len(scores))
	sum, sq, seen := 0.0, 0.0, 0.0
	for i, c := range scores {
		sum += c
		sq += c * c
		if i < n {
			seen += c
		}
	}
	first := float64(n)
	variance := first * (total - first) / (total * (total - 1)) * (sq - sum*sum/total)
	if variance <= 0 {
		return 1
	}
	return 2 * normalP(-math.Abs(seen-first*sum/total)/math.Sqrt(variance))
}

// UnitsWanted gives how many units of each are wanted for a power, 0 where more
// than most would be.
func (t Trial) UnitsWanted(power float64, most int) int {
	const runs = 400
	low, high := 3, 4
	for t.Power(high, runs) < power {
		if high >= most {
			return 0
		}
		low, high = high, min(most, high*2)
	}
	for high-low > 1 {
		n := (low + high) / 2
		if t.Power(n, runs) < power {
			low = n
		} else {
			high = n
		}
	}
	return high
}
