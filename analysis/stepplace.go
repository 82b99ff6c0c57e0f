package analysis

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Where another witness tells that a loss at once fell within some seconds, or
// the chamber's own test found one, this says between which two readings it fell
// and how surely: the same readings are described with the loss in each gap in
// turn, and each gap is weighed by how well that goes (evidence of a linear model
// with what is known of its unknowns beforehand: Gelman et al., Bayesian Data
// Analysis, 14.8). The unit failed at a pressure between the reading before and
// what the chamber would have reached at the next.

// gapWeight is one gap between two readings as the place of a loss.
type gapWeight struct {
	i      int     // the reading before
	t0, t1 float64 // s
	pa, sd float64 // Pa absolute at t0, and its standard uncertainty
	let    float64 // Pa let in between the two
	w      float64 // sums to 1
	borne  float64 // Pa, the most that had been read before
	fresh  float64 // how likely it is beforehand
	drop   float64 // Pa lost
	z      float64 // the same in standard uncertainties

	missing, missingSD float64 // Pa that the pressure lies below what it would be without, some readings later
}

// stepPlace is where a loss fell.
type stepPlace struct {
	gaps    []gapWeight
	decided float64 // logarithm of how much likelier the readings are with a loss than without
	rate    float64 // Pa/s of opening
}

const (
	placeBefore = 16 // readings before the first gap that is weighed
	placeAfter  = 10 // readings after the last
	missingAt   = 4  // readings after the gap, at which what is missing is looked at
	rampBendPa  = 40.0
	afterBendPa = 200.0 // Pa/s², of that order the supply that makes a loss good changes its rate
	lossPa      = 5e3   // Pa, of that order is a loss
	seenLate    = 0.05  // how often a witness shows a loss only at its second reading after it; common practice, no source
	heldShare   = 0.1   // of failures that come at a pressure which the unit has borne before; common practice, no source
	spreadShare = 0.1   // how often a transducer shows a loss over two readings; common practice, no source
)

// best is the likeliest gap.
func (p *stepPlace) best() *gapWeight {
	k := 0
	for i := range p.gaps {
		if p.gaps[i].w > p.gaps[k].w {
			k = i
		}
	}
	return &p.gaps[k]
}

