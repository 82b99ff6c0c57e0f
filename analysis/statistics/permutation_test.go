package statistics

import (
	"math"
	"math/bits"
	"math/rand/v2"
	"testing"
)

// byMasks counts all arrangements by bit masks, an independent way.
func byMasks(scores []float64, n int) float64 {
	total, mean, seen := len(scores), 0.0, 0.0
	for i, c := range scores {
		mean += c * float64(n) / float64(total)
		if i < n {
			seen += c
		}
	}
	far, all := 0, 0
	for m := uint(0); m < 1<<total; m++ {
		if bits.OnesCount(m) != n {
			continue
		}
		sum := 0.0
		for i, c := range scores {
			if m>>i&1 == 1 {
				sum += c
			}
		}
		all++
		if math.Abs(sum-mean) >= math.Abs(seen-mean)-1e-9 {
			far++
		}
	}
	return float64(far) / float64(all)
}

func TestPermutationTestAgreesWithFullEnumeration(t *testing.T) {
	chance := rand.New(rand.NewPCG(4, 4))
	for range 30 {
		first := invented(chance, 3+chance.IntN(4), 0.3)
		second := invented(chance, 3+chance.IntN(4), 0.3)
		got := PermutationTest(first, second)
		want := byMasks(Scores(append(append([]Observation(nil), first...), second...)), len(first))
		if !got.Exact || math.Abs(got.P-want) > 1e-12 {
			t.Errorf("p = %g, by enumeration %g", got.P, want)
		}
	}
}

func TestADrawnPermutationTestLiesWithinItsErrorOfTheCountedOne(t *testing.T) {
	chance := rand.New(rand.NewPCG(6, 6))
	first, second := invented(chance, 10, 0.3), invented(chance, 12, 0.3) // 646,646 arrangements
	got := PermutationTest(first, second)
	want := byMasks(Scores(append(append([]Observation(nil), first...), second...)), 10)
	if got.Exact || !(got.SE > 0) || math.Abs(got.P-want) > 4*got.SE {
		t.Errorf("p = %g ± %g, counted %g", got.P, got.SE, want)
	}
}

// TestThreeUnitsOfEachCannotReachFivePercent: 20 arrangements, two of them
// extreme, p = 0.10 at best.
func TestThreeUnitsOfEachCannotReachFivePercent(t *testing.T) {
	weak := []Observation{between(10, 11), between(11, 12), between(12, 13)}
	strong := []Observation{between(50, 55), between(55, 60), between(60, 65)}
	got := PermutationTest(weak, strong)
	if math.Abs(got.P-0.1) > 1e-12 || math.Abs(got.SmallestP-0.1) > 1e-12 {
		t.Errorf("%+v, want p 0.1", got)
	}
}

func TestScoresSumToNothingAndFallWithDepth(t *testing.T) {
	all := []Observation{between(10, 20), between(20, 30), between(30, 40), between(35, math.Inf(1))}
	scores := Scores(all)
	sum := 0.0
	for i, c := range scores {
		sum += c
		if i > 0 && c > scores[i-1] {
			t.Errorf("scores %v rise", scores)
		}
	}
	if math.Abs(sum) > 1e-6 {
		t.Errorf("sum %g", sum)
	}
}

// TestLogRankScoresOfExactValues: for exact values without ties the score of the
// i-th of n is (S ln S) differences over 1/n; n = 2: 2·(0 − ½ ln ½) = ln 2 and
// −ln 2 (by hand).
func TestLogRankScoresOfExactValues(t *testing.T) {
	scores := Scores([]Observation{between(3, 3), between(5, 5)})
	if math.Abs(scores[0]-math.Ln2) > 1e-6 || math.Abs(scores[1]+math.Ln2) > 1e-6 {
		t.Errorf("%v, want ± ln 2", scores)
	}
}

// TestHolm: the step-down rule by hand, p = 0.01, 0.04, 0.03 → 0.03, 0.06, 0.06.
func TestHolm(t *testing.T) {
	got := Holm([]float64{0.01, 0.04, 0.03})
	for i, want := range []float64{0.03, 0.06, 0.06} {
		if math.Abs(got[i]-want) > 1e-12 {
			t.Errorf("%v", got)
		}
	}
}

// TestPower compares with simulated powers for a coefficient of variation of
// 12 %, steps of 10 %, two-sided 5 % (an earlier simulation of ours in another
// language, good to some 4 %).
func TestPower(t *testing.T) {
	runs := 400
	for _, c := range []struct {
		n           int
		ratio, want float64
	}{{3, 1.5, 0}, {4, 1.2, 0.19}, {4, 1.3, 0.38}, {4, 1.5, 0.85}, {5, 1.2, 0.39}, {5, 1.3, 0.75}, {5, 1.5, 0.98}} {
		got := Trial{Ratio: c.ratio, CV: 0.12, Step: 0.1}.Power(c.n, runs)
		if math.Abs(got-c.want) > 0.11 {
			t.Errorf("%d units of each, ratio %g: %.2f, want %.2f", c.n, c.ratio, got, c.want)
		}
	}
}
