package analysis

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"proofpot/profiles/assumed"
)

// unitSteadyK is the change in a hold, beyond which a unit's walls are not at the
// temperature of its air, K; common practice, no source.
const unitSteadyK = 1.0

// bySettling is the budget's line for it.
const bySettling = "settling of the gas temperature"

// columns of the model of one stage.
const (
	colLeak = iota
	colSettle
	colCurve
	colWall
	colStiff
	colBlank
	colCreep
	colSoon
	colSlow
	colWater
	colUnit
	colWarm
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
	v       vessel
	st      *stage
	s       *signal
	base    *track                  // water or what stands for it; nil where nothing does
	rooms   []*track                // other tracks that may be right instead of base
	within  *track                  // inside the unit; nil where nothing tells
	ingress func(t float64) float64 // ml gone into the unit by then; nil for none
	ingSD   func(t float64) float64 // its standard uncertainty, ml
	drive   func(t float64) float64 // chamber less inside, Pa
	*reduced
	onset            float64                 // s; the leak runs from here on, −Inf for all along
	leakMean, leakSD float64                 // ml/h, what is known of the leak beforehand; leakSD 0 for nothing
	creep            func(t float64) float64 // see analysis.creepAt
	drift            wander
	tauOf            []float64 // K, warmth of the gas at the start of each part, where its time constant is open
}

// fit estimates the leak in the hold. tied takes settle and hold as one steady
// leak; curved lets the leak change evenly during the hold.
func (f *chamberFit) fit(tied, curved bool) *estimate {
	var best *estimate
	if f.s.gas == nil {
		best = f.fitSettling(tied, curved)
	} else {
		best, _ = f.once(tied, curved, math.NaN(), f.drift)
	}
	if best == nil {
		return nil
	}
	if n := float64(best.n); best.chi2 > 3*n && math.Abs(best.value) > 10*best.u || best.chi2 > 100*n && math.Abs(best.value) > 5*best.u {
		f.ends(best)
	}
	return best
}

// once is one such fit, of the linear model about what is known of the bench's own
// leak; where the gas has lost much and the data say otherwise of it, again about
// what they say (Gauss and Newton).
func (f *chamberFit) once(tied, curved bool, tau float64, drift wander) (*estimate, float64) {
	e, score := f.about(f.v.blank, tied, curved, tau, drift)
	for range 3 {
		if e == nil || e.bent < muchBent {
			break
		}
		e, score = f.about(e.blank, tied, curved, tau, drift)
	}
	return e, score
}

// muchBent is the error of the straight line that stands for a part, as a share of
// the gas volume, beyond which it is drawn again.
const muchBent = 1e-5

