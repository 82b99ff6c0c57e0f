package analysis

import "math"

// closingSteps finds a loss at the very moment at which the inlet shut, which a
// test under one state of the valves cannot see: the ramp before and the dwell
// after are each carried to that moment. The flow ends somewhere within a
// reading, alike at each closing of a run, so that one which differs from all the
// others stands out.
func (a *analysis) closingSteps() {
	type closing struct {
		t, late, u, slope, pa, gap float64 // late: s by which the flow seems to have ended early
		i                          int
	}
	var list []closing
	s := a.s
	for _, o := range a.x.fill {
		if math.IsInf(o.end, 1) || o.end-o.start < 12*s.dt {
			continue
		}
		var bt, bp, at, ap []float64
		lo, hi := between(s.t, max(o.start+6*s.dt, o.end-14*s.dt), o.end+1e-6)
		for i := lo; i < hi; i++ {
			if !s.spike[i] {
				bt, bp = append(bt, s.t[i]), append(bp, s.p[i])
			}
		}
		end := o.end + 16*s.dt
		for _, c := range a.x.changes() {
			if c > o.end {
				end = min(end, c)
				break
			}
		}
		lo2, hi2 := between(s.t, o.end+0.5*s.dt, end)
		for i := lo2; i < hi2; i++ {
			if !s.spike[i] {
				at, ap = append(at, s.t[i]), append(ap, s.p[i])
			}
		}
		if len(bt) < 8 || len(at) < 10 {
			continue
		}
		before, ok1 := polyfit(bt, bp, o.end, 1)
		after, ok2 := polyfit(at, ap, o.end, 2)
		if !ok1 || !ok2 || before.c[1] <= 0 {
			continue
		}
		p0, v0 := before.at(o.end)
		p1, v1 := after.at(o.end)
		list = append(list, closing{t: o.end, late: (p0 - p1) / before.c[1], u: s.noise * math.Sqrt(v0+v1) / before.c[1], slope: before.c[1], pa: p0, gap: p0 - p1, i: hi - 1})
	}
	if len(list) < 4 {
		return
	}
	for k, c := range list {
		var rest []float64
		for j, o := range list {
			if j != k {
				rest = append(rest, o.late)
			}
		}
		m := median(rest)
		for i := range rest {
			rest[i] -= m
		}
		u := math.Sqrt(c.u*c.u + math.Pow(max(madSD(rest), 0.1*s.dt), 2)*1.3)
		if z := (c.late - m) / u; z > 8 && c.late-m > 0.8*s.dt {
			a.steps = append(a.steps, jump{i: c.i, t0: c.t, t1: c.t + s.dt, pa: c.pa, drop: (c.late - m) * c.slope, u: u * c.slope, paSD: s.noise, slope: 0})
		}
	}
}
