package analysis

import (
	"math"
	"sort"
)

// onset is when the unit began to fail, as a distribution over time: weights on
// a grid, which the depth follows by the chamber's pressure.
type onset struct {
	t []float64
	w []float64 // sums to 1
}

// normal turns logarithms of weights into weights.
func (o *onset) normal() {
	top := math.Inf(-1)
	for _, l := range o.w {
		top = max(top, l)
	}
	sum := 0.0
	for i, l := range o.w {
		o.w[i] = math.Exp(l - top)
		sum += o.w[i]
	}
	for i := range o.w {
		o.w[i] /= sum
	}
}

// quantile gives a quantile of f(t) over the distribution.
func (o *onset) quantile(q float64, f func(float64) float64) float64 {
	type pair struct{ v, w float64 }
	list := make([]pair, len(o.t))
	for i, t := range o.t {
		list[i] = pair{f(t), o.w[i]}
	}
	sort.Slice(list, func(i, j int) bool { return list[i].v < list[j].v })
	sum := 0.0
	for i, p := range list {
		if sum+p.w >= q {
			// Linear within the step that holds it.
			if i > 0 && p.w > 0 {
				return list[i-1].v + (p.v-list[i-1].v)*(q-sum)/p.w
			}
			return p.v
		}
		sum += p.w
	}
	return list[len(list)-1].v
}

func same(t float64) float64 { return t }

// channel is one witness of a slow leak: readings about a level before the
// onset, which rise after it as one or two known shapes.
type channel struct {
	t, y, sd []float64
	trend    float64 // sd of a slope that was there before, units/s
	bent     bool    // the rise is free: s and s², rather than what the pressure drives
}

// misfit gives χ² of the channel with the onset at t0, over level, trend and rise.
func (c *channel) misfit(t0 float64, driven func(t0, t float64) float64) float64 {
	const k = 4
	var m [k][k]float64
	var r [k]float64
	yy := 0.0
	mid := c.t[len(c.t)/2]
	span := c.t[len(c.t)-1] - c.t[0] + 1
	last := driven(t0, c.t[len(c.t)-1])
	for i, t := range c.t {
		w := 1 / (c.sd[i] * c.sd[i])
		f := [k]float64{1, (t - mid) / span, 0, 0}
		if t > t0 {
			if c.bent {
				s := (t - t0) / span
				f[2], f[3] = s, s*s
			} else if last > 0 {
				f[2] = driven(t0, t) / last
			}
		}
		for a := range k {
			for b := range k {
				m[a][b] += w * f[a] * f[b]
			}
			r[a] += w * f[a] * c.y[i]
		}
		yy += w * c.y[i] * c.y[i]
	}
	tr := c.trend * span
	m[1][1] += 1 / (tr*tr + 1e-30)
	for a := range k {
		m[a][a] += 1e-9 * (1 + m[0][0]*1e-6)
	}
	// Gauss elimination; the quadratic form left over is χ².
	for a := range k {
		if m[a][a] <= 0 {
			continue
		}
		for b := a + 1; b < k; b++ {
			f := m[b][a] / m[a][a]
			for j := a; j < k; j++ {
				m[b][j] -= f * m[a][j]
			}
			r[b] -= f * r[a]
		}
		yy -= r[a] * r[a] / m[a][a]
	}
	return yy
}

// rise finds when a witness first stands above what it was before, s: blocks of
// some seconds against the mean (or the line) of all blocks before; NaN for never.
func rise(t, y []float64, sd, width, slack float64, line bool) float64 {
	var bt, by, bn []float64
	var st, sy, n float64
	if len(t) == 0 {
		return math.NaN()
	}
	end := t[0] + width
	for i := range t {
		if t[i] >= end {
			if n > 0 {
				bt, by, bn = append(bt, st/n), append(by, sy/n), append(bn, n)
			}
			st, sy, n = 0, 0, 0
			end = t[i] + width
		}
		st += t[i]
		sy += y[i]
		n++
	}
	var s0, s1, s2, r0, r1 float64
	for i := 0; i+2 < len(bt); i++ {
		if s0 > 2 {
			got := (by[i]*bn[i] + by[i+1]*bn[i+1] + by[i+2]*bn[i+2]) / (bn[i] + bn[i+1] + bn[i+2])
			level, v := r0/s0, 1/s0
			if line && s0 > 12 {
				det := s0*s2 - s1*s1
				if det > 1e-9*s0*s2 {
					slope := (s0*r1 - s1*r0) / det
					base := (s2*r0 - s1*r1) / det
					x := bt[i+1] - bt[0]
					level = base + slope*x
					v = (s2 - 2*x*s1 + x*x*s0) / det
				}
			}
			u := sd * math.Sqrt(1/(bn[i]+bn[i+1]+bn[i+2])+v)
			if got-level > 6*u+slack && by[i+2]-level > 3*u {
				return bt[i]
			}
		}
		x := bt[i] - bt[0]
		s0 += bn[i]
		s1 += bn[i] * x
		s2 += bn[i] * x * x
		r0 += bn[i] * by[i]
		r1 += bn[i] * x * by[i]
	}
	return math.NaN()
}