func (f *chamberFit) about(blank float64, tied, curved bool, tau float64, drift wander) (*estimate, float64) {
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
	refs := make([]origin, len(f.parts))
	for i := range f.blocks {
		if b := &f.blocks[i]; refs[b.part].v == 0 {
			refs[b.part] = f.origin(b)
		}
	}
	window := f.window()
	mid := (window.start + window.end) / 2
	shape := f.shape()
	squeezed := make([]float64, len(f.parts)) // K, by its compression
	known := make([]bool, len(f.parts))
	if f.s.gas == nil {
		for i, part := range f.parts {
			squeezed[i], known[i] = f.warmth(part, tau)
		}
	}
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
	var most float64
	for i := range f.blocks {
		b := &f.blocks[i]
		r := &refs[b.part]
		p := math.Exp(b.lnp)
		dw := b.water - r.w
		h := (b.t - mid) / 3600
		gauge := p - f.v.roomPa
		var bench float64
		y[i], bench = f.grown(b, r, blank)
		if !f.v.waterFed {
			most = max(most, math.Abs(b.driven-r.driven)/r.v)
		}
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
		x.Set(i, colBlank, bench)
		x.Set(i, colCreep, math.Log1p(max(b.t-f.rampEnd, 0)/assumed.CreepS))
		x.Set(i, colSoon, -f.step/1e5*f.v.unitML/1000*math.Expm1(-max(b.t-f.rampEnd, 0)/assumed.SoonCreepS))
		x.Set(i, colSlow, f.creep(b.t)/1e5*f.v.unitML/1000)
		warm := -f.v.waterML * 2.1e-4
		if f.s.gas == nil || !f.v.gas && f.cools[b.part].sound {
			warm += r.v / r.k
		}
		x.Set(i, colWater, warm*h)
		x.Set(i, colUnit, -f.v.unitML*(b.apart-r.u))
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
		settles := r.v / r.k * math.Exp(-(b.t-f.parts[b.part].start)/t)
		x.Set(i, exCol[b.part], settles)
		x.Set(i, colWarm, squeezed[b.part]*settles)
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
	mean[colWall], sd[colWall] = assumed.WallGrowth, math.Hypot(assumed.WallGrowthSD, assumed.UnitGrowthSD*f.v.unitML/max(f.v.chamberML, 1))
	if f.v.gas {
		mean[colWall], sd[colWall] = 0, 0.3
	}
	// The stiffness goes almost as a leak does where little gas is left: set free
	// here it would take a leak for an error of the sheet. Its doubt is a scale of
	// the result instead, as the gas volume's is.
	sd[colStiff] = 1e-6
	mean[colBlank], sd[colBlank] = f.v.blank-blank, f.v.blankSD
	switch {
	case f.v.gas:
		sd[colUnit] = 1e-12
	case f.within != nil && f.base != nil:
		mean[colUnit], sd[colUnit] = assumed.UnitGrowth, assumed.UnitGrowthSD
	default:
		sd[colUnit] = assumed.UnitGrowth
	}
	// It has the sign of the step: what was let off comes back, and hides a leak.
	sd[colCreep] = assumed.CreepML * max(math.Abs(f.step)/1e5, 0.1) * f.v.unitML / 1000
	mean[colCreep] = math.Copysign(sd[colCreep], f.step)
	mean[colSoon], sd[colSoon] = assumed.SoonCreep, assumed.SoonCreep
	sd[colSlow] = assumed.SlowCreep
	sd[colWater] = 1e-9
	if f.base != nil {
		sd[colWater] = math.Hypot(f.base.u, f.base.bend(f.blocks[0].t, f.blocks[n-1].t))
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
		sd[tauCol] = settlingGrid * math.Log(settlingStep)
	}
	mean[colWarm], sd[colWarm] = warmedShare, warmedShareSD
	for i, c := range exCol {
		switch {
		case f.s.gas != nil && f.cools[i].fitted:
			sd[c] = f.cools[i].doubt()
		case known[i]:
			sd[c] = warmedApart*math.Abs(squeezed[i]) + warmedLeastK
		default:
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
			if f.swing != nil {
				cov.SetSym(i, j, cov.At(i, j)+f.swing[i*n+j])
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
	e := &estimate{value: p.b[colLeak], u: p.sd(colLeak), settle: p.b[colSettle], settleU: p.sd(colSettle), tied: tied, n: n, chi2: p.chi2, drift: drift, tau: tau, blank: blank + p.b[colBlank]}
	e.bent = math.Pow(p.b[colBlank]*most, 2) / 2
	// Residuals wider than the errors allow for widen the result (Birge's ratio).
	if dof := float64(n - k + len(exCol)); dof > 5 && p.chi2 > dof {
		e.u *= math.Sqrt(min(p.chi2/dof, 9))
	}
	for _, r := range p.residual {
		e.rms += r * r / float64(n)
	}
	e.rms = math.Sqrt(e.rms)
	for i, c := range exCol {
		e.cooled = append(e.cooled, p.b[c]+p.b[colWarm]*squeezed[i])
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
	add("warming of water and walls", colWall, colWater, colUnit)
	if f.tauOf != nil {
		exCol = append(exCol, tauCol)
	}
	add(bySettling, append(exCol, colWarm)...)
	add("creep of the unit", colCreep, colSoon, colSlow)
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
	rel := math.Hypot(assumed.SheetSD*f.v.gasML, f.goneSD(window.start)) / last.v
	if f.v.waterFed || f.v.gas {
		rel = assumed.SheetSD
	}
	whole := math.Abs(e.value + f.v.blank*meanGauge)
	rel *= (last.v / last.p) / (last.v/last.p + f.v.stiff)
	stiff := 2 * assumed.SheetSD * f.v.stiff / (last.v/last.p + f.v.stiff)
	e.budget = append(e.budget, Budget{Source: "gas volume from the sheet", MLPerH: rel * whole},
		Budget{Source: "stiffness from the sheet", MLPerH: stiff * whole})
	rel = math.Hypot(rel, stiff)
	e.rel = rel
	none := math.Hypot(e.u, rel*math.Abs(f.v.blank*meanGauge)) // where nothing leaks
	e.u = math.Hypot(e.u, rel*whole)
	e.settleU = math.Hypot(e.settleU, rel*math.Abs(e.settle))
	if u := f.restlessUnit(window); u > 0 {
		e.budget = append(e.budget, Budget{Source: "unit far from the water's temperature", MLPerH: u})
		e.u, none = math.Hypot(e.u, u), math.Hypot(none, u)
		e.settleU = math.Hypot(e.settleU, u)
	}
	if u := f.restlessRoom(window); u > 0 {
		e.budget = append(e.budget, Budget{Source: "how fast the gas follows the room", MLPerH: u})
		e.u, none = math.Hypot(e.u, u), math.Hypot(none, u)
		e.settleU = math.Hypot(e.settleU, u)
	}
	e.lod = currie(none)
	if f.v.gas {
		// Into the equivalent of liquid.
		e.scale(liquidEquivalent(1, f.st.meanPa, f.v.roomPa, f.restK()))
	}
	return e, p.logEvidence
}
