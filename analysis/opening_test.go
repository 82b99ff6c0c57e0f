package analysis

import (
	"math/rand/v2"
	"testing"
)

// toppedUp is a chamber at rest whose supply opens at 100.5 s; what happens then
// is given in Pa by the seconds since.
func toppedUp(after func(s float64) float64) *analysis {
	r := rand.New(rand.NewPCG(3, 4))
	s := &signal{dt: 1, noise: 60}
	for i := range 200 {
		p := 3.2e5 - 2*float64(i) + 60*r.NormFloat64()
		if t := float64(i) - 100.5; t > 0 {
			p += after(t)
		}
		s.t, s.p, s.spike = append(s.t, float64(i)), append(s.p, p), append(s.spike, false)
	}
	a := &analysis{s: s, x: &table{fill: []interval{{100.5, 150}}}}
	a.openingSteps()
	return a
}

func TestALossThatTheSupplyAnswersAtOnceIsFound(t *testing.T) {
	a := toppedUp(func(s float64) float64 { return -63_000 + 1500*s })
	if len(a.steps) != 1 || a.steps[0].t0 != 100 || a.steps[0].t1 != 101 {
		t.Fatalf("steps: %+v, want one between 100 and 101 s", a.steps)
	}
}

func TestAToppingUpIsNoLoss(t *testing.T) {
	if a := toppedUp(func(s float64) float64 { return 1500 * s }); len(a.steps) != 0 {
		t.Errorf("steps: %+v", a.steps)
	}
}

func TestASupplyThatFlowsBackIsNoLossAtOnce(t *testing.T) {
	if a := toppedUp(func(s float64) float64 { return -2000 * s }); len(a.steps) != 0 {
		t.Errorf("steps: %+v", a.steps)
	}
}
