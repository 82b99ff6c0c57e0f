package analysis

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"proofpot/profiles/water"
)

// What is known beforehand of a bench whose sheet says no more. "Good to some
// 10 %" is read as a rectangular distribution of ±10 %, whose standard deviation
// is a tenth over √3 (JCGM 100:2008, 4.3.7).
const (
	sheetSD = 0.10 / 1.7320508075688772

	// Walls of a chamber grow by three times their linear coefficient: steel
	// 35e-6, stainless 50e-6, aluminium 69e-6, glass-fibre laminates to 90e-6 1/K
	// (handbook values), less what the unit grows; a sheet that does not name
	// the material leaves the whole range.
	wallMean, wallSD = 62e-6, 22e-6 // 1/K

	// Slow give of the unit after a step: with the logarithm of time, and with one
	// long relaxation time; common practice, no source.
	creepTimeS = 20.0   // s
	slowCreepS = 2000.0 // s
	creepSD    = 0.0015 // ml a bar of the step and a litre of the unit, for each e-fold of time
	slowCreep  = 0.006  // ml a bar and a litre, in the long run

	unknownBlankSD = 0.1 // ml/h/bar, where no blank was run
)

// block is the mean of a few readings of a closed part.
type block struct {
	t, p   float64 // s, Pa
	lnp    float64 // mean of ln p
	gas    float64 // K, mean of the thermometer; NaN without one
	n      float64
	part   int
	inHold bool
}

// columns of the model of one stage.
const (
	colLeak = iota
	colSettle
	colCurve
	colWall
	colStiff
	colBlank
	colCreep
	colSlow
	colWater
	colFixed
)

// gasGrowth is the share by which a fixed amount of ideal gas grows from one
// absolute pressure and temperature to another. A leak out of a rigid vessel is
// V times it, at the later state (pressure-change method; EN 13184 has the idea).
func gasGrowth(pa0, k0, pa1, k1 float64) float64 { return k1/k0*pa0/pa1 - 1 }

// chamberFit is the chamber's volume balance of one stage. In a closed part the
// amount of gas n R = p V/T stays, so V follows from p and T; what V grows by
// beyond the give of water and walls, their warming, the bench's own leak and the
// unit's creep has gone into the unit.
type chamberFit struct {
	v                vessel
	st               *stage
	s                *signal
	base             *track                  // water or what stands for it; nil where nothing does
	ingress          func(t float64) float64 // ml gone into the unit by then; nil for none
	ingSD            func(t float64) float64 // its standard uncertainty, ml
	drive            func(t float64) float64 // chamber less inside, Pa
	onset            float64                 // s; the leak runs from here on, −Inf for all along
	leakMean, leakSD float64                 // ml/h, what is known of the leak beforehand; leakSD 0 for nothing
	blocks           []block
	parts            []interval
	cools            []cooling
	heat             []float64 // K, how far the gas may have been warmed before each part
	rampEnd          float64
	step             float64                 // Pa, the rise before the dwell
	creep            func(t float64) float64 // see analysis.creepAt
	drift            wander
	tauOf            []float64 // K, warmth of the gas at the start of each part, where its time constant is open
}

const maxParts = 10

