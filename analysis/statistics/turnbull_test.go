package statistics

import (
	"math"
	"math/rand/v2"
	"testing"
)

func between(low, high float64) Observation { return Observation{LowM: low, HighM: high} }

// plainEM is an independent way to the same: mass on every cell between
// neighbouring ends, units as 0/1 rows, plain self-consistency for very long.
func plainEM(all []Observation) func(low, high float64) float64 {
	seen := map[float64]bool{0: true}
	for _, o := range all {
		seen[o.LowM], seen[o.HighM] = true, true
	}
	var ends []float64
	for v := range seen {
		ends = append(ends, v)
	}
	for i := range ends {
		for j := i; j > 0 && ends[j] < ends[j-1]; j-- {
			ends[j], ends[j-1] = ends[j-1], ends[j]
		}
	}
	m := len(ends) - 1
	p := make([]float64, m)
	for j := range p {
		p[j] = 1 / float64(m)
	}
	for range 40000 {
		next := make([]float64, m)
		for _, o := range all {
			sum := 0.0
			for j := range p {
				if ends[j] >= o.LowM && ends[j+1] <= o.HighM {
					sum += p[j]
				}
			}
			for j := range p {
				if ends[j] >= o.LowM && ends[j+1] <= o.HighM {
					next[j] += p[j] / sum / float64(len(all))
				}
			}
		}
		p = next
	}
	return func(low, high float64) float64 {
		sum := 0.0
		for j := range p {
			if ends[j] >= low && ends[j+1] <= high {
				sum += p[j]
			}
		}
		return sum
	}
}

func TestTurnbullAgreesWithAnIndependentEM(t *testing.T) {
	chance := rand.New(rand.NewPCG(8, 8))
	for range 40 {
		var all []Observation
		for range 3 + chance.IntN(20) {
			low := float64(chance.IntN(12))
			o := between(low, low+float64(1+chance.IntN(5)))
			if chance.IntN(4) == 0 {
				o.HighM = math.Inf(1)
			}
			all = append(all, o)
		}
		mass := plainEM(all)
		ll, llEM := 0.0, 0.0
		steps := Turnbull(all)
		for _, o := range all {
			share := 0.0
			for _, s := range steps {
				if covers(o, s) {
					share += s.Share
				}
			}
			ll += math.Log(share)
			llEM += math.Log(mass(o.LowM, o.HighM))
		}
		if math.Abs(ll-llEM) > 1e-5 {
			t.Errorf("%v: log-likelihood %.8f, independent %.8f", all, ll, llEM)
		}
		// The fitted shares of the units are unique even where the masses are not.
		for _, o := range all {
			share := 0.0
			for _, s := range steps {
				if covers(o, s) {
					share += s.Share
				}
			}
			if d := math.Abs(share - mass(o.LowM, o.HighM)); d > 2e-3 {
				t.Errorf("(%g, %g]: %.5f, independent %.5f", o.LowM, o.HighM, share, mass(o.LowM, o.HighM))
			}
		}
	}
}

// TestTurnbullOfExactValuesIsKaplanMeier: 3, 5 of 4 units, two taken off at 4
// and 6: S = 3/4 after 3, 3/4·1/2 after 5 (by hand).
func TestTurnbullOfExactValuesIsKaplanMeier(t *testing.T) {
	steps := Turnbull([]Observation{between(3, 3), between(4, math.Inf(1)), between(5, 5), between(6, math.Inf(1))})
	for _, c := range []struct{ v, want float64 }{{2.9, 1}, {3, 0.75}, {4.9, 0.75}, {5, 0.375}} {
		s := ShareTight(steps, c.v)
		if math.Abs(s.Low-c.want) > 1e-6 || math.Abs(s.High-c.want) > 1e-6 {
			t.Errorf("at %g: %v, want %g", c.v, s, c.want)
		}
	}
}

func TestWithinAStepTheEstimateIsAmbiguous(t *testing.T) {
	steps := Turnbull([]Observation{between(20, 30), between(30, 40)})
	if len(steps) != 2 || steps[0].LowM != 20 || steps[0].HighM != 30 {
		t.Fatalf("%v", steps)
	}
	if s := ShareTight(steps, 25); s != (Limits{0.5, 1}) {
		t.Errorf("within the step: %v, want 0.5 to 1", s)
	}
	if s := ShareTight(steps, 19); s != (Limits{1, 1}) {
		t.Errorf("below the first step: %v, want 1", s)
	}
}