// prior is how likely an onset is at a time before anything is known: leaks open
// at a pressure, so as fast as the pressure reaches new heights, and else at any
// time under pressure, which the trade sees far less often.
func (a *analysis) prior(ts []float64) []float64 {
	w := make([]float64, len(ts))
	if len(ts) < 2 {
		return w
	}
	top := a.pressureAt(ts[0])
	total := 0.0
	for i := 1; i < len(ts); i++ {
		p := a.pressureAt(ts[i])
		w[i] = max(p-top, 0) / (ts[i] - ts[i-1])
		top = max(top, p)
		total += w[i] * (ts[i] - ts[i-1])
	}
	w[0] = w[1]
	span := ts[len(ts)-1] - ts[0]
	floor := 0.2*total/span + 1
	for i := range w {
		w[i] = math.Log(w[i] + floor)
	}
	return w
}

// insideOnset finds the onset of a slow leak from what the inside shows; nil
// where it shows none.
func (a *analysis) insideOnset() *onset {
	v := a.in
	if v == nil {
		return nil
	}
	var pt, py, ht, hy []float64
	stop := a.x.endS
	for _, o := range a.x.vent {
		stop = min(stop, o.start)
	}
	for i, t := range v.t {
		if t > stop || v.bad[i] {
			continue
		}
		if v.ml != nil {
			pt, py = append(pt, t), append(py, v.ml[i])
		}
		if v.mg != nil && v.rh[i] < humidityEnd {
			ht, hy = append(ht, t), append(hy, v.mg[i])
		}
	}
	tp, th := math.NaN(), math.NaN()
	if len(pt) > 30 && a.insideLeaks() {
		tp = rise(pt, py, v.noise, 10, v.freeML/293*0.01, false)
	}
	if len(ht) > 30 && (a.insideLeaks() || a.damp != nil && a.damp.rising) {
		th = rise(ht, hy, v.mgSD, 10, 3e-3*hy[0], true)
	}
	seen := math.NaN()
	for _, t := range []float64{tp, th} {
		if !math.IsNaN(t) && !(seen < t) {
			seen = t
		}
	}
	if math.IsNaN(seen) {
		return nil
	}
	from := max(0, seen-900)
	to := min(seen+240, stop)
	var list []*channel
	cut := func(t, y []float64, sd, trend float64, bent bool) {
		lo, hi := between(t, from-1, to)
		if hi-lo < 12 {
			return
		}
		c := &channel{t: t[lo:hi], y: y[lo:hi], trend: trend, bent: bent}
		for range c.t {
			c.sd = append(c.sd, sd)
		}
		list = append(list, c)
	}
	if !math.IsNaN(tp) && tp < to {
		cut(pt, py, v.noise, v.freeML*4e-5/3600, false)
	}
	if !math.IsNaN(th) && th < to {
		cut(ht, hy, v.mgSD, 1, true)
	}
	if len(list) == 0 {
		return nil
	}
	n := 600
	step := max((min(seen+30, to)-from)/float64(n), v.dt/8)
	o := &onset{}
	// What a leak of constant conductance lets in, cumulated.
	grid := 2000
	gs := (to - from) / float64(grid)
	flow := make([]float64, grid+1)
	for i := 1; i <= grid; i++ {
		flow[i] = flow[i-1] + max(a.drive(from+gs*(float64(i)-0.5)), 0)*gs
	}
	at := func(t float64) float64 {
		p := (t - from) / gs
		i := min(max(int(p), 0), grid-1)
		return flow[i] + (p-float64(i))*(flow[i+1]-flow[i])
	}
	driven := func(t0, t float64) float64 { return max(at(t)-at(t0), 0) }
	for t := from; t <= min(seen+30, to); t += step {
		o.t = append(o.t, t)
	}
	best := make([]float64, len(list))
	chi := make([][]float64, len(list))
	for j, c := range list {
		best[j] = math.Inf(1)
		chi[j] = make([]float64, len(o.t))
		for i, t := range o.t {
			chi[j][i] = c.misfit(t, driven)
			best[j] = min(best[j], chi[j][i])
		}
	}
	o.w = a.prior(o.t)
	for j, c := range list {
		scale := max(1, best[j]/float64(len(c.t)-4))
		for i := range o.w {
			o.w[i] -= (chi[j][i] - best[j]) / scale / 2
		}
	}
	o.normal()
	return o
}

// insideLeaks says whether the inside pressure shows an ingress at all.
func (a *analysis) insideLeaks() bool {
	for _, st := range a.stages {
		if e := st.inside; e != nil && e.value > 4*e.u && e.value > 0.1*a.limit() {
			return true
		}
		if e := st.both; e != nil && e.value > 5*e.u && e.value > 0.3*a.limit() {
			return true
		}
		if e := st.chamber; e != nil && e.settle > 5*e.settleU && e.settle > 0.3*a.limit() {
			return true
		}
	}
	return len(a.x.wets) > 0
}

func (a *analysis) limit() float64 {
	if l := a.run.Profile.Accept.LeakMLPerH; l > 0 {
		return l
	}
	return 0.5
}

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
func (a *analysis) chamberOnset(st *stage, before *stage) *onset {
	d := st.dwell()
	from := d.start
	if st.ramp.real() {
		from = st.ramp.start
	}
	if before != nil {
		if b := before.dwell(); b.real() {
			from = b.start
		}
	}
	o := &onset{}
	end := d.end
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
	o.w = a.prior(o.t)
	// The leak and the evidence of each onset, on the coarse grid of closed parts.
	f := a.fitter(st)
	tau, drift := math.NaN(), usualDrift
	leak, leakU, driveMean := 0.0, math.Inf(1), 1.0
	var known func(t float64) float64
	if e := st.chamber; e != nil {
		tau, drift = e.tau, e.drift
		known = a.evidence(f, d, tau, drift)
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
func (a *analysis) evidence(f *chamberFit, d interval, tau, drift float64) func(float64) float64 {
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