// placeStep weighs the gaps that end after from and begin before to; loss is what
// was lost at most, Pa; prior gives the logarithm of each one's weight
// beforehand, nil for all alike. It returns nil where too few readings lie about
// them.
func (a *analysis) placeStep(from, to, loss float64, prior func(t0, t1 float64) float64) *stepPlace {
	s := a.s
	by := s.pace()
	stop := a.stopS()
	lo, hi := between(s.t, math.Inf(-1), from)
	first := hi - 1 // the last reading at or before from
	for first > 0 && s.spike[first] {
		first--
	}
	if first < 0 {
		return nil
	}
	_, last := between(s.t, from, min(to, stop))
	if a.byHand() && a.worked(from, min(to, stop)) {
		return a.placeStroke(from, min(to, stop), loss, prior)
	}
	ventFrom, ventTo := math.Inf(-1), stop+1e-6
	if a.byHand() {
		for _, c := range a.handChanges() {
			if c <= from {
				ventFrom = max(ventFrom, c+1.2*s.dt)
			} else {
				ventTo = min(ventTo, c+1e-6)
			}
		}
	}
	for _, v := range a.x.vent {
		if v.end <= from {
			ventFrom = max(ventFrom, v.end+1.2*s.dt)
		}
		if v.start >= from {
			ventTo = min(ventTo, v.start+1e-6)
		}
	}
	// The readings: those before, those within, those after.
	var win []int
	for k := first; k >= lo && len(win) < placeBefore; k-- {
		if s.t[k] < ventFrom || len(win) > 0 && s.t[win[len(win)-1]]-s.t[k] > 4*by.across(k, win[len(win)-1]) {
			break
		}
		if !s.spike[k] {
			win = append(win, k)
		}
	}
	for i, j := 0, len(win)-1; i < j; i, j = i+1, j-1 {
		win[i], win[j] = win[j], win[i]
	}
	before := len(win)
	after := 0
	for k := first + 1; k < len(s.t) && s.t[k] <= ventTo && after < placeAfter; k++ {
		if s.spike[k] {
			continue
		}
		if len(win) > 0 && s.t[k]-s.t[win[len(win)-1]] > 4*by.across(k, win[len(win)-1]) {
			break
		}
		win = append(win, k)
		if k >= last {
			after++
		}
	}
	if before < 5 {
		return nil
	}
	m := a.newStepModel(win)
	none, _ := m.evidence(-1, false, nil)
	place := &stepPlace{rate: m.rate}
	var chi []float64
	for g := before - 1; g < len(win); g++ {
		t0 := s.t[win[g]]
		if t0 >= to {
			break
		}
		t1 := t0 + by.at(win[g])
		if g+1 < len(win) {
			t1 = s.t[win[g+1]]
		}
		w := gapWeight{i: win[g], t0: t0, t1: t1, w: math.Inf(-1)}
		for _, spread := range []bool{false, true} {
			e := w
			l, c := m.evidence(g, spread, &e)
			l += math.Log(spreadShare)
			if !spread {
				l += math.Log((1 - spreadShare) / spreadShare)
			}
			if prior != nil {
				l += prior(t0, t1)
			}
			chi = append(chi, c)
			if l > w.w {
				w = e
				w.w = l
			}
		}
		place.gaps = append(place.gaps, w)
	}
	if len(place.gaps) == 0 {
		return nil
	}
	// What the best description leaves beyond noise makes all of them less sure.
	least := math.Inf(1)
	for _, c := range chi {
		least = min(least, c)
	}
	scale := max(1, least/max(float64(len(win)-7), 3))
	top := math.Inf(-1)
	a.newHeights(place.gaps)
	for i := range place.gaps {
		g := &place.gaps[i]
		g.sd *= math.Sqrt(scale)
		g.missingSD *= math.Sqrt(scale)
		g.z /= math.Sqrt(scale)
		// It is a loss, no gain: of what the readings leave open only that half counts.
		g.w = g.w/scale + math.Log(math.Erfc(-g.z/math.Sqrt2)+1e-300) + math.Log(g.fresh)
		top = max(top, g.w)
	}
	place.decided = top - none/scale
	sum := 0.0
	for i := range place.gaps {
		g := &place.gaps[i]
		g.w = math.Exp(g.w - top)
		sum += g.w
	}
	for i := range place.gaps {
		place.gaps[i].w /= sum
	}
	return place
}

// worked says whether a person may have worked the chamber between two times.
func (a *analysis) worked(from, to float64) bool {
	for t := from; ; t += a.s.dt / 2 {
		if a.handState(min(t, to)).worked {
			return true
		}
		if t >= to {
			return false
		}
	}
}

// placeStroke is the same while a person pumps: no model tells what a stroke
// brings, so that each gap is as likely as another.
func (a *analysis) placeStroke(from, to, loss float64, prior func(t0, t1 float64) float64) *stepPlace {
	s := a.s
	p := &stepPlace{}
	lo, hi := between(s.t, from-s.dt/2, to-1e-9)
	for i := lo; i < hi && i+1 < len(s.t); i++ {
		if s.spike[i] || s.t[i+1] <= from || prior != nil && prior(s.t[i], s.t[i+1]) < 0 {
			continue
		}
		g := gapWeight{i: i, t0: s.t[i], t1: s.t[i+1], pa: s.p[i], sd: s.noise, w: 1}
		g.let = min(a.stroke(i), max(s.p[i+1]-s.p[i], 0)+loss)
		p.gaps = append(p.gaps, g)
	}
	if len(p.gaps) == 0 {
		return nil
	}
	a.newHeights(p.gaps)
	sum := 0.0
	for i := range p.gaps {
		sum += p.gaps[i].fresh
	}
	for i := range p.gaps {
		p.gaps[i].w = p.gaps[i].fresh / sum
	}
	return p
}

