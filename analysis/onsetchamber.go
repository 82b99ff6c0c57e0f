package analysis

import (
	"math"
	"slices"
	"sort"
)

// What a wet probe needs to show: 0.1 to 1 ml in the right place (TRADE.md
// section 0.3), often more before it is there: a log-normal of this median and
// spread.
const (
	wetML     = 0.6
	wetSpread = 0.8
)

// chamberOnset finds the onset of a leak that only the chamber, or a wet probe,
// shows, and that stage st is the first to show. Within a closed part the
// pressure shows it; within a ramp, whose inflow is unknown, only the probe does,
// and else the leak may have begun anywhere in it.
func (a *analysis) chamberOnset(st *stage, before *stage, seats bool) *onset {
	d := st.dwell()
	from, end := d.start, d.end
	if st.ramp.real() {
		from = st.ramp.start
		if !d.real() {
			end = st.ramp.end
		}
	}
	if before != nil {
		if b := before.dwell(); b.real() {
			from = b.start
		}
	}
	o := &onset{}
	wetAt, dryAt := math.NaN(), math.NaN()
	for _, w := range a.x.wets {
		if !(wetAt <= w.t) {
			wetAt, dryAt = w.t, w.lastDry
		}
	}
	if wetAt < end {
		end = wetAt
	}
	step := max((end-from)/2400, a.s.dt/2)
	if before != nil && before.hold.real() {
		// No step of the grid reaches over the end of a hold.
		from = before.hold.end - math.Floor((before.hold.end-from)/step)*step
	}
	for t := from; t <= end; t += step {
		o.t = append(o.t, t)
	}
	if len(o.t) == 0 {
		o.t = []float64{end}
	}
	o.w = a.prior(o.t, seats)
	// The leak and the evidence of each onset, on the coarse grid of closed parts.
	f := a.fitter(st)
	leak, leakU, driveMean := 0.0, math.Inf(1), 1.0
	var known func(t float64) float64
	if e := st.chamber; e != nil {
		known = a.evidence(f, e.tau, e.drift, e.value, e.cooled)
	}
	e := st.chamber
	if e != nil {
		leak, leakU = e.value, e.u
		if e.settleU > 0 && e.settle > leak && e.settle > 4*e.settleU && e.value < 3*e.u {
			leak, leakU = e.settle, e.settleU
		}
		driveMean = max(a.pressureAt((st.dwell().start+st.dwell().end)/2)-a.sealed, 1)
	}
	if known != nil {
		for i, t := range o.t {
			o.w[i] += known(t)
		}
	}
	if math.IsNaN(dryAt) {
		dryAt = wetAt
	}
	ks := conductances(leak/driveMean, leakU/driveMean)
	in := make([]float64, len(ks))
	for i, t := range o.t {
		filled := 0.0
		if !math.IsNaN(wetAt) {
			filled = a.drivenBetween(t, (wetAt+dryAt)/2) / 3600
		}
		ramp := a.rampAt(t)
		for n, k := range ks {
			in[n] = k.w
			if ramp != nil {
				in[n] += ramp.says(t, k.k)
			}
			if before != nil && before.both != nil && before.hold.real() && t < before.hold.end {
				in[n] += a.unseen(before, t, k.k)
			}
			if !math.IsNaN(wetAt) {
				in[n] += wetAfter(k.k * filled)
			}
		}
		o.w[i] += logSum(in)
	}
	o.normal()
	return o
}

// conductance is one that the leak may have, ml/h/Pa, with the logarithm of its weight.
type conductance struct{ k, w float64 }

// conductances lists those that a leak may have whose hold gave k with standard
// uncertainty u: about that, or where it gave none, any up to a burst's.
func conductances(k, u float64) []conductance {
	var list []conductance
	if k > 2.5*u {
		sd := math.Hypot(u/k, 0.1)
		for z := -2.0; z <= 2; z += 0.5 {
			list = append(list, conductance{k * math.Exp(z*sd), -z * z / 2})
		}
		return list
	}
	for x := math.Log(leastK); x < math.Log(mostK); x += 0.3 {
		c := conductance{k: math.Exp(x)}
		if !math.IsInf(u, 1) {
			z := (c.k - k) / u
			c.w = -z * z / 2
		}
		list = append(list, c)
	}
	return list
}

