package insidelogger

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Sample is a value at a time.
type Sample struct{ T, V float64 }

// Fit says how a logger's clock stands: record time = logger time + Offset +
// Drift × (logger time − Mid).
type Fit struct {
	Offset, OffsetSD float64 // s at Mid; standard uncertainty
	Drift, DriftSD   float64 // s/s
	Mid              float64 // s of the logger's clock
	Events           int     // that were seen in both
	Poor             []string
}

// At gives the record's time of a logger's time, in s.
func (f *Fit) At(t float64) float64 { return t + f.Offset + f.Drift*(t-f.Mid) }

// SD gives its standard uncertainty, in s.
func (f *Fit) SD(t float64) float64 { return math.Hypot(f.OffsetSD, f.DriftSD*(t-f.Mid)) }

const (
	binS       = 10.0 // of the search
	beforeS    = 120.0
	afterS     = 300.0
	fineS      = 0.1 // s, step of the fine search
	fineMost   = 30.0
	leastSeen  = 5.0 // c over its uncertainty
	driftPrior = 50e-6
	offsetMost = 26 * 3600.0 // s: any time zone and a clock that was set by hand
	leastCorr  = 0.4
	otherPeak  = 0.9 // of the best, at which another offset is as good
	floorSD    = 0.05
)

// ErrNoEvent is the error of a logger that shows none of the run's events.
var ErrNoEvent = errors.New("the logger's pressure shows none of the run's ramps; give two times that you know in both clocks: --event LOGGER=RECORD, twice")

// Align finds how the clock of a logger stands, from its pressure and the
// chamber's, both in order of time, and the times of the record at which a ramp or
// the vent began. The logger's clock may count from any start when relative is
// set, otherwise it is off by at most a day and two hours.
func Align(inside, chamber []Sample, events []float64, relative bool) (Fit, error) {
	if len(inside) < 20 || len(chamber) < 20 {
		return Fit{}, ErrNoEvent
	}
	coarse, err := search(inside, chamber, relative)
	if err != nil {
		return Fit{}, err
	}
	var fit Fit
	var seen []point
	for _, at := range events {
		p, why := local(inside, chamber, at, coarse)
		if why != "" {
			fit.Poor = append(fit.Poor, fmt.Sprintf("the event at %.0f s: %s", at-events[0], why))
			continue
		}
		seen = append(seen, p)
	}
	if len(seen) == 0 {
		return fit, ErrNoEvent
	}
	line := Line(seen)
	line.Poor = fit.Poor
	return line, nil
}

// point is the offset at one event.
type point struct{ t, offset, sd float64 }

// Event is a time that a person knows in both clocks, with its uncertainty in s.
func Event(logger, record, sd float64) point { return point{logger, record - logger, max(sd, floorSD)} }

// Line puts a straight line through events, each weighed by its uncertainty.
func Line(seen []point) Fit {
	var w, wt, wo float64
	for _, p := range seen {
		k := 1 / (p.sd * p.sd)
		w, wt, wo = w+k, wt+k*p.t, wo+k*p.offset
	}
	f := Fit{Mid: wt / w, Offset: wo / w, OffsetSD: math.Sqrt(1 / w), DriftSD: driftPrior, Events: len(seen)}
	var tt, to float64
	for _, p := range seen {
		k, t := 1/(p.sd*p.sd), p.t-f.Mid
		tt, to = tt+k*t*t, to+k*t*(p.offset-f.Offset)
	}
	if len(seen) < 2 || tt == 0 {
		return f
	}
	// The prior of a usual crystal counts as one more observation of drift 0.
	prior := 1 / (driftPrior * driftPrior)
	f.Drift, f.DriftSD = to/(tt+prior), math.Sqrt(1/(tt+prior))
	var chi float64
	for _, p := range seen {
		chi += math.Pow((p.offset-f.Offset-f.Drift*(p.t-f.Mid))/p.sd, 2)
	}
	if n := float64(len(seen) - 1); chi > n {
		f.OffsetSD *= math.Sqrt(chi / n)
		f.DriftSD = math.Min(f.DriftSD*math.Sqrt(chi/n), driftPrior)
	}
	return f
}

// search finds the offset to within a bin, where the changes of both pressures
// from bin to bin go together best.
func search(inside, chamber []Sample, relative bool) (float64, error) {
	q, q0 := changes(inside)
	p, p0 := changes(chamber)
	least, most := -int(offsetMost/binS), int(offsetMost/binS)
	shift := int(math.Round((q0 - p0) / binS)) // of equal clocks
	if relative {
		shift, least, most = 0, -len(q), len(p)
	}
	at := func(k int) float64 {
		var pq, pp, qq float64
		n := 0
		for i, x := range q {
			if j := i + k; j >= 0 && j < len(p) && !math.IsNaN(x) && !math.IsNaN(p[j]) {
				pq, pp, qq = pq+x*p[j], pp+p[j]*p[j], qq+x*x
				n++
			}
		}
		if n < min(len(q), len(p))/2 || pp == 0 || qq == 0 {
			return 0
		}
		return pq / math.Sqrt(pp*qq)
	}
	best, bestAt := 0.0, 0
	values := make([]float64, most-least+1)
	for k := least; k <= most; k++ {
		c := at(k + shift)
		values[k-least] = c
		if c > best {
			best, bestAt = c, k
		}
	}
	if best < leastCorr {
		return 0, ErrNoEvent
	}
	for k, c := range values {
		if far := k + least - bestAt; (far > 6 || far < -6) && c > otherPeak*best {
			return 0, fmt.Errorf("the logger fits as well %d s off: its events are alike; give two times that you know in both clocks: --event LOGGER=RECORD, twice", int(math.Abs(float64(far))*binS))
		}
	}
	// bin i of the logger is bin i+bestAt+shift of the record
	return p0 + float64(bestAt+shift)*binS - q0, nil
}

