package analysis

import (
	"math"
	"math/rand/v2"
	"testing"
)

// shortOfRest is a chamber that is topped up for a second every five seconds, read once a
// second for two minutes with 40 Pa of noise: each top-up brings 800 Pa, and the gas
// that it warmed takes them back, fastest at first. change may alter reading i.
func shortOfRest(change func(i int, p float64) float64) *analysis {
	r := rand.New(rand.NewPCG(7, 8))
	a := &analysis{s: &signal{dt: 1, noise: 40}, v: vessel{gasML: 300, roomPa: 1e5}, x: &table{}}
	for i := range 120 {
		t := float64(i)
		if i%5 == 0 {
			a.x.fill = append(a.x.fill, interval{t + 0.2, t + 1.2})
		}
		p := 6e5 + 800*[]float64{0.22, 0.85, 0.73, 0.49, 0.33}[i%5]
		a.s.t, a.s.p, a.s.spike = append(a.s.t, t), append(a.s.p, change(i, p+40*r.NormFloat64())), append(a.s.spike, false)
	}
	return a
}

func TestALossBetweenTwoTopUpsIsFoundByItsFall(t *testing.T) {
	for at := 40; at < 46; at++ { // wherever it falls between the valve's moves
		a := shortOfRest(func(i int, p float64) float64 {
			if i >= at {
				p -= 6000
			}
			return p
		})
		a.plainFalls()
		if len(a.steps) != 1 || a.steps[0].i != at-1 || math.Abs(a.steps[0].drop-6000) > 1200 {
			t.Errorf("lost at reading %d: found %+v", at, a.steps)
		}
	}
}

func TestWhatFallsByItselfIsNoLoss(t *testing.T) {
	for name, change := range map[string]func(i int, p float64) float64{
		"gas that cools after each top-up": func(_ int, p float64) float64 { return p },
		"a spike upwards":                  func(i int, p float64) float64 { return p + map[int]float64{43: 6000}[i] },
		"a spike downwards":                func(i int, p float64) float64 { return p - map[int]float64{43: 6000}[i] },
		"two spikes of either side":        func(i int, p float64) float64 { return p + map[int]float64{43: 6000, 44: -6000}[i] },
	} {
		a := shortOfRest(change)
		if a.plainFalls(); len(a.steps) > 0 {
			t.Errorf("%s: %+v", name, a.steps)
		}
	}
	// A supply below the chamber's pressure: it falls for as long as the inlet is open.
	a := shortOfRest(func(i int, p float64) float64 { return p - 3000*float64(min(max(i-40, 0), 5)) })
	a.x.fill = []interval{{39.5, 45.5}}
	if a.plainFalls(); len(a.steps) > 0 {
		t.Errorf("a supply that has run down: %+v", a.steps)
	}
	// The vent lets it go.
	a = shortOfRest(func(i int, p float64) float64 {
		if i >= 43 {
			p -= 6000
		}
		return p
	})
	a.x.vent = []interval{{42.2, 42.8}}
	if a.plainFalls(); len(a.steps) > 0 {
		t.Errorf("the vent was open: %+v", a.steps)
	}
}
