package analysis

import "math"

// kink is where the slope of a ramp breaks downwards: a leak large beside the
// inflow, before the supply has made up for it.
type kink struct {
	t0, low, high float64 // s
	z             float64
	fall          float64 // Pa/s, how much slower the pressure rose
}

// kinkWindow is how many readings before and after a kink are looked at.
const (
	kinkBefore = 14
	kinkAfter  = 8
)

// rampKink finds the strongest break of slope within (from, to] in a stretch of
// open fill valve; nil where none reaches limit times its uncertainty, judged
// also by how far the rest of the ramp bends.
func (a *analysis) rampKink(from, to, limit float64) *kink {
	var best *kink
	for _, o := range a.x.fill {
		lo, hi := between(a.s.t, max(o.start+1.2*a.s.dt, from), min(o.end, to))
		var ts, ps []float64
		for i := lo; i < hi; i++ {
			if !a.s.spike[i] {
				ts, ps = append(ts, a.s.t[i]), append(ps, a.s.p[i])
			}
		}
		n := len(ts)
		if n < kinkBefore+kinkAfter+12 {
			continue
		}
		type break_ struct {
			i       int
			d, u, c float64 // change of slope, its uncertainty for unit noise, misfit
		}
		var list []break_
		for i := kinkBefore; i+kinkAfter < n; i++ {
			d, u, c := hinge(ts[i-kinkBefore:i+kinkAfter+1], ps[i-kinkBefore:i+kinkAfter+1], ts[i])
			list = append(list, break_{i, d, u, c})
		}
		r := make([]float64, len(list))
		for i, b := range list {
			r[i] = b.d / b.u
		}
		scale := max(a.s.noise, madSD(r))
		for k, b := range list {
			z := -b.d / (b.u * scale)
			// The first seconds of a ramp bend by themselves as the flow finds its rate.
			if z < limit || b.i < kinkBefore+10 && ts[b.i]-o.start < 12 {
				continue
			}
			if best == nil || z > best.z {
				best = &kink{t0: ts[b.i], z: z, fall: -b.d}
				// The neighbours whose fit is as good within its noise.
				best.low, best.high = best.t0, best.t0
				for j := k - 1; j >= 0 && list[j].c-b.c < 4*scale*scale; j-- {
					best.low = ts[list[j].i]
				}
				for j := k + 1; j < len(list) && list[j].c-b.c < 4*scale*scale; j++ {
					best.high = ts[list[j].i]
				}
			}
		}
	}
	return best
}

// onset spreads a kink over the readings that fit it.
func (k *kink) onset(dt float64) *onset {
	o := &onset{}
	half := max((k.high-k.low)/2, dt)
	for z := -2.5; z <= 2.5; z += 0.125 {
		o.t = append(o.t, k.t0+z*half*0.8)
		o.w = append(o.w, -z*z/2)
	}
	o.normal()
	return o
}

// hinge fits two lines that meet at knot: the change of slope there, its
// standard uncertainty for readings of unit noise, and the sum of squares left.
func hinge(ts, ps []float64, knot float64) (change, u, misfit float64) {
	var m [3][3]float64
	var r [3]float64
	base := ps[0]
	for i := range ts {
		x := ts[i] - knot
		f := [3]float64{1, x, max(x, 0)}
		for a := range 3 {
			for b := range 3 {
				m[a][b] += f[a] * f[b]
			}
			r[a] += f[a] * (ps[i] - base)
		}
	}
	sol, inv, ok := solve3(m, r, 3, 2)
	if !ok {
		return 0, math.Inf(1), math.Inf(1)
	}
	for i := range ts {
		x := ts[i] - knot
		e := ps[i] - base - sol[0] - sol[1]*x - sol[2]*max(x, 0)
		misfit += e * e
	}
	return sol[2], math.Sqrt(inv), misfit
}
