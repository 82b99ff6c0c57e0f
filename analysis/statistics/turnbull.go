package statistics

import (
	"math"
	"sort"
)

// Step is one interval in which the estimate puts a share of all failures. Where
// within it they lie the data do not say: between LowM and HighM the estimate is
// ambiguous. HighM is +Inf where units had not failed.
type Step struct {
	LowM, HighM float64
	Share       float64
	exact       bool
}

// Turnbull gives the nonparametric maximum-likelihood estimate of the
// distribution of interval-censored values (Turnbull 1976, J. R. Statist. Soc. B
// 38, 290–295), by his self-consistency, until the conditions of Gentleman and
// Geyer 1994 (Biometrika 81, 618–623) hold to 1e-7. Steps with no share are left
// out. There is nothing below the first step: no extrapolation.
func Turnbull(all []Observation) []Step {
	steps := turnbullIntervals(all)
	if len(steps) == 0 {
		return nil
	}
	inside := make([][]int, len(all)) // the steps that lie in each observation
	for i, o := range all {
		for j, s := range steps {
			if covers(o, s) {
				inside[i] = append(inside[i], j)
			}
		}
	}
	n := float64(len(all))
	p := make([]float64, len(steps))
	for j := range p {
		p[j] = 1 / float64(len(p))
	}
	gradient := make([]float64, len(p))
	for range 200000 {
		clear(gradient)
		for _, list := range inside {
			sum := 0.0
			for _, j := range list {
				sum += p[j]
			}
			for _, j := range list {
				gradient[j] += 1 / sum
			}
		}
		worst, off := 0.0, 0.0
		for j, g := range gradient {
			worst = max(worst, g-n)
			off = max(off, p[j]*math.Abs(g-n))
		}
		if worst <= 1e-7*n && off <= 1e-9*n {
			break
		}
		for j := range p {
			p[j] *= gradient[j] / n
		}
	}
	kept := steps[:0]
	total := 0.0
	for j, s := range steps {
		if s.Share = p[j]; s.Share > 1e-7 {
			kept = append(kept, s)
			total += s.Share
		}
	}
	for j := range kept {
		kept[j].Share /= total
	}
	return kept
}

func covers(o Observation, s Step) bool {
	if o.Exact() {
		return s.exact && s.HighM == o.HighM
	}
	if s.exact { // a point lies in (low, high]
		return o.LowM < s.HighM && s.HighM <= o.HighM
	}
	return o.LowM <= s.LowM && s.HighM <= o.HighM
}

// turnbullIntervals are those from a lower end to the next upper end with no
// lower end between. Intervals are open below and closed above; an exact value
// is closed on both sides.
func turnbullIntervals(all []Observation) []Step {
	type end struct {
		at    float64
		order int // at the same value: closed lower, upper, open lower
		lower bool
	}
	var ends []end
	for _, o := range all {
		order := 2
		if o.Exact() {
			order = 0
		}
		ends = append(ends, end{o.LowM, order, true}, end{o.HighM, 1, false})
	}
	sort.Slice(ends, func(i, j int) bool {
		if ends[i].at != ends[j].at {
			return ends[i].at < ends[j].at
		}
		return ends[i].order < ends[j].order
	})
	var steps []Step
	for i := 1; i < len(ends); i++ {
		if ends[i-1].lower && !ends[i].lower {
			steps = append(steps, Step{LowM: ends[i-1].at, HighM: ends[i].at, exact: ends[i-1].order == 0})
		}
	}
	return steps
}

// ShareTight gives the range of the estimate of the share still tight at a
// value: one number, or two ends within an ambiguous step.
func ShareTight(steps []Step, v float64) Limits {
	low, high := 1.0, 1.0
	for _, s := range steps {
		if v >= s.HighM {
			low -= s.Share
			high -= s.Share
		} else if v > s.LowM {
			low -= s.Share
		}
	}
	return Limits{max(0, low), max(0, high)}
}
