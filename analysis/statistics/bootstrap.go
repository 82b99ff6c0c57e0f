package statistics

import (
	"math"
	"math/rand/v2"
	"sort"
)

// BootstrapSamples is how many are simulated for a p-value: it is then good to
// some 0.007 near 0.05.
const BootstrapSamples = 999

// chiSquareFrom is the number of failures of two variants together from which the
// chi-square approximation of the likelihood ratio is good enough: at 40 it finds
// a difference where there is none in 5 to 6 % of the tests at 5 %, at 6 in 8 to
// 15 % (README).
const chiSquareFrom = 100

// scheme is how a set of tests comes to see a value: exactly or between levels,
// and for each unit up to where it was tested. It is read off the tests made,
// as is usual for censored samples (Efron 1981, J. Amer. Statist. Assoc. 76,
// 312–319).
type scheme struct {
	exact  bool
	levels []float64 // logarithms, ascending; open below the first
	step   float64   // between levels above the last
	limit  []float64 // logarithm, of each unit: above, it is not seen to fail
}

func schemeOf(data []datum) scheme {
	s := scheme{limit: make([]float64, len(data))}
	exact, failed, most := 0, 0, math.Inf(-1)
	for _, d := range data {
		switch {
		case math.IsInf(d.high, 1):
			most = max(most, d.low)
		case d.low == d.high:
			exact++
			failed++
		default:
			failed++
			s.levels = append(s.levels, d.high)
			if !math.IsInf(d.low, -1) {
				s.levels = append(s.levels, d.low)
			}
		}
	}
	s.exact = 2*exact > failed
	sort.Float64s(s.levels)
	var widths []float64
	kept := s.levels[:0]
	for _, l := range s.levels {
		if len(kept) > 0 {
			w := l - kept[len(kept)-1]
			if w < 1e-9 {
				continue
			}
			widths = append(widths, w)
		}
		kept = append(kept, l)
	}
	s.levels = kept
	sort.Float64s(widths)
	if s.step = 0.1; len(widths) > 0 {
		s.step = widths[len(widths)/2]
	}
	for i, d := range data {
		s.limit[i] = math.Inf(1)
		switch {
		case math.IsInf(d.high, 1):
			s.limit[i] = d.low
		case !math.IsInf(most, -1):
			s.limit[i] = max(most, d.high)
		}
	}
	return s
}

// sees gives what a test of unit i would show of the value y.
func (s scheme) sees(i int, y float64) datum {
	if y > s.limit[i] {
		return datum{low: s.limit[i], high: math.Inf(1)}
	}
	if s.exact || len(s.levels) == 0 {
		return datum{low: y, high: y}
	}
	k := sort.SearchFloat64s(s.levels, y) // the first level not below it
	switch {
	case k == 0:
		return datum{low: math.Inf(-1), high: s.levels[0]}
	case k < len(s.levels):
		return datum{low: s.levels[k-1], high: min(s.levels[k], s.limit[i])}
	}
	last := s.levels[k-1]
	n := math.Floor((y - last) / s.step)
	return datum{low: last + n*s.step, high: min(last+(n+1)*s.step, s.limit[i])}
}

// bootstrap gives the p-value of a likelihood ratio by simulation: how often two
// variants that are one, with the scatter and median fitted to all units and
// tested as these were, would show as great a ratio (parametric bootstrap; Davison
// and Hinkley 1997, "Bootstrap Methods and their Application", section 4.2.3). NaN
// where all units together show no scatter.
func bootstrap(f Family, a, b []datum, seen float64, samples int) float64 {
	all := append(append([]datum(nil), a...), b...)
	fit, err := estimate(f, all)
	if err != nil {
		return math.NaN()
	}
	tested := schemeOf(all)
	// The same tests give the same p; others are drawn otherwise, so that the error
	// of the simulation is not the same for all.
	chance := rand.New(rand.NewPCG(math.Float64bits(fit.Location), math.Float64bits(fit.Scale+seen)))
	as, bs := make([]datum, len(a)), make([]datum, len(b))
	asGreat := 1
	for range samples {
		for i := range all {
			d := tested.sees(i, fit.Location+fit.Scale*f.Z(chance.Float64()))
			if i < len(a) {
				as[i] = d
			} else {
				bs[i-len(a)] = d
			}
		}
		if likelihoodRoot(f, as, bs) >= seen-1e-6 {
			asGreat++
		}
	}
	return float64(asGreat) / float64(samples+1)
}

// likelihoodRoot is the root of twice the gain of log-likelihood of two medians
// over one; +Inf where each variant lies in one step of its own.
func likelihoodRoot(f Family, a, b []datum) float64 {
	p, err := newPair(f, a, b)
	if err != nil {
		if estimable(append(append([]datum(nil), a...), b...)) {
			return math.Inf(1)
		}
		return 0
	}
	return math.Sqrt(max(0, 2*(p.best.ll-p.at(0))))
}