// Of what leaks: from a slow seep's conductance to a burst's, ml/h/Pa; common
// practice, no source.
const (
	leastK = 0.3e-5
	mostK  = 3000e-5
)

// unseen is the logarithm of how likely it is that a hold shows what it did with
// a leak of conductance k from t on, beside none.
func (a *analysis) unseen(st *stage, t, k float64) float64 {
	h := st.hold
	q := k * max(a.drive((h.start+h.end)/2), 0)
	share := min((h.end-t)/h.length(), 1)
	// The end of a hold says less of a slope than the whole: as the 3/2 power.
	z := (q*math.Pow(share, 1.5) - st.both.value) / st.both.u
	z0 := st.both.value / st.both.u
	return -(z*z - z0*z0) / 2
}

// wetAfter is the logarithm of how likely a probe is to show wet just when ml have come in.
func wetAfter(ml float64) float64 {
	if ml <= 1e-9 {
		return -50
	}
	z := math.Log(ml/wetML) / wetSpread
	return -z*z/2 - math.Log(ml/wetML)
}

func logSum(l []float64) float64 {
	top, sum := math.Inf(-1), 0.0
	for _, x := range l {
		top = max(top, x)
	}
	for _, x := range l {
		sum += math.Exp(x - top)
	}
	return top + math.Log(sum)
}

// drivenBetween is the driving pressure over time, Pa s.
func (a *analysis) drivenBetween(t0, t1 float64) float64 {
	const n = 60
	if t1 <= t0 {
		return 0
	}
	sum := 0.0
	for i := range n {
		sum += max(a.pressureAt(t0+(t1-t0)*(float64(i)+0.5)/n)-a.sealed, 0)
	}
	return sum / n * (t1 - t0)
}

// evidence gives the log evidence of an onset within the dwell of a stage, and
// the same for all before it.
func (a *analysis) evidence(f *chamberFit, tau float64, drift wander, size float64, warmth []float64) func(float64) float64 {
	const n = 28
	var ts, ls []float64
	first, last := math.Inf(1), math.Inf(-1)
	for i := range f.blocks {
		first, last = min(first, f.blocks[i].t), max(last, f.blocks[i].t)
	}
	if !(last > first) {
		return nil
	}
	old := f.onset
	// A leak of any size near what was found: else late onsets, which ask little of
	// the data, would seem likelier.
	f.leakMean, f.leakSD = 0, 3*(math.Abs(size)+a.limit())
	defer func() { f.leakMean, f.leakSD = 0, 0 }()
	if a.s.gas == nil {
		f.tauOf = warmth
		defer func() { f.tauOf = nil }()
	}
	try := func(t float64) {
		f.onset = t
		if t == first {
			f.onset = math.Inf(-1)
		}
		if _, score := f.once(true, false, tau, drift); score != 0 {
			i, _ := slices.BinarySearch(ts, t)
			ts, ls = slices.Insert(ts, i, t), slices.Insert(ls, i, score)
		}
	}
	for i := range n + 1 {
		try(first + (last-first)*float64(i)/n*0.97)
	}
	// Closer about the best, where the evidence between two of them is no line.
	for range 2 {
		if len(ts) < 4 {
			break
		}
		i := 0
		for k := range ls {
			if ls[k] > ls[i] {
				i = k
			}
		}
		if i == 0 {
			break
		}
		from, to := ts[i-1], ts[min(i+1, len(ts)-1)]
		for k := 1.0; k < 8; k++ {
			if t := from + (to-from)*k/8; t != ts[i] && t > from {
				try(t)
			}
		}
	}
	f.onset = old
	if len(ts) < 4 {
		return nil
	}
	return func(t float64) float64 {
		if t <= ts[0] {
			return ls[0]
		}
		i := sort.SearchFloat64s(ts, t)
		if i >= len(ts) {
			return ls[len(ls)-1]
		}
		g := (t - ts[i-1]) / (ts[i] - ts[i-1])
		return ls[i-1] + g*(ls[i]-ls[i-1])
	}
}
