package analysis

import "math"

// openingSteps finds a loss between the last reading before the inlet opened and
// the first one after: a bench that tops up by itself can answer a loss before it
// is read, and the test under one state of the valves cannot see it then. What is
// let in only raises the pressure, so whatever is missing was lost. A supply below
// the chamber's pressure lets it flow back instead, for as long as the inlet is
// open: where the pressure goes on falling it is not taken for a loss at once.
func (a *analysis) openingSteps() {
	s := a.s
	changes := a.x.changes()
	for _, o := range a.x.fill {
		from, to := math.Inf(-1), o.end
		for _, c := range changes {
			switch {
			case c < o.start:
				from = c
			case c > o.start:
				to = min(to, c)
			}
		}
		if openAt(a.x.vent, o.start-1e-6) || openAt(a.x.vent, o.start+1e-6) {
			continue
		}
		var ts, ps []float64
		lo, hi := between(s.t, max(from+max(1.2*s.dt, 0.2), o.start-24*s.dt), o.start-1e-9)
		for i := lo; i < hi; i++ {
			if !s.spike[i] {
				ts, ps = append(ts, s.t[i]), append(ps, s.p[i])
			}
		}
		n := len(ts)
		if n < 5 || o.start-ts[n-1] > 3*s.dt {
			continue
		}
		ts, ps = ts[max(0, n-14):], ps[max(0, n-14):]
		deg := 2
		if n < 10 {
			deg = 1
		}
		fit, ok := polyfit(ts, ps, ts[len(ts)-1], deg)
		if !ok {
			continue
		}
		var at, missing, lever []float64
		for i := hi; i < len(s.t) && len(at) < 5 && s.t[i] <= to; i++ {
			if s.spike[i] {
				continue
			}
			p, v := fit.at(s.t[i])
			at, missing, lever = append(at, s.t[i]), append(missing, p-s.p[i]), append(lever, math.Sqrt(1+v))
		}
		if len(at) < 3 || at[0]-ts[len(ts)-1] > 4*s.dt {
			continue
		}
		u := s.noise * lever[0]
		stays := missing[1] > 0.3*missing[0] && missing[1] > 2.5*s.noise*lever[1]
		fallsOn := missing[len(at)-1]-missing[0] > 3*s.noise*lever[len(at)-1]+0.2*missing[0]
		if missing[0] < 8*u || !stays || fallsOn || deg == 1 && missing[0] < 40*s.noise {
			continue
		}
		level, v := fit.at(ts[len(ts)-1])
		last := hi - 1
		for last > 0 && s.spike[last] {
			last--
		}
		a.steps = append(a.steps, jump{i: last, t0: ts[len(ts)-1], t1: at[0], pa: level, drop: missing[0], u: u,
			paSD: s.noise * math.Sqrt(v), slope: fit.c[1], slopeSD: s.noise * math.Sqrt(fit.inv[1][1])})
	}
}
