package analysis

import (
	"math/rand/v2"
	"testing"
)

// steady is a transducer at rest at 6 bar, with noise of 60 Pa.
func steady(n int) (t, p []float64) {
	r := rand.New(rand.NewPCG(1, 2))
	for i := range n {
		t, p = append(t, float64(i)), append(p, 6e5+60*r.NormFloat64())
	}
	return t, p
}

func TestTwoSpikesInARowAreNoLoss(t *testing.T) {
	for _, pair := range [][2]float64{{10_700, -24_000}, {20_000, -14_000}, {-27_000, -11_000}, {-17_000, 7_000}} {
		at, p := steady(200)
		p[100] += pair[0]
		p[101] += pair[1]
		spike := findSpikes(at, p, 60, even(1))
		for i, s := range spike {
			if s != (i == 100 || i == 101) {
				t.Errorf("%v: reading %d marked a spike: %v", pair, i, s)
			}
		}
	}
}

func TestTwoSpikesOfEitherSideAreNoLossWhateverTheNoiseAround(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	missed := 0
	for range 2000 {
		var at, p []float64
		for i := range 60 {
			at, p = append(at, float64(i)), append(p, 6e5+60*r.NormFloat64())
		}
		p[30] += 3000 + 20_000*r.Float64()
		p[31] -= 3000 + 20_000*r.Float64()
		spike := findSpikes(at, p, 60, even(1))
		if !spike[30] || !spike[31] {
			missed++
		}
	}
	if missed > 10 {
		t.Errorf("%d of 2000 pairs of spikes were not seen as such", missed)
	}
}

func TestALossThatTheSupplyMakesGoodIsNoSpike(t *testing.T) {
	at, p := steady(200)
	for i := range p {
		p[i] += 2000 * float64(i) // a ramp
		if i >= 100 {
			p[i] -= max(8000-1500*float64(i-100), 0)
		}
	}
	for i, s := range findSpikes(at, p, 60, even(1)) {
		if s {
			t.Errorf("reading %d marked a spike", i)
		}
	}
}
