package analysis

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"proofpot/profiles/assumed"
	"proofpot/profiles/water"
)

// mostPoints bounds a curve of a result.
const mostPoints = 2000

// curves are the signals for pictures. Readings of the chamber's pressure that
// were found to be spikes are left out; an event says how many.
func (a *analysis) curves() Curves {
	x := a.x
	inside := func(i int) float64 { return x.insideRef + float64(x.insidePa.v[i]) }
	return Curves{
		ChamberPa:       a.thin(len(a.s.t), func(i int) float64 { return a.s.t[i] }, func(i int) float64 { return a.s.p[i] }, func(i int) bool { return a.s.spike[i] }),
		ChamberFittedPa: a.fitted(),
		GasC:            a.thinSeries(&x.gas),
		WaterC:          a.thinSeries(&x.water),
		InsidePa:        a.thin(len(x.insidePa.t), func(i int) float64 { return x.insidePa.t[i] }, inside, nil),
		InsideC:         a.thinSeries(&x.insideC),
		InsideRHPct:     a.thinSeries(&x.insideRH),
		AbsHumidityGM3:  a.absoluteHumidity(),
	}
}

func (a *analysis) thinSeries(s *series) []Point {
	return a.thin(len(s.t), func(i int) float64 { return s.t[i] }, func(i int) float64 { return float64(s.v[i]) }, nil)
}

// thin keeps the least and the greatest value of every so many, in order of time,
// so that no extreme is lost.
func (a *analysis) thin(n int, t, v func(int) float64, skip func(int) bool) []Point {
	if n == 0 {
		return nil
	}
	// None reaches over the start of a stage, where a curve bends.
	breaks := a.x.spans
	if len(breaks) > mostPoints/8 {
		breaks = nil
	}
	size, next := 1, 0
	if most := mostPoints - 2*len(breaks) - 2; n > mostPoints {
		size = (2*n + most - 1) / most
	}
	var out []Point
	for from, to := 0, 0; from < n; from = to {
		to = min(from+size, n)
		for next < len(breaks) && breaks[next].start <= t(from) {
			next++
		}
		if size > 1 && next < len(breaks) && t(to-1) > breaks[next].start {
			for to = from + 1; t(to) <= breaks[next].start; to++ {
			}
		}
		low, high := -1, -1
		for i := from; i < to; i++ {
			if skip != nil && skip(i) || math.IsNaN(v(i)) {
				continue
			}
			if low < 0 || v(i) < v(low) {
				low = i
			}
			if high < 0 || v(i) > v(high) {
				high = i
			}
		}
		if low < 0 {
			continue
		}
		out = append(out, Point{a.x.at(t(min(low, high))), v(min(low, high))})
		if low != high {
			out = append(out, Point{a.x.at(t(max(low, high))), v(max(low, high))})
		}
	}
	return out
}

// absoluteHumidity is the density of the vapour inside in g/m³, ρ = e/(R_w T) of
// the ideal gas with e = RH·e_s(T), by profiles/water (SaturationPa and
// VapourDensity state their sources and ranges). Each reading of the humidity is
// taken with the last temperature read by then.
func (a *analysis) absoluteHumidity() []Point {
	rh, c := &a.x.insideRH, &a.x.insideC
	if rh.empty() || c.empty() {
		return nil
	}
	g := make([]float64, len(rh.t))
	j := 0
	for i, t := range rh.t {
		for j+1 < len(c.t) && c.t[j+1] <= t {
			j++
		}
		g[i] = vapourGM3(float64(rh.v[i]), float64(c.v[j]))
	}
	return a.thin(len(g), func(i int) float64 { return rh.t[i] }, func(i int) float64 { return g[i] }, nil)
}

// vapourGM3 is the absolute humidity, g/m³, of air at a relative humidity, %, and °C.
func vapourGM3(rh, c float64) float64 {
	return 1000 * water.VapourDensity(rh/100*water.SaturationPa(c), c)
}

