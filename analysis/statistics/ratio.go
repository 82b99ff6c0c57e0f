package statistics

import (
	"errors"
	"math"
)

// Ratio is how much deeper the second of two variants goes than the first: the
// ratio of their quantiles, the same for all where both have the same scale.
type Ratio struct {
	Estimate float64 // +Inf where nothing of the second failed, 0 where nothing of the first did
	Limits   Limits
	LR       float64 // signed root of twice the gain of log-likelihood over no difference
	Scale    float64 // common, of the logarithm

	family        Family
	first, second []datum
	failed        int
}

// Likelihood is the two-sided test of a likelihood ratio.
type Likelihood struct {
	P         float64
	By        string  // ByBootstrap or ByChiSquare
	ChiSquare float64 // what the chi-square approximation says
}

// Ways to a p-value.
const (
	ByBootstrap = "parametric bootstrap"
	ByChiSquare = "chi-square approximation"
)

// Test gives the p-value of the likelihood ratio: by a parametric bootstrap of
// that many samples below chiSquareFrom failures, else by the chi-square
// approximation (Wilks 1938, Ann. Math. Statist. 9, 60–62).
func (r *Ratio) Test(samples int) Likelihood {
	l := Likelihood{By: ByChiSquare, ChiSquare: 2 * normalP(-math.Abs(r.LR))}
	l.P = l.ChiSquare
	if r.failed >= chiSquareFrom {
		return l
	}
	l.By = ByBootstrap
	if p := bootstrap(r.family, r.first, r.second, math.Abs(r.LR), samples); !math.IsNaN(p) {
		l.P = p
	} else {
		l.P = 1 // all together show no scatter: one depth would do for all
	}
	return l
}

// pair is two samples with a common scale.
type pair struct {
	f      Family
	data   []datum
	best   line
	na, nb int
}

// join makes one set of data of two samples, less their common centre.
func join(a, b []datum) ([]datum, float64) {
	data := append(append([]datum(nil), a...), b...)
	middle, _ := begin(data)
	for i := range data {
		data[i].low -= middle
		data[i].high -= middle
		data[i].group = 0
		if i >= len(a) {
			data[i].group = 1
		}
	}
	return data, middle
}

// at is the profile: the second sample moved up by less of r, one location
// for both.
func (p pair) at(r float64) float64 {
	data := make([]datum, len(p.data))
	for i, d := range p.data {
		if d.group == 1 {
			d.low, d.high, d.group = d.low-r, d.high-r, 0
		}
		data[i] = d
	}
	if !estimable(data) {
		// The scatter may go to nothing: no value of the likelihood is beyond this.
		return p.best.ll
	}
	middle, spread := begin(data)
	l, _ := climb(p.f, data, 1, line{a: 1 / spread, b: [2]float64{-middle / spread}}, none)
	return l.ll
}

// Compare gives the ratio of the second sample to the first, with limits at the
// confidence. ErrNotEstimable: neither sample shows scatter.
func Compare(f Family, first, second []Observation, confidence float64) (*Ratio, error) {
	for _, o := range append(append([]Observation(nil), first...), second...) {
		if err := o.Check(); err != nil {
			return nil, err
		}
	}
	a, b := logs(first), logs(second)
	if len(a) == 0 || len(b) == 0 {
		return nil, errors.New("a variant without a unit cannot be compared")
	}
	p, err := newPair(f, a, b)
	if err != nil {
		return nil, err
	}
	fa, fb := Failures(first), Failures(second)
	r := &Ratio{Scale: 1 / p.best.a, family: f, first: a, second: b, failed: fa + fb}
	estimate := (p.best.b[0] - p.best.b[1]) / p.best.a
	root := math.Sqrt(max(0, 2*(p.best.ll-p.at(0))))
	// Below a failure in each, only one end of the interval exists.
	c := critical(f, ratioTarget, max(2, (fa+fb)/2), (1-confidence)/2, false)
	low, high := math.Inf(-1), math.Inf(1)
	switch {
	case fa == 0:
		high = p.end(estimate, c, 1)
		r.Estimate = 0
		root = -root
	case fb == 0:
		low = p.end(estimate, c, -1)
		r.Estimate = math.Inf(1)
	default:
		low, high = p.end(estimate, c, -1), p.end(estimate, c, 1)
		r.Estimate = math.Exp(estimate)
		root = math.Copysign(root, estimate)
	}
	r.Limits = Limits{math.Exp(low), math.Exp(high)}
	r.LR = root
	return r, nil
}

func newPair(f Family, a, b []datum) (pair, error) {
	if !estimable(a) && !estimable(b) {
		return pair{}, ErrNotEstimable
	}
	data, _ := join(a, b)
	_, spread := begin(data)
	best, ok := climb(f, data, 2, line{a: 1 / spread}, none)
	if !ok {
		return pair{}, ErrNotEstimable
	}
	return pair{f: f, data: data, best: best, na: len(a), nb: len(b)}, nil
}

func (p pair) end(estimate, c, dir float64) float64 {
	root := func(w float64) float64 { return math.Sqrt(max(0, 2*(p.best.ll-p.at(estimate+dir*w)))) - c }
	inside, outside := 0.0, math.NaN()
	for w := 0.5 / p.best.a; w < 60; w *= 1.6 {
		if root(w) > 0 {
			outside = w
			break
		}
		inside = w
	}
	if math.IsNaN(outside) {
		return math.Inf(int(dir))
	}
	return estimate + dir*crossing(inside, outside, root)
}
