package analysis

import (
	"math"

	"proofpot/profiles/assumed"
	"proofpot/profiles/water"
)

// shape is the time that each block stands for, h from the middle of the hold,
// as a leak counts it that goes with the pressure (laminar flow): so that the
// coefficient is the mean leak of the whole hold, also where the pressure falls.
func (f *chamberFit) shape() []float64 {
	hold := f.window()
	mid := (hold.start + hold.end) / 2
	out := make([]float64, len(f.blocks))
	const steps = 240
	dwell := f.st.dwell()
	ds := make([]float64, steps+1)
	mean, n := 0.0, 0.0
	for i := range ds {
		t := dwell.start + dwell.length()*float64(i)/steps
		if t >= f.onset {
			ds[i] = max(f.drive(t), 0)
		}
		if t >= hold.start && t >= f.onset {
			mean += ds[i]
			n++
		}
	}
	mean /= max(n, 1)
	if !(mean > 0) {
		for i := range out {
			out[i] = (f.blocks[i].t - mid) / 3600
		}
		return out
	}
	sum := make([]float64, steps+1)
	step := dwell.length() / steps / 3600
	for i := 1; i <= steps; i++ {
		sum[i] = sum[i-1] + (ds[i]+ds[i-1])/2/mean*step
	}
	at := func(t float64) float64 {
		p := (t - dwell.start) / dwell.length() * steps
		i := min(max(int(p), 0), steps-1)
		return sum[i] + (p-float64(i))*(sum[i+1]-sum[i])
	}
	zero := at(mid)
	for i := range out {
		out[i] = at(f.blocks[i].t) - zero
	}
	return out
}

// whiteLine is the standard uncertainty that a straight line through the hold
// with independent errors claims, ml/h: σ√12/(Θ√N) (TRADE 3.7, textbook).
func (f *chamberFit) whiteLine() float64 {
	n, c := 0.0, 0.0
	for i := range f.blocks {
		if b := &f.blocks[i]; b.inHold {
			n += b.n
			c = f.v.compliance(b.p, f.gone(b.t))
		}
	}
	h := f.window().length() / 3600
	if n < 2 || h <= 0 {
		return math.Inf(1)
	}
	return f.s.noise * c * math.Sqrt(12) / (h * math.Sqrt(n))
}

// ends takes the mean leak of a hold from its two ends alone, where the leak
// changes in a way that the model of one steady conductance does not follow.
func (f *chamberFit) ends(e *estimate) {
	window := f.window()
	sum, time, noise := 0.0, 0.0, 0.0
	for i := range f.parts {
		var in []*block
		for k := range f.blocks {
			if b := &f.blocks[k]; b.part == i && b.inHold {
				in = append(in, b)
			}
		}
		if len(in) < 4 {
			continue
		}
		n := max(1, len(in)/8)
		grown := func(list []*block) (y, t float64) {
			for _, b := range list {
				p := math.Exp(b.lnp)
				v := f.v.volume(p, f.gone(f.parts[i].start))
				y += (v*(f.gasK(b)/f.gasK(in[0])*math.Exp(in[0].lnp)/p-1) - f.v.stiff*(p-math.Exp(in[0].lnp)) - f.v.blank*(p-f.v.roomPa)*(b.t-in[0].t)/3600) / float64(len(list))
				t += b.t / float64(len(list))
			}
			return y, t
		}
		y0, t0 := grown(in[:n])
		y1, t1 := grown(in[len(in)-n:])
		sum += y1 - y0
		time += t1 - t0
		c := f.s.noise * f.v.compliance(in[0].p, f.gone(in[0].t))
		noise += 2 * c * c / float64(n)
	}
	if time < window.length()/20 {
		return
	}
	old := e.value
	e.value = sum / time * 3600
	own := math.Sqrt(noise) / time * 3600
	e.u = math.Sqrt(own*own + e.rel*e.rel*e.value*e.value + 0.0025*(e.value-old)*(e.value-old))
}

func (f *chamberFit) gone(t float64) float64 {
	if f.ingress == nil {
		return 0
	}
	return f.ingress(t)
}

func (f *chamberFit) goneSD(t float64) float64 {
	if f.ingSD == nil {
		return 0
	}
	return f.ingSD(t)
}

// window is what is judged: the hold, or the settle of a run that ended in it.
func (f *chamberFit) window() interval {
	if f.st.hold.real() {
		return f.st.hold
	}
	return f.st.settle
}

