package statistics

import (
	"math"
	"math/rand/v2"
)

// Scores gives each observation its log-rank score for interval-censored values:
// c = (S(low)·ln S(low) − S(high)·ln S(high)) / (S(low) − S(high)), S the
// Turnbull estimate of all together (Finkelstein 1986, Biometrics 42, 845–854; in
// the form of Fay and Shaw 2010, J. Statist. Software 36(2), eq. 4). They sum to
// 0; a unit that failed early has a high one.
func Scores(all []Observation) []float64 {
	steps := Turnbull(all)
	scores := make([]float64, len(all))
	for i, o := range all {
		low, after := 1.0, 0.0
		for _, s := range steps {
			if covers(o, s) {
				after += s.Share
			} else if s.HighM <= o.LowM {
				low -= s.Share
			}
		}
		low = max(low, 0)
		high := max(low-after, 0)
		if high < 1e-9 {
			high = 0
		}
		if low-high > 1e-12 {
			scores[i] = (xlogx(low) - xlogx(high)) / (low - high)
		}
	}
	return scores
}

func xlogx(x float64) float64 {
	if x <= 0 {
		return 0
	}
	return x * math.Log(x)
}

// Permutation is the result of a permutation test of two groups.
type Permutation struct {
	P         float64 // two-sided
	SE        float64 // of P, where it was drawn by chance; 0 where all were counted
	Arranged  int     // arrangements counted or drawn
	Exact     bool
	SmallestP float64 // that these numbers of units can give at all
}

// mostArrangements is how many are counted one by one; beyond, as many as
// drawnArrangements are drawn.
const (
	mostArrangements  = 200_000
	drawnArrangements = 99_999
)

// PermutationTest asks how often the scores' sum in the first group would lie as
// far from what chance gives, if units were dealt to the groups by chance: by all
// arrangements where there are no more than 200,000, else by 99,999 drawn ones
// with their own counted (Phipson and Smyth 2010, eq. 2).
func PermutationTest(first, second []Observation) Permutation {
	scores := Scores(append(append([]Observation(nil), first...), second...))
	return permute(scores, len(first))
}

func permute(scores []float64, n int) Permutation {
	total := len(scores)
	mean, seen := 0.0, 0.0
	for i, c := range scores {
		mean += c * float64(n) / float64(total)
		if i < n {
			seen += c
		}
	}
	far := math.Abs(seen-mean) - 1e-9
	count := choose(total, n)
	smallest := 1 / count
	if 2*n == total {
		smallest = 2 / count // the mirror image lies as far
	}
	if count <= mostArrangements {
		asFar, all := 0, 0
		combinations(scores, n, func(sum float64) {
			all++
			if math.Abs(sum-mean) >= far {
				asFar++
			}
		})
		return Permutation{P: float64(asFar) / float64(all), Arranged: all, Exact: true, SmallestP: smallest}
	}
	draw := rand.New(rand.NewPCG(1, uint64(total)<<32|uint64(n)))
	deck := append([]float64(nil), scores...)
	asFar := 1
	for range drawnArrangements {
		sum := 0.0
		for i := range n {
			j := i + draw.IntN(total-i)
			deck[i], deck[j] = deck[j], deck[i]
			sum += deck[i]
		}
		if math.Abs(sum-mean) >= far {
			asFar++
		}
	}
	p := float64(asFar) / (drawnArrangements + 1)
	return Permutation{P: p, SE: math.Sqrt(p * (1 - p) / drawnArrangements), Arranged: drawnArrangements, SmallestP: smallest}
}

// combinations gives the sum of every choice of n scores.
func combinations(scores []float64, n int, see func(sum float64)) {
	var take func(from, left int, sum float64)
	take = func(from, left int, sum float64) {
		if left == 0 {
			see(sum)
			return
		}
		for i := from; i <= len(scores)-left; i++ {
			take(i+1, left-1, sum+scores[i])
		}
	}
	take(0, n, 0)
}

func choose(n, k int) float64 {
	lg := func(x int) float64 { v, _ := math.Lgamma(float64(x) + 1); return v }
	return math.Round(math.Exp(lg(n) - lg(k) - lg(n-k)))
}

// Holm adjusts p-values of many comparisons so that the chance of one false alarm
// among all is kept (Holm 1979, Scand. J. Statist. 6, 65–70).
func Holm(p []float64) []float64 {
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	for i := 1; i < len(order); i++ {
		for j := i; j > 0 && p[order[j]] < p[order[j-1]]; j-- {
			order[j], order[j-1] = order[j-1], order[j]
		}
	}
	adjusted := make([]float64, len(p))
	least := 0.0
	for rank, i := range order {
		least = max(least, min(1, p[i]*float64(len(p)-rank)))
		adjusted[i] = least
	}
	return adjusted
}
