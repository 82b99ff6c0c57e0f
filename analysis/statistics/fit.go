package statistics

import (
	"errors"
	"math"
)

// ErrNotEstimable says that the scatter cannot be estimated: nothing failed, all
// failed, or one value lies in the interval of every unit (all failed within one
// step, or in two that touch). The zero-failure method is left; see ZeroFailure.
var ErrNotEstimable = errors.New("the scatter cannot be estimated from these units")

// Why says in words why Estimate could not.
func Why(all []Observation) string {
	switch failed := Failures(all); {
	case len(all) == 0:
		return "no unit was tested"
	case failed == 0:
		return "no unit failed"
	case len(all) < 2 || failed < 2:
		return "one failure says nothing about scatter"
	}
	return "one depth lies in the interval of every unit (all failed within one step, or in two that touch): no scatter was seen"
}

// Fit is a maximum-likelihood estimate.
type Fit struct {
	Family   Family
	Location float64 // of the logarithm
	Scale    float64 // of the logarithm
	LogLik   float64 // on the scale of the values, as survreg gives it
	SELoc    float64 // standard errors from the observed information
	SELogScl float64
	CovLS    float64
	N        int // units
	Failed   int // of them
	Complete bool

	data   []datum // logarithms less the centre
	centre float64
	best   line
}

// logs gives the data as the likelihood takes them.
func logs(all []Observation) []datum {
	data := make([]datum, len(all))
	for i, o := range all {
		data[i] = datum{low: math.Log(o.LowM), high: math.Log(o.HighM)}
	}
	return data
}

// estimable tells whether the likelihood has its maximum at a finite scale
// above 0: no value may lie in all intervals, and no order of the intervals
// may let the line be flat.
func estimable(data []datum) bool {
	lowest, highest := math.Inf(1), math.Inf(-1)
	flat, exact := true, 0
	leastHigh, mostLow := math.Inf(1), math.Inf(-1)
	for _, d := range data {
		leastHigh, mostLow = min(leastHigh, d.high), max(mostLow, d.low)
		if d.low == d.high {
			exact++
		}
		if !math.IsInf(d.low, -1) {
			lowest = min(lowest, d.low)
		}
		if !math.IsInf(d.high, 1) {
			highest = max(highest, d.high)
		}
		flat = flat && (math.IsInf(d.low, -1) || math.IsInf(d.high, 1))
	}
	if mostLow <= leastHigh {
		return false
	}
	// Nothing but left- and right-censored units, those that failed all at
	// shallower levels than those that did not is wanted; the other way round
	// the slope goes to 0.
	return exact > 0 || !flat || lowest < highest
}

// Estimate fits a family by maximum likelihood. It wants at least two failures,
// and ErrNotEstimable says where the data do not determine the scatter.
func Estimate(f Family, all []Observation) (*Fit, error) {
	for _, o := range all {
		if err := o.Check(); err != nil {
			return nil, err
		}
	}
	if Failures(all) < 2 {
		return nil, ErrNotEstimable
	}
	return estimate(f, logs(all))
}

func estimate(f Family, data []datum) (*Fit, error) {
	if !estimable(data) {
		return nil, ErrNotEstimable
	}
	fit := &Fit{Family: f, N: len(data), Complete: true}
	middle, spread := begin(data)
	fit.centre = middle
	fit.data = make([]datum, len(data))
	jacobian := 0.0
	for i, d := range data {
		fit.data[i] = datum{low: d.low - middle, high: d.high - middle}
		if math.IsInf(d.high, 1) {
			fit.Complete = false
		} else {
			fit.Failed++
		}
		if d.low == d.high {
			jacobian -= d.high
		}
	}
	var ok bool
	fit.best, ok = climb(f, fit.data, 1, line{a: 1 / spread}, none)
	if !ok {
		return nil, ErrNotEstimable
	}
	a, b := fit.best.a, fit.best.b[0]
	fit.Scale, fit.Location = 1/a, middle-b/a
	fit.LogLik = fit.best.ll + jacobian
	fit.errors()
	return fit, nil
}

// errors turns the information on slope and intercept into that on location and
// log scale.
func (fit *Fit) errors() {
	a, b := fit.best.a, fit.best.b[0]
	s := at(fit.Family, fit.data, a, fit.best.b)
	det := s.haa*s.hbb[0] - s.hab[0]*s.hab[0]
	vaa, vbb, vab := -s.hbb[0]/det, -s.haa/det, s.hab[0]/det
	// location = centre − b/a, log scale = −ln a.
	la, lb, sa := b/(a*a), -1/a, -1/a
	fit.SELoc = math.Sqrt(la*la*vaa + 2*la*lb*vab + lb*lb*vbb)
	fit.SELogScl = math.Sqrt(sa * sa * vaa)
	fit.CovLS = sa * (la*vaa + lb*vab)
}

// Shape is the Weibull's β, 1/scale.
func (fit *Fit) Shape() float64 { return 1 / fit.Scale }

// Quantile gives the value by which a share p has failed, 0 < p < 1.
func (fit *Fit) Quantile(p float64) float64 {
	return math.Exp(fit.Location + fit.Scale*fit.Family.Z(p))
}

// ShareFailed gives the share that has failed at a value.
func (fit *Fit) ShareFailed(v float64) float64 {
	return fit.Family.P((math.Log(v) - fit.Location) / fit.Scale)
}

// RossShape is β less its small-sample bias: β·(n−2)/(n−0.68) for n failures
// (Ross 1994, IEEE Trans. Dielectr. Electr. Insul. 1(2), 247–253; for complete
// samples, with units that did not fail an approximation). NaN below 3 failures.
func (fit *Fit) RossShape() float64 {
	n := float64(fit.Failed)
	if n < 3 {
		return math.NaN()
	}
	return fit.Shape() * (n - 2) / (n - 0.68)
}