// newHeights says of each gap how likely a failure in it is before its readings
// are asked: most units fail at a pressure that they have not borne before.
func (a *analysis) newHeights(gaps []gapWeight) {
	borne, k, sum := 0.0, 0, 0.0
	for i := range gaps {
		g := &gaps[i]
		for ; k < g.i; k++ {
			if !a.s.spike[k] {
				borne = max(borne, a.s.p[k])
			}
		}
		g.borne = max(borne, g.pa)
		sum += max(g.pa+g.let-g.borne, 0)
	}
	for i := range gaps {
		g := &gaps[i]
		g.fresh = heldShare
		if sum > 0 {
			g.fresh += (1 - heldShare) * max(g.pa+g.let-g.borne, 0) / sum
		}
	}
}

// stepModel describes some readings: by how long the inlet has been open, how
// often it has opened, and a slow drift; with a loss in one gap, after which the
// slope may be another and bend.
type stepModel struct {
	s   *signal
	win []int
	f   [][5]float64
	sd  [5]float64

	rate float64 // Pa/s of opening
	jolt float64 // Pa, by which a rise between two readings strays most from the usual one
}

func (a *analysis) newStepModel(win []int) *stepModel {
	m := &stepModel{s: a.s, win: win}
	clock := newInletClock(a.x.fill)
	t0 := a.s.t[win[0]]
	open0, n0 := clock.at(t0)
	m.rate, _ = pulseRate(a.s, clock, win, len(win))
	for _, i := range win {
		t := a.s.t[i] - t0
		open, n := clock.at(a.s.t[i])
		m.f = append(m.f, [5]float64{1, t, open - open0, n - n0, t * t})
	}
	var rises []float64
	for n := 1; n < len(win); n++ {
		rises = append(rises, a.s.p[win[n]]-a.s.p[win[n-1]])
	}
	usual := median(rises)
	m.jolt = a.s.noise
	for _, d := range rises {
		m.jolt = max(m.jolt, math.Abs(d-usual))
	}
	m.sd = [5]float64{1e6, 1e3, 1e5, max(valveTimeS*m.rate, 1), rampBendPa}
	return m
}

// evidence gives the logarithm of the evidence with a loss after reading g of the
// window, −1 for none, and what it leaves of χ²; spread lets the first reading
// after it show a part of it only. It fills what the gap is then.
func (m *stepModel) evidence(g int, spread bool, w *gapWeight) (logEvidence, chi2 float64) {
	k := 5
	if g >= 0 {
		k += 3
	}
	if spread {
		k++
	}
	a := mat.NewSymDense(k, nil)
	r := mat.NewVecDense(k, nil)
	noise := m.s.noise
	sd := make([]float64, k)
	copy(sd, m.sd[:])
	if g >= 0 {
		sd[5], sd[6], sd[7] = lossPa, 2e3, afterBendPa
	}
	if spread {
		sd[8] = m.jolt / 4
	}
	base := m.s.p[m.win[0]]
	f := make([]float64, k)
	yy := 0.0
	for n, i := range m.win {
		copy(f, m.f[n][:])
		if g >= 0 {
			f[5], f[6], f[7] = 0, 0, 0
			if n > g {
				since := m.s.t[i] - m.s.t[m.win[g+1]]
				f[5], f[6], f[7] = -1, since, since*since
			}
		}
		if spread {
			f[8] = 0
			if n == g+1 { // about half of it
				f[5], f[8] = -0.5, 1
			}
		}
		y := (m.s.p[i] - base) / noise
		yy += y * y
		for x := range k {
			for z := x; z < k; z++ {
				a.SetSym(x, z, a.At(x, z)+f[x]*f[z]*sd[x]*sd[z]/(noise*noise))
			}
			r.SetVec(x, r.AtVec(x)+f[x]*sd[x]/noise*y)
		}
	}
	for x := range k {
		a.SetSym(x, x, a.At(x, x)+1)
	}
	var chol mat.Cholesky
	var b mat.VecDense
	if !chol.Factorize(a) || chol.SolveVecTo(&b, r) != nil {
		return math.Inf(-1), math.Inf(1)
	}
	chi2 = max(yy-mat.Dot(&b, r), 0)
	if w != nil {
		var inv mat.SymDense
		if chol.InverseTo(&inv) != nil {
			return math.Inf(-1), math.Inf(1)
		}
		at, v := 0.0, 0.0
		for x := range 5 {
			at += m.f[g][x] * sd[x] * b.AtVec(x)
			for z := range 5 {
				v += m.f[g][x] * sd[x] * m.f[g][z] * sd[z] * inv.At(x, z)
			}
		}
		w.pa, w.sd = base+at, math.Sqrt(max(v, 0))
		if g+1 < len(m.win) {
			for x := 1; x < 5; x++ {
				w.let += (m.f[g+1][x] - m.f[g][x]) * sd[x] * b.AtVec(x)
			}
		} else if g > 0 {
			for x := 1; x < 5; x++ {
				w.let += (m.f[g][x] - m.f[g-1][x]) * sd[x] * b.AtVec(x)
			}
		}
		if later := min(g+missingAt, len(m.win)-1); later > g {
			since := m.s.t[m.win[later]] - m.s.t[m.win[g+1]]
			v := [3]float64{sd[5], -sd[6] * since, -sd[7] * since * since}
			w.missing, w.missingSD = 0, 0
			for x := range v {
				w.missing += v[x] * b.AtVec(5+x)
				for z := range v {
					w.missingSD += v[x] * v[z] * inv.At(5+x, 5+z)
				}
			}
			w.missingSD = math.Sqrt(max(w.missingSD, 0))
		}
		w.drop = sd[5] * b.AtVec(5)
		w.z = b.AtVec(5) / math.Sqrt(max(inv.At(5, 5), 1e-300))
	}
	return -chi2/2 - chol.LogDet()/2, chi2
}

