package analysis

import (
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

// atOnceShare is how likely a burst is to let in so much at once that the inside
// pressure shows it, beside one that only flows, and what its unknown size leaves of
// that: common practice, no source.
const atOnceShare = 0.1

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
	// Where only the humidity proves a leak, it is the earlier witness.
	dampOnly := leaky == nil && a.damp != nil && a.damp.rising
	if len(pt) > 30 && a.insideLeaks() && !dampOnly {
		var gain float64
		tp, gain = a.coarse(pt, py, v.noise, a.creepTrend(soft, until), until)
		// Water that comes in is seen by the humidity as well, and that the better: a
		// pressure that breaks long before it, and by less, is something else.
		if d := a.damp; d != nil && d.rising && d.onset > tp+120 && d.gain > gain && math.IsNaN(a.riseNear(ht, hy, tp)) {
			tp = math.NaN()
		}
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
		return min(max(seen+25, reaches(t, y, seen, 45*sd)), min(seen+480, stop))
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
	last := min(seen+420, to)
	step := max((last-from)/1000, v.dt/8)
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
			prior = append(prior, atOnceShare)
		}
		p := cut(pt, py, v.noise, a.creepTrend(soft, seen), toP)
		if p != nil {
			p.extra = []other{func(t float64) float64 { return softU * v.freeML * (a.pressureAt(t) - a.v.roomPa) }}
			if v.vapour != nil && v.shareU > 0.02 {
				p.extra = append(p.extra, v.vapourML)
			}
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
	a.bendToo(o, leaky)
	o.normal()
	late := 4 * v.dt
	if math.IsNaN(tp) {
		late = 5 * v.dt // by the humidity alone, whose lag is the least known
	}
	o.blur(1.5*v.dt, late)
	if first := a.firstHold(); math.IsNaN(tp) && seen < first {
		o.sinceStart(a.prior(o.t, seats), seen)
	}
	return o
}

// bendToo adds what the ramps say of a leak as large as its stage shows.
func (a *analysis) bendToo(o *onset, leaky *stage) {
	if leaky == nil || leaky.both == nil || leaky.both.value < 3*leaky.both.u {
		return
	}
	d := leaky.dwell()
	drive := max(a.drive((d.start+d.end)/2), 1000)
	ks := conductances(leaky.both.value/drive, leaky.both.u/drive)
	in := make([]float64, len(ks))
	for i, t := range o.t {
		ramp := a.rampAt(t)
		if ramp == nil {
			continue
		}
		norm := 0.0
		for n, k := range ks {
			in[n] = k.w + ramp.says(t, k.k)
			norm += math.Exp(k.w)
		}
		o.w[i] += logSum(in) - math.Log(norm)
	}
}

// firstHold is when the first hold ended, s; before that nothing tells how the
// walls give off moisture while all is tight.
func (a *analysis) firstHold() float64 {
	for _, st := range a.stages {
		if st.hold.real() {
			return st.hold.end
		}
	}
	return 0
}

// earlier is how likely a bend of the humidity in the first stage, which has no
// tight time before it to be set against, is not yet the beginning.
const earlier = 0.7

// sinceStart lets the bounds reach back over the first stage.
func (o *onset) sinceStart(prior []float64, seen float64) {
	p := &onset{t: o.t, w: prior}
	for i, t := range o.t {
		if t > seen {
			p.w[i] = math.Inf(-1)
		}
	}
	p.normal()
	for i := range o.blurred {
		o.blurred[i] = (1-earlier)*o.blurred[i] + earlier*p.w[i]
	}
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
