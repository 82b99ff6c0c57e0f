package analysis

import "math"

// wander is how a transducer strays: a random walk, and a part that comes back
// (a first-order Gauss-Markov process).
type wander struct {
	walk  float64 // Pa/√h
	stray float64 // Pa
	tau   float64 // s
}

// cov is the covariance, Pa², of the errors at two times since a common zero, s.
func (w wander) cov(s, t float64) float64 {
	c := w.walk * w.walk * min(s, t) / 3600
	if w.stray > 0 {
		c += w.stray * w.stray * math.Exp(-math.Abs(t-s)/w.tau)
	}
	return c
}

// drifts are the ways of straying that are tried; the first is taken where the
// data cannot tell.
var drifts = []wander{{walk: 4, stray: 15, tau: 600}, {walk: 4, stray: 15, tau: 150}, {walk: 4, stray: 8, tau: 300}, {walk: 4, stray: 8, tau: 1200}, {walk: 12},
	{walk: 4, stray: 25, tau: 300}, {walk: 4, stray: 25, tau: 1200}, {walk: 10, stray: 45, tau: 400}, {walk: 10, stray: 45, tau: 1500}, {walk: 40}, {walk: 120}}