// prepare reduces the stage's readings to blocks.
func (f *chamberFit) prepare() {
	parts := f.st.closed
	if len(parts) > maxParts {
		parts = longest(parts, maxParts)
	}
	f.parts = parts
	f.rampEnd = f.st.dwell().start
	if f.st.ramp.real() {
		f.rampEnd = f.st.ramp.end
		lo, _ := between(f.s.t, f.st.ramp.start, f.st.ramp.end)
		hi, _ := between(f.s.t, f.st.dwell().start, f.st.dwell().end)
		if lo < len(f.s.p) && hi < len(f.s.p) {
			f.step = math.Abs(f.s.p[hi] - f.s.p[lo])
		}
	}
	hold := f.window()
	long := max(hold.length(), 60)
	for i, part := range parts {
		lo, hi := between(f.s.t, part.start, part.end)
		var b block
		width := 0.0
		flush := func() {
			if b.n >= 1 {
				b.t /= b.n
				b.p /= b.n
				b.lnp /= b.n
				b.gas /= b.n
				f.blocks = append(f.blocks, b)
			}
			b = block{part: i}
		}
		b.part = i
		end := math.Inf(-1)
		wasHold := false
		for k := lo; k < hi; k++ {
			if f.s.spike[k] {
				continue
			}
			t := f.s.t[k]
			inHold := t > hold.start
			if t >= end || inHold != wasHold {
				flush()
				width = max(long/36, 3*f.s.dt)
				if since := t - part.start; since < 90 {
					width = min(width, max(3*f.s.dt, 4, since/6))
				}
				end = t + width
				wasHold = inHold
			}
			b.inHold = inHold
			b.t += t
			b.p += f.s.p[k]
			b.lnp += math.Log(f.s.p[k])
			if f.s.gas != nil {
				b.gas += float64(f.s.gas[k]) + water.ZeroC
			} else {
				b.gas = math.NaN()
			}
			b.n++
		}
		flush()
		c := cooling{start: part.start, tau: 40, base: f.base}
		if f.s.gas != nil {
			c = fitCooling(f.s, part, f.base)
		}
		f.cools = append(f.cools, c)
		f.heat = append(f.heat, f.heating(part))
	}
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

// fit estimates the leak in the hold. tied takes settle and hold as one steady
// leak; curved lets the leak change evenly during the hold.
func (f *chamberFit) fit(tied, curved bool) *estimate {
	var best *estimate
	bestScore := math.Inf(-1)
	taus := []float64{math.NaN()}
	if f.s.gas == nil {
		taus = taus[:0]
		for tau := 6.0; tau < 700; tau *= 1.25 {
			taus = append(taus, tau)
		}
	}
	for _, c := range taus {
		if e, score := f.once(tied, curved, c, f.drift); e != nil && score > bestScore {
			best, bestScore = e, score
		}
	}
	if best == nil {
		return nil
	}
	if f.s.gas == nil {
		// The time constant is not known better than its neighbours fit.
		f.tauOf = best.cooled
		if e, _ := f.once(tied, curved, best.tau, f.drift); e != nil {
			best = e
		}
		f.tauOf = nil
	}
	if best.chi2 > 3*float64(best.n) && math.Abs(best.value) > 10*best.u {
		f.ends(best)
	}
	return best
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

func (f *chamberFit) once(tied, curved bool, tau float64, drift wander) (*estimate, float64) {
	n := len(f.blocks)
	holds := 0
	for i := range f.blocks {
		if f.blocks[i].inHold {
			holds++
		}
	}
	if holds < 4 {
		return nil, 0
	}
	// Reference at the start of each part, where what has gone in is known best.
	type ref struct{ p, k, w, v float64 }
	refs := make([]ref, len(f.parts))
	for i := range f.blocks {
		b := &f.blocks[i]
		if r := &refs[b.part]; r.v == 0 {
			*r = ref{p: math.Exp(b.lnp), k: f.gasK(b), w: f.waterC(b.t)}
			r.v = f.v.volume(r.p, f.gone(b.t))
		}
	}
	window := f.window()
	mid := (window.start + window.end) / 2
	shape := f.shape()
	// Offsets: one for each part, and apart for settle and hold where not tied.
	offset := map[[2]int]int{}
	k := colFixed
	exCol := make([]int, len(f.parts))
	for i := range f.blocks {
		b := &f.blocks[i]
		key := [2]int{b.part, 0}
		if !tied && b.inHold {
			key[1] = 1
		}
		if _, ok := offset[key]; !ok {
			offset[key] = k
			k++
		}
	}
	for i := range exCol {
		exCol[i] = k
		k++
	}
	tauCol := k
	if f.tauOf != nil {
		k++
	}
	x := mat.NewDense(n, k, nil)
	y := make([]float64, n)
	mean := make([]float64, k)
	sd := make([]float64, k)
	for i := colFixed; i < k; i++ {
		sd[i] = math.Inf(1)
	}
	cov := mat.NewSymDense(n, nil)
	comp := make([]float64, n)
	var meanC, meanGauge float64
	for i := range f.blocks {
		b := &f.blocks[i]
		r := &refs[b.part]
		p := math.Exp(b.lnp)
		kelvin := f.gasK(b)
		g := gasGrowth(r.p, r.k, p, kelvin)
		dw := f.waterC(b.t) - r.w
		y[i] = r.v*g - f.v.stiff*(p-r.p) + f.v.waterML*waterExpansion(r.w, r.w+dw)
		h := (b.t - mid) / 3600
		gauge := p - f.v.roomPa
		switch {
		case tied || b.inHold:
			x.Set(i, colLeak, shape[i])
			if curved && b.inHold {
				x.Set(i, colCurve, h*h/2)
			}
		default:
			x.Set(i, colSettle, shape[i])
		}
		x.Set(i, colWall, f.v.chamberML*dw)
		if f.v.gas {
			// The gas may follow the room less or more than it should.
			x.Set(i, colWall, r.v/r.k*dw)
		}
		x.Set(i, colStiff, f.v.stiff*(p-r.p))
		x.Set(i, colBlank, gauge*h)
		x.Set(i, colCreep, math.Log1p(max(b.t-f.rampEnd, 0)/creepTimeS))
		x.Set(i, colSlow, f.creep(b.t)/1e5*f.v.unitML/1000)
		warm := -f.v.waterML * 2.1e-4
		if f.s.gas == nil || !f.v.gas && f.cools[b.part].sound {
			warm += r.v / r.k
		}
		x.Set(i, colWater, warm*h)
		key := [2]int{b.part, 0}
		if !tied && b.inHold {
			key[1] = 1
		}
		x.Set(i, offset[key], 1)
		c := f.cools[b.part]
		t := tau
		if math.IsNaN(t) {
			t = c.tau
		}
		x.Set(i, exCol[b.part], r.v/r.k*math.Exp(-(b.t-f.parts[b.part].start)/t))
		if f.tauOf != nil {
			since := (b.t - f.parts[b.part].start) / t
			x.Set(i, tauCol, f.tauOf[b.part]*r.v/r.k*since*math.Exp(-since))
		}
		comp[i] = r.v/p + f.v.stiff
		white := f.s.noise * comp[i]
		vt := 0.0
		if f.s.gas != nil && !c.sound {
			vt = r.v / r.k * max(c.white, 0.02)
		}
		cov.SetSym(i, i, (white*white+vt*vt)/b.n)
		meanC += comp[i] / float64(n)
		meanGauge += gauge / float64(n)
	}
	// Columns that are idle are held at zero by what is known beforehand.
	mean[colWall], sd[colWall] = wallMean, wallSD
	if f.v.gas {
		mean[colWall], sd[colWall] = 0, 0.3
	}
	sd[colStiff] = 2 * sheetSD
	mean[colBlank], sd[colBlank] = f.v.blank, f.v.blankSD
	sd[colCreep] = creepSD * max(f.step/1e5, 0.1) * f.v.unitML / 1000
	sd[colSlow] = slowCreep
	sd[colWater] = 1e-9
	if f.base != nil {
		sd[colWater] = f.base.u
	} else if !f.v.gas {
		sd[colWater] = 0.15
	}
	// A stand-in's slope may err, but not run away over a night.
	sd[colWater] = min(sd[colWater], 0.25/max(window.length()/3600, 0.2))
	sd[colLeak] = math.Inf(1)
	if f.leakSD > 0 {
		mean[colLeak], sd[colLeak] = f.leakMean, f.leakSD
	}
	sd[colSettle] = 1e-9
	if !tied && holds < n {
		sd[colSettle] = math.Inf(1)
	}
	sd[colCurve] = 1e-9
	if curved {
		sd[colCurve] = math.Inf(1)
	}
	if f.tauOf != nil {
		sd[tauCol] = 0.2
	}
	for i, c := range exCol {
		if f.s.gas != nil && f.cools[i].fitted {
			sd[c] = f.cools[i].ua + 0.03*math.Abs(f.cools[i].a) + 0.02
		} else {
			sd[c] = f.heat[i]
		}
	}
	// The smoothed water thermometer errs alike over its width.
	errs := make([]float64, n)
	if f.base != nil {
		for i := range f.blocks {
			r := refs[f.blocks[i].part]
			errs[i] = -f.v.waterML * 2.2e-4
			if f.s.gas == nil || f.cools[f.blocks[i].part].sound {
				errs[i] += r.v / r.k
			}
			errs[i] *= f.base.sd
		}
	}
	for i := range n {
		for j := i; j < n; j++ {
			if f.base != nil {
				if c := 1 - (f.blocks[j].t-f.blocks[i].t)/f.base.half; c > 0 {
					cov.SetSym(i, j, cov.At(i, j)+errs[i]*errs[j]*c)
				}
			}
			w := comp[i] * comp[j] * drift.cov(f.blocks[i].t-f.blocks[0].t, f.blocks[j].t-f.blocks[0].t)
			cov.SetSym(i, j, cov.At(i, j)+w)
		}
		cov.SetSym(i, i, cov.At(i, i)+1e-14)
	}
	m := linear{x: x, y: y, cov: cov, mean: mean, sd: sd}
	p, err := m.solve()
	if err != nil {
		return nil, 0
	}
	e := &estimate{value: p.b[colLeak], u: p.sd(colLeak), settle: p.b[colSettle], settleU: p.sd(colSettle), tied: tied, n: n, chi2: p.chi2, drift: drift, tau: tau}
	// Residuals wider than the errors allow for widen the result (Birge's ratio).
	if dof := float64(n - k + len(exCol)); dof > 5 && p.chi2 > dof {
		e.u *= math.Sqrt(min(p.chi2/dof, 9))
	}
	for _, r := range p.residual {
		e.rms += r * r / float64(n)
	}
	e.rms = math.Sqrt(e.rms)
	for _, c := range exCol {
		e.cooled = append(e.cooled, p.b[c])
	}
	rest := e.u * e.u
	add := func(source string, cols ...int) {
		s := 0.0
		for _, c := range cols {
			v := p.share(colLeak, c, sd[c])
			s += v * v
		}
		rest -= s
		e.budget = append(e.budget, Budget{Source: source, MLPerH: math.Sqrt(s)})
	}
	add("bench's own leak (blank)", colBlank)
	add("stiffness from the sheet", colStiff)
	add("warming of water and walls", colWall, colWater)
	if f.tauOf != nil {
		exCol = append(exCol, tauCol)
	}
	add("settling of the gas temperature", exCol...)
	add("creep of the unit", colCreep, colSlow)
	// What the readings leave: noise and drift.
	e.white = f.whiteLine()
	if tied || holds == n {
		e.settle, e.settleU = e.value, e.u
	}
	white := min(e.white*e.white, max(rest, 0))
	e.budget = append(e.budget,
		Budget{Source: "noise of the pressure", MLPerH: math.Sqrt(white), Remarks: "what a straight line with independent errors would claim"},
		Budget{Source: "drift of the pressure, and what it shares with the rest", MLPerH: math.Sqrt(max(rest-white, 0))})
	// A leak scales with the gas volume, which is known as well as the sheet and
	// what has gone in since.
	last := refs[len(refs)-1]
	rel := math.Hypot(sheetSD*f.v.gasML, f.goneSD(window.start)) / last.v
	if f.v.waterFed || f.v.gas {
		rel = sheetSD
	}
	rel *= (last.v / last.p) / (last.v/last.p + f.v.stiff)
	scale := rel * math.Abs(e.value+f.v.blank*meanGauge)
	e.rel = rel
	e.budget = append(e.budget, Budget{Source: "gas volume from the sheet", MLPerH: scale})
	e.u = math.Hypot(e.u, scale)
	e.settleU = math.Hypot(e.settleU, rel*math.Abs(e.settle))
	if f.v.gas {
		// Into the equivalent of liquid.
		e.scale(liquidEquivalent(1, f.st.meanPa, f.v.roomPa, last.k))
	}
	e.lod = currie(e.u)
	return e, p.logEvidence
}

// window is what is judged: the hold, or the settle of a run that ended in it.
func (f *chamberFit) window() interval {
	if f.st.hold.real() {
		return f.st.hold
	}
	return f.st.settle
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

func (f *chamberFit) gasK(b *block) float64 {
	c := &f.cools[b.part]
	if f.s.gas == nil {
		if f.base != nil {
			return f.base.at(b.t) + water.ZeroC
		}
		return 293.15
	}
	if c.sound || math.IsNaN(b.gas) {
		return c.kelvin(b.t)
	}
	return b.gas
}

func (f *chamberFit) waterC(t float64) float64 {
	if f.base == nil {
		return 20
	}
	return f.base.at(t)
}