// putStep takes time and depth of a failure from where its loss fell: those of the
// reading before it, which the unit has borne. The bounds reach over the gap behind
// that, in which a pressure not borne before is likelier.
func (a *analysis) putStep(f *failure, p *stepPlace) {
	const parts = 16
	o := &onset{}
	pa := map[float64]float64{}
	sd := 0.0
	for k := range p.gaps {
		g := &p.gaps[k]
		if g.w < 1e-4 {
			continue
		}
		let := g.let
		from := len(o.t)
		sum := 0.0
		for n := range parts {
			u := (float64(n) + 0.5) / parts
			t := g.t0 + u*(g.t1-g.t0)
			pa[t] = g.pa + u*let
			w := heldShare
			if pa[t] > g.borne-2*a.s.noise {
				w = 1
			}
			o.t, o.w = append(o.t, t), append(o.w, w)
			sum += w
		}
		for i := from; i < len(o.t); i++ {
			o.w[i] *= g.w / sum
		}
		sd += g.w * g.sd
	}
	at := func(t float64) float64 { return a.depth(pa[t]) }
	best := p.best()
	f.time, f.low, f.high = best.t0, min(o.quantile(0.025, same), best.t0), max(o.quantile(0.975, same), best.t0)
	u := coverage95 * math.Hypot(a.zeroSD(), sd) / 1e4
	f.depth = a.depth(best.pa)
	f.depthLow = f.depth - math.Hypot(max(f.depth-o.quantile(0.025, at), 0), u)
	f.depthUp = f.depth + math.Hypot(max(o.quantile(0.975, at)-f.depth, 0), u)
	f.depthLow = max(f.depthLow, 0)
}

// stroke is the most that the pressure rose between two readings of the half
// minutes before and after reading i, Pa: a person's pump may have brought that
// much.
func (a *analysis) stroke(i int) float64 {
	most, next := 0.0, -1
	_, last := between(a.s.t, a.s.t[i], min(a.s.t[i]+30, a.stopS()))
	for k := last - 1; k >= 0 && a.s.t[k] > a.s.t[i]-30; k-- {
		if a.s.spike[k] {
			continue
		}
		if next >= 0 {
			most = max(most, a.s.p[next]-a.s.p[k])
		}
		next = k
	}
	return most
}
