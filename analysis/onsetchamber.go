package analysis

import (
	"math"
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
	step := max((end-from)/400, a.s.dt/2)
	for t := from; t <= end; t += step {
		o.t = append(o.t, t)
	}
	if len(o.t) == 0 {
		o.t = []float64{end}
	}
	o.w = a.prior(o.t, seats)
	if kink := a.rampKink(from, end, 8); kink != nil && (!d.real() || kink.t0 < d.start) {
		return kink.onset(a.s.dt)
	}
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
	k := max(leak, 0.3*a.limit()) / driveMean // ml/h/Pa
	if known != nil {
		for i, t := range o.t {
			o.w[i] += known(t)
		}
	}
	// In the stage before, a leak of the same conductance must have stayed unseen.
	if before != nil && before.chamber != nil && before.hold.real() {
		h := before.hold
		sd := before.both.u
		q := k * max(a.drive((h.start+h.end)/2), 0)
		for i, t := range o.t {
			if t >= h.end {
				continue
			}
			share := min((h.end-t)/h.length(), 1)
			// The end of a hold says less of a slope than the whole: as the 3/2 power.
			z := (q*math.Pow(share, 1.5) - before.both.value) / sd
			z0 := before.both.value / sd
			o.w[i] -= (z*z - z0*z0) / 2
		}
	}
	if !math.IsNaN(wetAt) && (leak > 2*leakU || e == nil) {
		if math.IsNaN(dryAt) {
			dryAt = wetAt
		}
		for i, t := range o.t {
			in := k * a.drivenBetween(t, (wetAt+dryAt)/2) / 3600
			if leak <= 2*leakU || in <= 0 {
				if in <= 0 {
					o.w[i] -= 8
				}
				continue
			}
			spread := math.Hypot(wetSpread, leakU/leak)
			z := math.Log(in/wetML) / spread
			o.w[i] -= z * z / 2
		}
	}
	o.normal()
	return o
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
	for i := range n + 1 {
		t := first + (last-first)*float64(i)/n*0.97
		f.onset = t
		if i == 0 {
			f.onset = math.Inf(-1)
		}
		if _, score := f.once(true, false, tau, drift); score != 0 {
			ts = append(ts, t)
			ls = append(ls, score)
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
