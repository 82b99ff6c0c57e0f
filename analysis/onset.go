package analysis

import (
	"fmt"
	"math"
	"sort"
)

// onset is when the unit began to fail, as a distribution over time: weights on
// a grid, which the depth follows by the chamber's pressure.
type onset struct {
	t       []float64
	w       []float64 // sums to 1
	blurred []float64 // the same with what the sensors' own timing adds, for bounds; nil for none
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

// blur spreads the distribution by how late a reading may be: a rectangle
// from early before to late after, s: the lags of sensors are known roughly only.
func (o *onset) blur(early, late float64) {
	w := make([]float64, len(o.w))
	for i, t := range o.t {
		if o.w[i] < 1e-9 {
			continue
		}
		lo, hi := between(o.t, t-early-1e-9, t+late)
		for k := lo; k < hi; k++ {
			w[k] += o.w[i] / float64(hi-lo)
		}
	}
	o.blurred = w
}

// wide is the distribution that bounds are taken from.
func (o *onset) wide() *onset {
	if o.blurred == nil {
		return o
	}
	return &onset{t: o.t, w: o.blurred}
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
// onset, which rise after it by a sum of shapes.
type channel struct {
	t, y, sd []float64
	trend    float64 // sd of a slope that was there before, units/s
	shapes   []func(t0, t float64) float64
	extra    func(t float64) float64 // what else the reading may follow; nil for nothing
	extraSD  float64
}

// misfit gives χ² of the channel with the onset at t0, over level, trend and rise.
func (c *channel) misfit(t0 float64) float64 {
	const k = 5
	var m [k][k]float64
	var r [k]float64
	yy := 0.0
	mid := c.t[len(c.t)/2]
	end := c.t[len(c.t)-1]
	span := end - c.t[0] + 1
	var scale [2]float64
	for j, shape := range c.shapes {
		scale[j] = max(math.Abs(shape(t0, end)), 1e-30)
	}
	base := c.y[0]
	for i, t := range c.t {
		w := 1 / (c.sd[i] * c.sd[i])
		f := [k]float64{1, (t - mid) / span, 0, 0, 0}
		if c.extra != nil {
			f[4] = c.extra(t) * c.extraSD
		}
		if t > t0 {
			for j, shape := range c.shapes {
				f[2+j] = shape(t0, t) / scale[j]
			}
		}
		y := c.y[i] - base
		for a := range k {
			for b := range k {
				m[a][b] += w * f[a] * f[b]
			}
			r[a] += w * f[a] * y
		}
		yy += w * y * y
	}
	tr := c.trend * span
	m[1][1] += 1 / (tr*tr + 1e-30)
	m[4][4]++
	for a := range k {
		m[a][a] += 1e-9 * m[0][0]
	}
	// Gauss elimination; what is left of the quadratic form is χ².
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

// course is the driving pressure cumulated over time on a grid, and the same
// behind a first-order lag, so that what a leak lets in, and what a sensor that
// follows with a lag shows of it, can be had for any onset.
type course struct {
	from, step float64
	sum, lag   []float64
	tau        float64
}

func (a *analysis) newCourse(from, to, tau float64) *course {
	const n = 2400
	c := &course{from: from, step: (to - from) / n, tau: tau, sum: make([]float64, n+1), lag: make([]float64, n+1)}
	keep := math.Exp(-c.step / tau)
	for i := 1; i <= n; i++ {
		d := max(a.drive(from+c.step*(float64(i)-0.5)), 0)
		c.sum[i] = c.sum[i-1] + d*c.step
		c.lag[i] = c.lag[i-1]*keep + d*tau*(1-keep)
	}
	return c
}

func (c *course) at(list []float64, t float64) float64 {
	p := (t - c.from) / c.step
	i := min(max(int(p), 0), len(list)-2)
	return list[i] + (p-float64(i))*(list[i+1]-list[i])
}

// driven is what has come in since t0, Pa s.
func (c *course) driven(t0, t float64) float64 {
	return max(c.at(c.sum, t)-c.at(c.sum, t0), 0)
}

// lagged is the same as a sensor shows it that follows with time constant tau.
func (c *course) lagged(t0, t float64) float64 {
	e := math.Exp(-(t - t0) / c.tau)
	return max(c.driven(t0, t)-c.at(c.lag, t)+e*c.at(c.lag, t0), 0)
}

// steady is a constant source behind the same lag, s.
func (c *course) steady(t0, t float64) float64 {
	s := t - t0
	return s - c.tau*(1-math.Exp(-s/c.tau))
}

// bent is a source that grows or fades evenly, behind the same lag, s².
func (c *course) bent(t0, t float64) float64 {
	s := t - t0
	return s*s - 2*c.tau*s + 2*c.tau*c.tau*(1-math.Exp(-s/c.tau))
}

// humidityLag is how long a humidity sensor takes to follow: 5 to 10 s for the
// element and as much for the air about it (TRADE.md section 4), as a log-normal
// distribution.
const (
	humidityLag       = 15.0 // s
	humidityLagSpread = 0.45
)

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
// A seal that seats under pressure lets water by as soon as that overcomes its
// surface tension, which is within the first metre or so (TRADE.md section 3.6).
func (a *analysis) prior(ts []float64, seats bool) []float64 {
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
	floor := 0.05*total/span + 1
	for i := range w {
		w[i] = math.Log(w[i] + floor)
		if seats {
			w[i] -= max(a.depth(a.pressureAt(ts[i])), 0) / seatingM
		}
	}
	return w
}

// seatingM is the depth over which an unseated seal begins to leak, m; common
// practice, no source.
const seatingM = 1.0

// insideOnset finds the onset of a slow leak from what the inside shows; nil
// where it shows none.
func (a *analysis) insideOnset(leaky *stage, seats bool) *onset {
	v := a.in
	if v == nil {
		return nil
	}
	var pt, py, ht, hy []float64
	stop := a.stopS()
	soft, softU := a.softness(leaky)
	for i, t := range v.t {
		if t > stop || v.bad[i] {
			continue
		}
		if v.ml != nil {
			pt, py = append(pt, t), append(py, v.ml[i]-soft*v.freeML*(a.pressureAt(t)-a.v.roomPa))
		}
		if v.mg != nil && v.rh[i] < humidityEnd {
			ht, hy = append(ht, t), append(hy, v.mg[i])
		}
	}
	// Roughly when: by the inside pressure as one break over the record up to the
	// end of the leak, or by the humidity's balance; then closely.
	tp, th := math.NaN(), math.NaN()
	until := stop
	if leaky != nil {
		until = min(until, leaky.dwell().end)
		if !leaky.dwell().real() {
			until = min(until, leaky.ramp.end)
		}
	}
	if len(pt) > 30 && a.insideLeaks() {
		tp = a.coarse(pt, py, v.noise, a.creepTrend(soft, until), until)
	}
	switch {
	case !math.IsNaN(tp):
		th = a.riseNear(ht, hy, tp)
	case a.damp != nil && a.damp.rising:
		if th = a.sharpest(ht, hy, v.mgSD); math.IsNaN(th) {
			th = a.damp.onset
		}
	case len(ht) > 30 && a.insideLeaks():
		th = rise(ht, hy, v.mgSD, 10, 3e-3*hy[0], true)
	}
	seen := tp
	if math.IsNaN(seen) {
		seen = th
	}
	if math.IsNaN(seen) {
		return nil
	}
	from := max(0, seen-900)
	// Each witness is looked at until it stands well clear of its noise: further on
	// its shape would have to be known better than it is.
	window := func(t, y []float64, sd float64) float64 {
		return min(max(seen+25, reaches(t, y, seen, 45*sd)), min(seen+300, stop))
	}
	toP, toH := seen+25, seen+25
	if !math.IsNaN(tp) {
		toP = window(pt, py, v.noise)
	}
	if !math.IsNaN(th) {
		toH = window(ht, hy, v.mgSD)
	}
	to := max(toP, toH)
	cut := func(t, y []float64, sd, trend, to float64) *channel {
		lo, hi := between(t, from-1, to)
		if hi-lo < 12 {
			return nil
		}
		c := &channel{t: t[lo:hi], y: y[lo:hi], trend: trend, sd: make([]float64, hi-lo)}
		for i := range c.sd {
			c.sd[i] = sd
		}
		return c
	}
	o := &onset{}
	last := min(seen+240, to)
	step := max((last-from)/900, v.dt/8)
	for t := from; t <= last; t += step {
		o.t = append(o.t, t)
	}
	o.w = a.prior(o.t, seats)
	found := false
	add := func(c *channel, shapes [][]func(t0, t float64) float64, prior []float64) {
		if c == nil {
			return
		}
		found = true
		chi := make([][]float64, len(shapes))
		best := math.Inf(1)
		for k := range shapes {
			c.shapes = shapes[k]
			chi[k] = make([]float64, len(o.t))
			for i, t := range o.t {
				chi[k][i] = c.misfit(t)
				best = min(best, chi[k][i])
			}
		}
		scale := max(1, best/float64(len(c.t)-4))
		if debugFit {
			for i := 0; i < len(o.t); i += max(1, len(o.t)/40) {
				fmt.Printf("   t0 %.2f", o.t[i])
				for k := range shapes {
					fmt.Printf(" %.1f", chi[k][i]-best)
				}
				fmt.Println()
			}
			fmt.Println("  best", best, "n", len(c.t), "scale", scale, "window", c.t[0], c.t[len(c.t)-1], "sd", c.sd[0])
		}
		for i := range o.w {
			sum := 0.0
			for k := range shapes {
				sum += prior[k] * math.Exp(-(chi[k][i]-best)/scale/2)
			}
			o.w[i] += math.Log(sum + 1e-300)
		}
	}
	type shape = func(t0, t float64) float64
	if !math.IsNaN(tp) && tp < to {
		c := a.newCourse(from, to, 1)
		shapes, prior := [][]shape{{c.driven}}, []float64{1}
		if toP <= seen+40 {
			// A burst may let something in at once.
			shapes = append(shapes, []shape{c.driven, func(t0, t float64) float64 { return 1 - math.Exp(-(t-t0)/0.5) }})
			prior = append(prior, 1)
		}
		p := cut(pt, py, v.noise, a.creepTrend(soft, seen), toP)
		if p != nil {
			p.extra, p.extraSD = func(t float64) float64 { return v.freeML * (a.pressureAt(t) - a.v.roomPa) }, softU
		}
		add(p, shapes, prior)
	}
	if !math.IsNaN(th) && th < to {
		var shapes [][]shape
		var prior []float64
		for z := -2.0; z <= 2; z += 0.5 {
			c := a.newCourse(from, to, humidityLag*math.Exp(humidityLagSpread*z))
			if a.insideLeaks() {
				shapes = append(shapes, []shape{c.steady, c.bent})
			} else {
				shapes = append(shapes, []shape{c.lagged})
			}
			prior = append(prior, math.Exp(-z*z/2))
		}
		add(cut(ht, hy, v.mgSD, 1.5/3600, toH), shapes, prior)
	}
	if !found {
		return nil
	}
	o.normal()
	late := 2.5 * v.dt
	if math.IsNaN(tp) {
		late = 5 * v.dt // by the humidity alone, whose lag is the least known
	}
	o.blur(1.5*v.dt, late)
	return o
}

// coarse is when the inside pressure breaks from level to a leak of constant
// conductance, among the readings until a time; NaN where nothing breaks.
func (a *analysis) coarse(t, y []float64, sd, trend, until float64) float64 {
	_, hi := between(t, math.Inf(-1), until)
	if hi < 20 {
		return math.NaN()
	}
	n := max(1, hi/400)
	c := &channel{trend: trend}
	for i := 0; i+n <= hi; i += n {
		var st, sy float64
		for k := i; k < i+n; k++ {
			st += t[k] / float64(n)
			sy += y[k] / float64(n)
		}
		c.t, c.y = append(c.t, st), append(c.y, sy)
		c.sd = append(c.sd, math.Hypot(sd/math.Sqrt(float64(n)), 0.003/293*a.in.freeML))
	}
	k := a.newCourse(0, until, 1)
	c.shapes = []func(t0, t float64) float64{k.driven}
	none := c.misfit(until)
	best, at := none, math.NaN()
	step := max(until/600, 1)
	for t0 := 0.0; t0 < until; t0 += step {
		if m := c.misfit(t0); m < best {
			best, at = m, t0
		}
	}
	if none-best < 40 {
		return math.NaN()
	}
	return at
}

// sharpest is where a witness bends upwards most within some minutes, as a leak
// that begins there would bend it; NaN where nothing bends by more than chance.
func (a *analysis) sharpest(t, y []float64, sd float64) float64 {
	if len(t) < 40 {
		return math.NaN()
	}
	const before, after, width = 400.0, 200.0, 5.0
	var bt, by, bs []float64
	var st, sy, n float64
	end := t[0] + width
	for i := range t {
		if t[i] >= end && n > 0 {
			bt, by, bs = append(bt, st/n), append(by, sy/n), append(bs, sd/math.Sqrt(n))
			st, sy, n = 0, 0, 0
			end = t[i] + width
		}
		st += t[i]
		sy += y[i]
		n++
	}
	course := a.newCourse(t[0], t[len(t)-1]+1, humidityLag)
	best, at := 40.0, math.NaN()
	for t0 := t[0] + 5; t0 < t[len(t)-1]-30; t0 += 10 {
		lo, hi := between(bt, t0-before, t0+after)
		if hi-lo < 12 {
			continue
		}
		c := &channel{t: bt[lo:hi], y: by[lo:hi], sd: bs[lo:hi], trend: 1}
		none := c.misfit(t0)
		c.shapes = []func(t0, t float64) float64{course.lagged}
		with := c.misfit(t0)
		if gain := (none - with) / max(1, with/float64(hi-lo-3)); gain > best {
			best, at = gain, t0
		}
	}
	return at
}

// reaches is when a witness has gained something since a time.
func reaches(t, y []float64, since, gain float64) float64 {
	lo, _ := between(t, since-1e-9, since)
	from := max(0, lo-10)
	base := 0.0
	for i := from; i < lo; i++ {
		base += y[i] / float64(lo-from)
	}
	if lo == from {
		if lo >= len(y) {
			return since
		}
		base = y[lo]
	}
	for i := lo; i+2 < len(t); i++ {
		if (y[i]+y[i+1]+y[i+2])/3-base > gain {
			return t[i+2]
		}
	}
	if len(t) == 0 {
		return since
	}
	return t[len(t)-1]
}

// softness is how much of the void the chamber's pressure takes, 1/Pa, and its
// standard uncertainty: from the ramps of the stages before the one that leaks,
// where nothing else moved the inside pressure.
func (a *analysis) softness(leaky *stage) (soft, u float64) {
	v := a.in
	var list, us []float64
	for _, st := range a.stages {
		if leaky != nil && st.order >= leaky.order {
			break
		}
		if !st.ramp.real() || !st.dwell().real() {
			continue
		}
		step := a.meanPressure(interval{st.ramp.end, min(st.ramp.end+60, st.dwell().end)}) - a.meanPressure(interval{st.ramp.start - 60, st.ramp.start})
		if st.ramp.start < 5 {
			step = a.meanPressure(interval{st.ramp.end, min(st.ramp.end+60, st.dwell().end)}) - a.v.roomPa
		}
		if math.IsNaN(step) || math.Abs(step) < 1e4 {
			continue
		}
		before, nb := v.mean(st.ramp.start-150, st.ramp.start+v.dt)
		after, na := v.mean(st.ramp.end, min(st.ramp.end+90, st.dwell().end))
		if nb == 0 || na == 0 {
			continue
		}
		list = append(list, (after-before)/(v.freeML*step))
		us = append(us, math.Hypot(v.noise*math.Sqrt(1/nb+1/na), v.freeML/293*0.015)/(v.freeML*math.Abs(step)))
	}
	// Rigid housings give nothing, printed ones up to some 0.7 ‰ a bar.
	const usual = 1.5e-9
	sum, w := 0.0, 1/(usual*usual)
	for i := range list {
		g := 1 / (us[i] * us[i])
		sum += g * list[i]
		w += g
	}
	soft = max(sum/w, 0)
	return soft, math.Sqrt(1/w) + 0.05*math.Abs(soft) + 1e-11
}

// mean is the mean of what has been lost over a time, ml, and of how many readings.
func (v *void) mean(from, to float64) (mean, n float64) {
	lo, hi := between(v.t, from, to)
	for i := lo; i < hi; i++ {
		if !v.bad[i] {
			mean += v.ml[i]
			n++
		}
	}
	return mean / max(n, 1), n
}

// creepTrend is how fast the inside pressure may drift without a leak, ml/s: with
// its sensor, and as a soft housing creeps.
func (a *analysis) creepTrend(soft, at float64) float64 {
	return (4e-5 + 0.5*soft*max(a.pressureAt(at)-a.v.roomPa, 0)) * a.in.freeML / 3600
}

// riseNear says whether the humidity rises within some minutes of a time at which
// the inside pressure did: that time, or NaN.
func (a *analysis) riseNear(t, y []float64, at float64) float64 {
	lo, hi := between(t, at-600, at+240)
	if hi-lo < 30 {
		return math.NaN()
	}
	r := rise(t[lo:hi], y[lo:hi], a.in.mgSD, 10, 3e-3*y[lo], true)
	if r < at-400 {
		return math.NaN()
	}
	return r
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
	tau, drift := math.NaN(), a.drift
	leak, leakU, driveMean := 0.0, math.Inf(1), 1.0
	var known func(t float64) float64
	if e := st.chamber; e != nil {
		tau, drift = e.tau, e.drift
		known = a.evidence(f, tau, drift, e.value, e.cooled)
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
