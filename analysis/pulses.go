package analysis

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Where the inlet works by pulses no state of the valves lasts long enough for a
// test of its own. There the pressure is set against how long the inlet has been
// open: what each second of opening and each pulse brings, and what the settling
// gas gives or takes, is fitted to the readings of both sides, and a loss is an
// offset between them.
const (
	pulseBefore = 12   // readings
	pulseLeast  = 7    // readings, after a vent
	pulseAfter  = 6    // readings
	knownPulses = 2    // begun before the loss, from which they are known
	pulseYoung  = 10   // readings under one state, from which its own test is enough
	valveTimeS  = 0.05 // by which the time that a valve passes may differ from its order; common practice, no source
	valveTimes  = 4.0  // as many of those are no loss
	pulseOther  = 3.0  // times the falls about it: the settling of gas goes on, a loss does not
	pulseFell   = 3.0  // standard uncertainties of a difference, of a fall though something was let in
	pulseLimit  = 6.5  // standard uncertainties: the flow of a valve is less even than noise
)

// pulseTrial is the offset between two neighbouring readings, Pa.
type pulseTrial struct {
	i, next    int
	z          float64 // in units of its uncertainty for unit noise
	step       float64 // Pa lost
	lever      float64
	fall       float64 // Pa that the second reading lies below what the model takes it for without a loss
	pa, paSD   float64 // Pa and units of noise, at the reading before
	slope, let float64 // Pa/s, and Pa let in between the two
	rate       float64 // Pa/s of opening
	other      float64 // Pa, the largest fall between other readings of the window
	whole      bool    // the window knows the inlet's pulses
}

// inletClock tells how long the inlet was open up to a time, s, and how often.
type inletClock struct {
	list  []interval
	until []float64 // s open before each
}

func newInletClock(list []interval) *inletClock {
	c := &inletClock{list: list, until: make([]float64, len(list)+1)}
	for i, o := range list {
		c.until[i+1] = c.until[i] + o.end - o.start
	}
	return c
}

func (c *inletClock) at(t float64) (open, pulses float64) {
	i, _ := slices.BinarySearchFunc(c.list, t, func(o interval, t float64) int {
		if o.start < t {
			return -1
		}
		return 1
	})
	if i == 0 {
		return 0, 0
	}
	return c.until[i-1] + min(t, c.list[i-1].end) - c.list[i-1].start, float64(i)
}

// pulsedSteps finds the losses of a ramp whose inlet works by pulses.
func (a *analysis) pulsedSteps() {
	if a.byHand() || len(a.x.fill) == 0 {
		return
	}
	s, clock, changes := a.s, newInletClock(a.x.fill), a.x.changes()
	sound := make([]int, 0, len(s.t))
	for i := range s.t {
		if !s.spike[i] {
			sound = append(sound, i)
		}
	}
	var trials []pulseTrial
	next := 0
	for k := pulseLeast - 1; k+pulseAfter < len(sound); k++ {
		t0, t1 := s.t[sound[k]], s.t[sound[k+1]]
		for next < len(changes) && changes[next] < t1+2*s.dt {
			next++
		}
		if next == 0 || t0-changes[next-1] > pulseYoung*s.dt {
			continue
		}
		n := min(k+1, pulseBefore)
		for n > pulseLeast && overlaps(a.x.vent, s.t[sound[k+1-n]], t1) {
			n--
		}
		win := sound[k+1-n : k+1+pulseAfter]
		first, last := s.t[win[0]], s.t[win[len(win)-1]]
		if last-first > float64(len(win)+3)*s.dt || overlaps(a.x.vent, first, last) {
			continue
		}
		whole, in := a.inRamp(first, t0, t1, last)
		if !in {
			continue
		}
		if open, _ := clock.at(t0); open == 0 {
			continue
		}
		if c, ok := pulseFit(s, clock, win, n); ok {
			c.i, c.next, c.whole = sound[k], sound[k+1], whole
			trials = append(trials, c)
		}
	}
	zs := make([]float64, len(trials))
	for i, c := range trials {
		zs[i] = c.z
	}
	scale := 2 * s.noise
	if len(zs) >= 20 {
		scale = max(s.noise, madSD(zs))
	}
	var best *pulseTrial
	keep := func() {
		if best == nil {
			return
		}
		c := *best
		best = nil
		t0, t1 := s.t[c.i], s.t[c.next]
		for _, j := range a.steps {
			if j.t1 > t0-pulseBefore*s.dt && j.t0 < t1+pulseAfter*s.dt {
				return // found already
			}
		}
		j := jump{i: c.i, t0: t0, t1: t1, pa: c.pa, drop: c.step, u: scale * c.lever, paSD: scale * c.paSD,
			slope: c.slope, slopeSD: scale * c.lever / s.dt, inletted: openAt(a.x.fill, t0), stroke: max(c.let, 0)}
		j, _ = a.begunBefore(j)
		a.steps = append(a.steps, j)
	}
	for i := range trials {
		c := &trials[i]
		if c.z < pulseLimit*scale || c.fall < 0.5*c.step || c.step < max(pulseOther*c.other, valveTimes*valveTimeS*c.rate) {
			continue
		}
		// Where the pulses are not known only what fell though the flow was there is a
		// loss; what hardly rose is a doubt.
		if fell := s.p[c.i] - s.p[c.next]; !c.whole && fell < max(pulseFell*math.Sqrt2*scale, pulseOther*c.other) {
			if had := s.p[c.i] - s.p[max(c.i-1, 0)]; -fell < 0.3*c.let && had > 0.5*c.let && c.let > jumpLimit*scale {
				a.unsure = append(a.unsure, jump{i: c.i, t0: s.t[c.i], t1: s.t[c.next], pa: c.pa, drop: c.step, u: scale * c.lever, inletted: true, unsure: true})
			}
			continue
		}
		if best != nil && c.i > best.i+pulseBefore+pulseAfter {
			keep()
		}
		if best == nil || c.z > best.z {
			best = c
		}
	}
	keep()
}

