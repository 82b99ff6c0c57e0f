package statistics

import (
	"math"
	"sort"
)

// A profile-likelihood limit is where the signed root of twice the loss of
// log-likelihood reaches a critical value: the normal's for many units, more for
// few. For complete samples of a location-scale family its distribution depends
// on the number of units alone (Lawless 2003, "Statistical Models and Methods
// for Lifetime Data", 2nd ed., section 5.1), so that it can be simulated once:
// criticalTable. For censored samples the number of failures is put for it,
// which is an approximation; the README has how well it does.

// target is what a limit is for.
type target int

const (
	scaleTarget target = iota
	ratioTarget        // of two locations with a common scale; n is of each
	quantileTargets
)

// quantileShares are those whose critical values are tabled.
var quantileShares = []float64{0.01, 0.05, 0.10, 0.50, 1 - 1/math.E}

// tails are the tabled ones, of one side.
var tails = []float64{0.025, 0.05, 0.10}

// sampleSizes are the tabled ones.
var sampleSizes = []int{2, 3, 4, 5, 6, 8, 10, 15, 20, 30, 50, 100}

// criticalEntry holds the critical values of lower ends and of upper ends at the
// tabled tails.
type criticalEntry struct{ lower, upper [3]float64 }

// critical gives the critical value of an end: a lower one that lies above the
// truth in a share tail of all cases.
func critical(f Family, t target, n int, tail float64, upper bool) float64 {
	n = max(n, sampleSizes[0])
	i := sort.SearchInts(sampleSizes, n)
	pick := func(i int) float64 {
		e := criticalTable[f][t][i]
		list := e.lower
		if upper {
			list = e.upper
		}
		// Between tabled tails the excess over the normal's is that of the
		// more extreme one.
		k := 0
		for j, v := range tails {
			if tail >= v-1e-9 {
				k = j
			}
		}
		return list[k] * normalZ(1-tail) / normalZ(1-tails[k])
	}
	var c float64
	switch {
	case i == len(sampleSizes):
		z := normalZ(1 - tail)
		c = z + (pick(i-1)-z)*math.Sqrt(float64(sampleSizes[i-1])/float64(n))
	case sampleSizes[i] == n:
		c = pick(i)
	default: // straight in 1/n
		x0, x1 := 1/float64(sampleSizes[i-1]), 1/float64(sampleSizes[i])
		w := (x0 - 1/float64(n)) / (x0 - x1)
		c = pick(i-1)*(1-w) + pick(i)*w
	}
	return max(c, 0.05)
}

// criticalQuantile is critical for the value by which a share p has failed;
// between tabled shares the greater of the neighbours'.
func criticalQuantile(f Family, p float64, n int, tail float64, upper bool) float64 {
	i := sort.Search(len(quantileShares), func(i int) bool { return quantileShares[i] >= p-1e-9 })
	i = min(i, len(quantileShares)-1)
	c := critical(f, quantileTargets+target(i), n, tail, upper)
	if i > 0 && math.Abs(quantileShares[i]-p) > 1e-9 {
		c = max(c, critical(f, quantileTargets+target(i-1), n, tail, upper))
	}
	return c
}