// changes gives means over bins, differenced, and the time of the first bin.
func changes(s []Sample) ([]float64, float64) {
	t0 := s[0].T
	n := int((s[len(s)-1].T-t0)/binS) + 1
	sum, count := make([]float64, n), make([]int, n)
	for _, x := range s {
		i := int((x.T - t0) / binS)
		sum[i] += x.V
		count[i]++
	}
	last := math.NaN()
	out := make([]float64, n)
	for i := range out {
		mean := math.NaN()
		if count[i] > 0 {
			mean = sum[i] / float64(count[i])
		} else if !math.IsNaN(last) {
			mean = last // a logger slower than a bin
		}
		out[i] = mean - last
		last = mean
	}
	return out, t0
}

// local finds the offset at one event of the record.
func local(inside, chamber []Sample, event, coarse float64) (point, string) {
	// Within the record at every offset that is tried.
	from := max(event-beforeS, chamber[0].T+fineMost) - coarse
	to := min(event+afterS, chamber[len(chamber)-1].T-fineMost) - coarse
	i, _ := slices.BinarySearchFunc(inside, from, func(s Sample, t float64) int { return compare(s.T, t) })
	j, _ := slices.BinarySearchFunc(inside, to, func(s Sample, t float64) int { return compare(s.T, t) })
	if j-i < 12 {
		return point{}, fmt.Sprintf("%d readings of the logger", j-i)
	}
	in := inside[i:j]
	best := fitted{squares: math.Inf(1)}
	n := int(fineMost / fineS)
	all := make([]fitted, 2*n+1)
	at := 0
	for k := range all {
		all[k] = fit(in, chamber, coarse+float64(k-n)*fineS)
		if all[k].squares < best.squares {
			best, at = all[k], k
		}
	}
	// The curvature over as many steps as raise the sum visibly.
	const span = 20
	if at < span || at+span >= len(all) {
		return point{}, "its offset lies elsewhere"
	}
	if !(best.c > leastSeen*best.cSD) {
		return point{}, "it does not show inside"
	}
	left, right := all[at-span].squares, all[at+span].squares
	h := span * fineS
	curve := (left - 2*best.squares + right) / (h * h)
	if !(curve > 0) || math.IsInf(curve, 0) {
		return point{}, "it does not show inside"
	}
	vertex := h * (left - right) / (2 * (left - 2*best.squares + right))
	sd := math.Sqrt(2 * best.variance / curve)
	return point{event - coarse, coarse + float64(at-n)*fineS + vertex, math.Hypot(sd, floorSD)}, ""
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// fitted is inside = a + b t + c p(t+o) at one o.
type fitted struct {
	squares  float64
	variance float64 // of a residual, widened for those that follow each other
	c, cSD   float64
}

func fit(in, chamber []Sample, offset float64) fitted {
	bad := fitted{squares: math.Inf(1)}
	n := float64(len(in))
	var mt, mp, mq float64
	p := make([]float64, len(in))
	for i, s := range in {
		v, ok := interpolate(chamber, s.T+offset)
		if !ok {
			return bad
		}
		p[i] = v
		mt, mp, mq = mt+s.T/n, mp+v/n, mq+s.V/n
	}
	var tt, tp, pp, tq, pq float64
	for i, s := range in {
		t, x, q := s.T-mt, p[i]-mp, s.V-mq
		tt, tp, pp, tq, pq = tt+t*t, tp+t*x, pp+x*x, tq+t*q, pq+x*q
	}
	det := tt*pp - tp*tp
	if !(det > 1e-9*tt*pp) {
		return bad
	}
	b, c := (tq*pp-pq*tp)/det, (pq*tt-tq*tp)/det
	var squares, follow, last float64
	for i, s := range in {
		r := s.V - mq - b*(s.T-mt) - c*(p[i]-mp)
		squares += r * r
		follow += r * last
		last = r
	}
	if squares == 0 {
		squares = math.SmallestNonzeroFloat64
	}
	r := min(max(follow/squares, 0), 0.95)
	variance := squares / max(n-4, 1) * (1 + r) / (1 - r)
	return fitted{squares: squares, variance: variance, c: c, cSD: math.Sqrt(variance * tt / det)}
}

// interpolate gives the value at a time between two samples not far apart.
func interpolate(s []Sample, t float64) (float64, bool) {
	i, _ := slices.BinarySearchFunc(s, t, func(x Sample, t float64) int { return compare(x.T, t) })
	if i == 0 || i == len(s) || s[i].T-s[i-1].T > 60 {
		return 0, false
	}
	a, b := s[i-1], s[i]
	return a.V + (b.V-a.V)*(t-a.T)/(b.T-a.T), true
}