// fitted is what a tight unit would have shown in each hold: the pressure of the
// fitted balance without the leak. At the start of a hold it is the pressure as
// fitted, so that read less fitted is what the leak took, and noise.
func (a *analysis) fitted() []Point {
	var ts, ps []float64
	for _, st := range a.stages {
		t, p := a.fittedHold(st)
		ts, ps = append(ts, t...), append(ps, p...)
	}
	return a.thin(len(ts), func(i int) float64 { return ts[i] }, func(i int) float64 { return ps[i] }, nil)
}

// fittedHold takes the leak and the time constant of the fit of a hold and finds
// again what else there was in its balance: the settling of the gas, the creep and
// the offsets, each within what chamberFit allows it.
func (a *analysis) fittedHold(st *stage) (ts, ps []float64) {
	e := st.chamber
	if e == nil || !st.hold.real() {
		return nil, nil
	}
	f := a.fitter(st)
	shape := f.shape()
	var in []int
	for i := range f.blocks {
		if f.blocks[i].inHold {
			in = append(in, i)
		}
	}
	if len(in) < 4 {
		return nil, nil
	}
	const cOffset, cWarm, cCreep, cPart = 0, 1, 2, 3
	// Parts after a topping up begin anew.
	part := map[int]int{}
	for _, i := range in {
		if _, ok := part[f.blocks[i].part]; !ok {
			part[f.blocks[i].part] = len(part)
		}
	}
	k := cPart + 2*(len(part)-1)
	n := len(in)
	x := mat.NewDense(n, k, nil)
	y := make([]float64, n)
	cov := mat.NewSymDense(n, nil)
	sd := make([]float64, k)
	for i := range sd {
		sd[i] = math.Inf(1)
	}
	sd[cCreep] = assumed.CreepML * max(math.Abs(f.step)/1e5, 0.1) * f.v.unitML / 1000
	comp := make([]float64, n)
	q := e.value
	refs := map[int]origin{}
	for row, i := range in {
		b := &f.blocks[i]
		p := math.Exp(b.lnp)
		r, ok := refs[b.part]
		if !ok {
			r = f.origin(b)
			refs[b.part] = r
			if f.v.gas && row == 0 {
				q /= liquidEquivalent(1, st.meanPa, f.v.roomPa, f.restK())
			}
		}
		ml, _ := f.grown(b, &r, e.blank)
		y[row] = ml - assumed.WallGrowth*f.v.chamberML*(b.water-r.w) - q*(shape[i]-shape[in[0]])
		tau := e.tau
		if math.IsNaN(tau) {
			tau = f.cools[b.part].tau
		}
		o, w := cOffset, cWarm
		if m := part[b.part]; m > 0 {
			o, w = cPart+2*(m-1), cPart+2*(m-1)+1
		}
		x.Set(row, o, 1)
		x.Set(row, w, r.v/r.k*math.Exp(-(b.t-f.parts[b.part].start)/tau))
		sd[w] = f.heat[b.part]
		if f.s.gas != nil && f.cools[b.part].fitted {
			sd[w] = f.cools[b.part].doubt()
		}
		x.Set(row, cCreep, math.Log1p(max(b.t-f.rampEnd, 0)/assumed.CreepS))
		comp[row] = r.v/p + f.v.stiff
	}
	for i := range n {
		for j := i; j < n; j++ {
			c := comp[i] * comp[j] * e.drift.cov(f.blocks[in[i]].t-f.blocks[in[0]].t, f.blocks[in[j]].t-f.blocks[in[0]].t)
			if i == j {
				c += f.s.noise*f.s.noise*comp[i]*comp[i]/f.blocks[in[i]].n + 1e-14
			}
			cov.SetSym(i, j, c)
		}
	}
	post, err := (&linear{x: x, y: y, cov: cov, mean: make([]float64, k), sd: sd}).solve()
	if err != nil {
		return nil, nil
	}
	for row, i := range in {
		// Without the leak the gas would be smaller by what the leak and the
		// residual make: dV = −C dp.
		b := &f.blocks[i]
		ts = append(ts, b.t)
		ps = append(ps, math.Exp(b.lnp)+(post.residual[row]+q*(shape[i]-shape[in[0]]))/comp[row])
	}
	return ts, ps
}