func (f *chamberFit) gasK(b *block) float64 {
	c := &f.cools[b.part]
	if f.s.gas == nil {
		if f.base != nil {
			return b.water + water.ZeroC
		}
		return 293.15
	}
	if c.sound || math.IsNaN(b.gas) {
		if c.base != nil {
			return c.above(b.t) + b.water + water.ZeroC
		}
		return c.above(b.t) + water.ZeroC
	}
	return b.gas
}

// restK is the temperature of the gas at the end, to which it and the path of a leak
// settle: gas just compressed is warm, and water as warm would be far thinner.
func (f *chamberFit) restK() float64 { return f.gasK(&f.blocks[len(f.blocks)-1]) }

// origin is the state at the first block of a part, from which its growth counts.
type origin struct{ p, k, w, v, u, driven float64 }

func (f *chamberFit) origin(b *block) origin {
	p := math.Exp(b.lnp)
	return origin{p: p, k: f.gasK(b), w: b.water, v: f.v.volume(p, f.gone(b.t)), u: b.apart, driven: b.driven}
}

// grown is what the gas of a part has grown by since its origin, with the water's
// growth and less what chamber and water give, ml, where the bench itself leaks
// blank ml/h a Pa. Where gas is let in, gas leaves: d ln(p V/T) = −q dt/V, so that
// V = V₀ (1 + growth) e^(−∫q dt/V); where water is, water leaves. bench is how much
// less it is for each ml/h a Pa that the bench leaks more.
func (f *chamberFit) grown(b *block, r *origin, blank float64) (ml, bench float64) {
	p := math.Exp(b.lnp)
	grown, driven := 1+gasGrowth(r.p, r.k, p, f.gasK(b)), b.driven-r.driven
	switch {
	case f.v.gas: // so does what goes into the unit
		ml, bench = r.v*math.Log(grown)-blank*driven, driven
	case f.v.waterFed:
		ml, bench = r.v*(grown-1)-blank*driven, driven
	default:
		grown *= math.Exp(-blank * driven / r.v)
		ml, bench = r.v*(grown-1), grown*driven
	}
	return ml + f.v.waterML*waterExpansion(r.w, b.water) - f.v.stiff*(p-r.p), bench
}

func (f *chamberFit) waterC(t float64) float64 {
	if f.base == nil {
		return 20
	}
	return f.base.at(t)
}

// unitK is by how much the unit is warmer than the water, as far as that is
// known, K; without a thermometer in each, how it would fade.
func (f *chamberFit) unitK(t float64) float64 {
	if f.within != nil && f.base != nil {
		return f.within.at(t) - f.base.at(t)
	}
	return assumed.UnitApartK * math.Exp(-t/assumed.UnitFollowsS)
}

// restlessUnit is what a unit may feign, ml/h, that was warm and cools, or the
// other way round: the air inside tells its walls' temperature only roughly.
func (f *chamberFit) restlessUnit(w interval) float64 {
	if f.v.gas || f.within == nil || f.base == nil {
		return 0
	}
	k := math.Abs(f.unitK(w.end)-f.unitK(w.start)) - unitSteadyK
	return max(k, 0) * assumed.UnitGrowth / 2 * f.v.unitML / (w.length() / 3600)
}

// heating bounds the warming of the gas before a closed part: compression of an
// ideal diatomic gas by the pressure rise of the inlet before it, (γ−1)/γ ln p2/p1.
func (f *chamberFit) heating(part interval) float64 {
	from := part.start - 120
	if f.st.ramp.real() && part.start-f.st.ramp.end < 60 {
		from = f.st.ramp.start
	}
	lo, _ := between(f.s.t, from, part.start)
	hi, _ := between(f.s.t, part.start, part.end)
	if hi >= len(f.s.p) || lo >= hi {
		return 5
	}
	low, top := f.s.p[lo], 0.0
	for k := lo; k < hi; k++ {
		if !f.s.spike[k] {
			low = min(low, f.s.p[k])
			top = max(top, f.s.p[k])
		}
	}
	return max(0.286*300*math.Log(max(f.s.p[hi]/low, top/f.s.p[hi], 1)), 0.3)
}

func longest(parts []interval, n int) []interval {
	keep := append([]interval(nil), parts...)
	for len(keep) > n {
		short := 0
		for i := range keep {
			if keep[i].length() < keep[short].length() {
				short = i
			}
		}
		keep = append(keep[:short], keep[short+1:]...)
	}
	return keep
}