// inRamp says whether a gap between two readings lies in a ramp, and whether the
// whole window does, or what of it does not knows the inlet's pulses as well. A
// single topping-up in a hold, and the first opening of a ramp, bring what no
// other pulse tells, while the gas settles as no line does: there only what fell
// although something was let in is a loss.
func (a *analysis) inRamp(first, t0, t1, last float64) (whole, in bool) {
	for _, st := range a.stages {
		r := st.ramp
		if !r.real() || t0 < r.start-a.s.dt || t1 > r.end {
			continue
		}
		pulses := 0
		for _, o := range a.x.fill {
			if o.start > first && o.start < t0 {
				pulses++
			}
		}
		return pulses >= knownPulses && (last <= r.end || !overlaps(a.x.fill, r.end+a.s.dt, last)), true
	}
	return false, false
}

func overlaps(list []interval, from, to float64) bool {
	return slices.ContainsFunc(list, func(o interval) bool { return o.start < to && o.end > from })
}

// pulseRate is the most that a second of opening brought between two readings of
// a window, Pa/s, and the most that the pressure fell between two of them, Pa,
// those about the loss that is looked for left out.
func pulseRate(s *signal, clock *inletClock, win []int, before int) (rate, fell float64) {
	for k := 1; k < len(win); k++ {
		o0, _ := clock.at(s.t[win[k-1]])
		o1, _ := clock.at(s.t[win[k]])
		rise := s.p[win[k]] - s.p[win[k-1]]
		if o := o1 - o0; o > 0.05*s.dt {
			rate = max(rate, rise/o)
		}
		if k < before-1 || k > before+1 {
			fell = max(fell, -rise)
		}
	}
	return rate, fell
}

// pulseFit fits the readings of a window, of which the first ones lie before
// the loss that is looked for.
func pulseFit(s *signal, clock *inletClock, win []int, before int) (c pulseTrial, ok bool) {
	const k = 5
	t0 := s.t[win[before-1]]
	p0 := s.p[win[before-1]]
	open0, n0 := clock.at(t0)
	var m mat.SymDense
	m.ReuseAsSym(k)
	r := mat.NewVecDense(k, nil)
	basis := func(i int) [k]float64 {
		open, n := clock.at(s.t[i])
		f := [k]float64{1, open - open0, s.t[i] - t0, n - n0, 0}
		if s.t[i] > t0 {
			f[4] = -1
		}
		return f
	}
	for _, i := range win {
		f := basis(i)
		for x := range k {
			for y := x; y < k; y++ {
				m.SetSym(x, y, m.At(x, y)+f[x]*f[y])
			}
			r.SetVec(x, r.AtVec(x)+f[x]*(s.p[i]-p0))
		}
	}
	c.rate, c.other = pulseRate(s, clock, win, before)
	sd := max(valveTimeS*c.rate, s.noise/10)
	m.SetSym(3, 3, m.At(3, 3)+s.noise*s.noise/(sd*sd))
	var chol mat.Cholesky
	if !chol.Factorize(&m) || chol.Cond() > 1e9 {
		return c, false
	}
	var b mat.VecDense
	var inv mat.SymDense
	if chol.SolveVecTo(&b, r) != nil || chol.InverseTo(&inv) != nil {
		return c, false
	}
	f := basis(win[before])
	c.let = b.AtVec(1)*f[1] + b.AtVec(3)*f[3]
	c.fall = b.AtVec(0) + c.let + b.AtVec(2)*f[2] - (s.p[win[before]] - p0)
	c.step, c.lever = b.AtVec(4), math.Sqrt(inv.At(4, 4))
	c.z = c.step / c.lever
	c.pa, c.paSD = p0+b.AtVec(0), math.Sqrt(inv.At(0, 0))
	c.slope = b.AtVec(2)
	return c, true
}

// begunBefore tells whether the reading before a loss already lies below those
// before it: a transducer that averages shows a loss over two readings.
func (a *analysis) begunBefore(j jump) (jump, bool) {
	s := a.s
	var ts, ps []float64
	from := j.t0 - 9*s.dt
	for _, c := range a.x.changes() {
		if c < j.t0-1e-9 {
			from = max(from, c+s.dt/4)
		}
	}
	for k := j.i - 1; k >= 0 && s.t[k] > from; k-- {
		if !s.spike[k] {
			ts, ps = append(ts, s.t[k]), append(ps, s.p[k])
		}
	}
	if len(ts) < 3 {
		return j, false
	}
	slices.Reverse(ts)
	slices.Reverse(ps)
	n := len(ts)
	fit, ok := polyfit(ts, ps, ts[n-1], 1)
	if !ok {
		return j, false
	}
	want, v := fit.at(s.t[j.i])
	if missing := want - s.p[j.i]; missing < jumpLimit*s.noise*math.Sqrt(1+v) || missing < 0.1*j.drop || j.t0-ts[n-1] > 2*s.dt {
		return j, false
	}
	i := j.i - 1
	for i > 0 && s.spike[i] {
		i--
	}
	pa, pv := fit.at(ts[n-1])
	j.i, j.t1, j.t0, j.pa, j.paSD, j.slope = i, j.t0, ts[n-1], pa, s.noise*math.Sqrt(pv), fit.c[1]
	return j, true
}
