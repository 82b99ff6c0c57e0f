package analysis

import (
	"math"
	"slices"
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

// coarse is when the inside pressure breaks from level to a leak of constant
// conductance, among the readings until a time, and by how much better χ² is for
// it; NaN where nothing breaks.
func (a *analysis) coarse(t, y []float64, sd, trend, until float64) (at, gain float64) {
	_, hi := between(t, math.Inf(-1), until)
	if hi < 20 {
		return math.NaN(), 0
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
	best := none
	at = math.NaN()
	step := max(until/600, 1)
	for t0 := 0.0; t0 < until; t0 += step {
		if m, rise := c.fit(t0); m < best && rise > 0 {
			best, at = m, t0
		}
	}
	if none-best < 40 {
		return math.NaN(), 0
	}
	return at, none - best
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
	step := max(10, (t[len(t)-1]-t[0])/20_000)
	for t0 := t[0] + 5; t0 < t[len(t)-1]-30; t0 += step {
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

// vapourML is how much the volume that was lost may be off by the share of the
// vapour's pressure that the sensor shows, ml.
func (v *void) vapourML(t float64) float64 {
	i, _ := slices.BinarySearch(v.t, t)
	i = min(i, len(v.t)-1)
	return v.shareU * v.freeML * (v.vapour[i] - v.vapour[0]) / v.pa[0]
}

// creepTrend is how fast the inside pressure may drift without a leak, ml/s: with
// its sensor, and as a soft housing creeps.
func (a *analysis) creepTrend(soft, at float64) float64 {
	return (4e-5 + 0.5*soft*max(a.pressureAt(at)-a.v.roomPa, 0)) * a.in.freeML / 3600
}
