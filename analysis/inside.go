package analysis

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"proofpot/profiles/assumed"
	"proofpot/profiles/water"
	"proofpot/rig/setup"
)

// void is what the sensor inside the unit saw: the volume that its air has lost
// and the water vapour that it has gained.
type void struct {
	freeML            float64
	gas               bool      // what comes in is gas
	t                 []float64 // s
	pa                []float64 // Pa absolute
	ml                []float64 // ml lost, from p V / T = constant
	mg                []float64 // mg of water vapour; nil without a humidity sensor
	rh                []float64 // %
	vapour            []float64 // Pa; nil without a humidity sensor
	bad               []bool
	temp              *track
	dt                float64
	pace              pace
	noise             float64 // ml, one reading
	mgSD              float64 // mg, one reading
	share             float64 // of the vapour's pressure that the pressure sensor shows, 0 … 1
	shareU            float64
	jumps             []jump
	squeeze, squeezeU float64 // 1/Pa, how much of the void the chamber's pressure takes
}

// unevenAir is by how much of a change of the air's temperature the thermometer
// inside errs, standard uncertainty: air that warms or cools is not of one
// temperature; common practice, no source.
const unevenAir = 0.02

// newVoid reduces the readings from inside the unit; nil where it has no
// pressure sensor and no humidity sensor, or no temperature with either.
func newVoid(run setup.Run, x *table) *void {
	if x.insideC.empty() || run.Unit.FreeVolumeML <= 0 || x.insidePa.empty() && x.insideRH.empty() {
		return nil
	}
	v := &void{freeML: run.Unit.FreeVolumeML, temp: insideTrack(&x.insideC), share: 0.5, shareU: 0.5}
	v.gas = run.Bench.Medium == setup.MediumGas
	if !x.insidePa.empty() {
		v.t = x.insidePa.t
		v.pa = make([]float64, len(v.t))
		for i, d := range x.insidePa.v {
			v.pa[i] = x.insideRef + float64(d)
		}
		v.pace = x.insidePa.pace()
		v.dt = v.pace.dt
		noise := max(whiteNoise(v.t, v.pa, v.dt), 0.3)
		if math.IsNaN(noise) {
			noise = 5
		}
		v.bad = findSpikes(v.t, v.pa, noise, v.pace)
		v.ml = make([]float64, len(v.t))
		v.noise = v.freeML * noise / v.pa[0]
	} else {
		v.t = x.insideRH.t
		v.pace = x.insideRH.pace()
		v.dt = v.pace.dt
		v.bad = make([]bool, len(v.t))
	}
	if !x.insideRH.empty() {
		v.mg = make([]float64, len(v.t))
		v.vapour = make([]float64, len(v.t))
		v.rh = make([]float64, len(v.t))
		j := 0
		for i, t := range v.t {
			for j+1 < len(x.insideRH.t) && x.insideRH.t[j+1] <= t {
				j++
			}
			c := v.temp.at(t)
			v.rh[i] = float64(x.insideRH.v[j])
			v.vapour[i] = v.rh[i] / 100 * water.SaturationPa(c)
			// kg/m³ × ml = mg
			v.mg[i] = water.VapourDensity(v.vapour[i], c) * v.freeML
		}
		// The noise, from where the air is not saturated: there the reading sticks.
		n := 0
		for n < len(v.t) && v.rh[n] < humidityEnd {
			n++
		}
		v.mgSD = whiteNoise(v.t[:n], v.mg[:n], v.dt)
		if !(v.mgSD > 0) {
			v.mgSD = 1e-3 * v.freeML * water.VapourDensity(water.SaturationPa(v.temp.at(v.t[0])), v.temp.at(v.t[0]))
		}
	}
	v.lost()
	return v
}

// lost works out ml from the pressure, less the vapour's share.
func (v *void) lost() {
	if v.pa == nil {
		return
	}
	// The start's pressure over temperature, from the first few readings.
	var ref float64
	n := 0
	for i := 0; i < len(v.t) && n < 5; i++ {
		if !v.bad[i] {
			ref += v.dry(i) / (v.temp.at(v.t[i]) + water.ZeroC)
			n++
		}
	}
	if n == 0 {
		return
	}
	ref /= float64(n)
	for i, t := range v.t {
		share := ref * (v.temp.at(t) + water.ZeroC) / v.dry(i)
		if v.gas {
			v.ml[i] = -v.freeML * math.Log(share) // gas came in, at the pressure inside
		} else {
			v.ml[i] = v.freeML * (1 - share)
		}
	}
}

func (v *void) dry(i int) float64 {
	if v.vapour == nil || v.share == 0 {
		return v.pa[i]
	}
	return v.pa[i] - v.share*v.vapour[i]
}

// fixShare finds from the data whether the inside pressure carries the pressure
// of the vapour, as it must where both share one void, or is given without it.
// The pressure over the temperature is a line in each part of the run, plus that
// share of the vapour's, which bends otherwise than any line. What lies behind
// until, s, is left out: a leak brings vapour just as it bends the pressure, and
// feigns a share.
func (v *void) fixShare(stages []*stage, until float64, drive, pressure, creep func(float64) float64) {
	if v.pa == nil {
		return
	}
	if v.vapour == nil {
		v.share, v.shareU = 0, 0
	}
	knots := []float64{}
	var cuts []float64 // no mean of readings reaches over the start or the end of a ramp
	for _, s := range stages {
		if s.ramp.real() {
			cuts = append(cuts, s.ramp.start, s.ramp.end)
		}
		for _, part := range []interval{s.ramp, s.settle, s.hold} {
			if part.real() && part.start < until {
				knots = append(knots, part.start)
				if part == s.ramp {
					knots = append(knots, part.start+part.length()/3, part.start+part.length()*2/3)
				}
				for t := part.start + 900; t < min(part.end, until)-450 && len(knots) < 60; t += max(900, part.length()/8) {
					knots = append(knots, t)
				}
			}
		}
	}
	if len(knots) == 0 {
		return
	}
	if len(knots) > 60 {
		step := (len(knots) + 59) / 60
		var few []float64
		for i := 0; i < len(knots); i += step {
			few = append(few, knots[i])
		}
		knots = few
	}
	_, last := between(v.t, v.t[0], until)
	if last < 2 {
		return
	}
	width := max((v.t[last-1]-v.t[0])/400, 4*v.dt)
	var ts, ys, es, ns []float64
	var t, y, e, n float64
	end := v.t[0] + width
	for i := range last {
		past := len(cuts)
		for len(cuts) > 0 && v.t[i] > cuts[0] {
			cuts = cuts[1:]
		}
		if v.t[i] >= end || len(cuts) < past {
			if n > 0 {
				ts, ys, es, ns = append(ts, t/n), append(ys, y/n), append(es, e/n), append(ns, n)
			}
			t, y, e, n = 0, 0, 0, 0
			end = v.t[i] + width
		}
		if v.bad[i] {
			continue
		}
		k := 293.15 / (v.temp.at(v.t[i]) + water.ZeroC)
		t += v.t[i]
		y += v.pa[i] * k
		if v.vapour != nil {
			e += v.vapour[i] * k
		}
		n++
	}
	if len(ts) < 6 { // hardly begun
		return
	}
	// What a leak of constant conductance would have let in, by knots.
	flow := make([]float64, len(ts))
	for i := 1; i < len(ts); i++ {
		flow[i] = flow[i-1] + (max(drive(ts[i]), 0)+max(drive(ts[i-1]), 0))/2*(ts[i]-ts[i-1])
	}
	at := func(t float64) float64 {
		j, _ := slices.BinarySearch(ts, t)
		if j <= 0 {
			return 0
		}
		if j >= len(ts) {
			return flow[len(ts)-1]
		}
		f := (t - ts[j-1]) / (ts[j] - ts[j-1])
		return flow[j-1] + f*(flow[j]-flow[j-1])
	}
	whole := max(flow[len(flow)-1], 1)
	steps := v.steps()
	if len(steps) > 6 {
		steps = steps[:6]
	}
	k := len(knots) + 5 + len(steps)
	squeezeCol := k - 4
	if len(ts) < k+5 {
		return
	}
	knotFlow := make([]float64, len(knots))
	for j, t := range knots {
		knotFlow[j] = at(t)
	}
	x := mat.NewDense(len(ts), k, nil)
	noise := v.noise * v.pa[0] / v.freeML
	tempSD := 0.004 // K, what the smoothed thermometer still errs
	sd, mean := make([]float64, k), make([]float64, k)
	for i := range sd {
		sd[i] = 0.5 // a change of the leak by half the void over the record
	}
	sd[0] = math.Inf(1)
	best := math.Inf(1)
	var give [2][2]float64 // squeeze of the void for a share of none and of all
	top := [2]float64{math.Inf(-1), math.Inf(-1)}
	for i := range ts {
		x.Set(i, 0, 1)
		for j := range knots {
			x.Set(i, 1+j, max(flow[i]-knotFlow[j], 0)/whole)
		}
		for j, s := range steps {
			if ts[i] > s.t0 {
				x.Set(i, 1+len(knots)+j, 1)
			}
		}
		x.Set(i, squeezeCol, (pressure(ts[i])-pressure(ts[0]))/1e5)
		x.Set(i, squeezeCol+1, creep(ts[i])/1e5)
		half := v.temp.half / 3
		x.Set(i, squeezeCol+2, (v.temp.at(ts[i]+half)-v.temp.at(ts[i]-half))/(2*half)/293)
		x.Set(i, squeezeCol+3, v.temp.at(ts[i])-v.temp.at(ts[0]))
	}
	// The unit's elastic squeeze and its creep, a bar: TRADE.md, table 1.6, rows 18 and 19.
	sd[squeezeCol], sd[squeezeCol+1] = 1e-3, 3e-4
	sd[squeezeCol+2] = assumed.InsideLagS
	// The void grows with its walls as they warm.
	mean[squeezeCol+3], sd[squeezeCol+3] = assumed.UnitGrowth, assumed.UnitGrowthSD
	// 1/p goes down evenly with what has come in, whatever that is (Boyle). How
	// much a leak may change from part to part is not known either: a tight unit
	// needs no change, and a description that needs none is the better one.
	fits := func(share, change float64) float64 {
		y := make([]float64, len(ts))
		free := make([]float64, len(ts))
		for i := range ts {
			dry := ys[i] - share*es[i]
			y[i] = v.pa[0] / dry
			g := ys[i] / 293 * tempSD
			u := math.Sqrt(noise*noise/ns[i]+g*g) * v.pa[0] / (dry * dry)
			free[i] = u * u
		}
		for i := 1; i <= len(knots); i++ {
			sd[i] = change
		}
		p, err := (&linear{x: x, y: y, free: free, mean: mean, sd: sd}).solve()
		if err != nil {
			return math.Inf(-1)
		}
		// A factor that both shares have alike must not decide: the misfit that is
		// left is scaled to what the better one leaves.
		best = min(best, p.chi2/float64(len(ts)-k))
		if p.logEvidence > top[int(share)] {
			top[int(share)] = p.logEvidence
			// What a fast ingress bends is no squeeze.
			squeeze := max(-mostSqueeze, min(-p.b[squeezeCol]/1e5, mostSqueeze))
			give[int(share)] = [2]float64{squeeze, p.sd(squeezeCol) / 1e5}
		}
		return p.logEvidence
	}
	weigh := func(share float64) float64 {
		top, sum := math.Inf(-1), 0.0
		var list []float64
		for _, change := range []float64{1e-5, 1e-3, 1e-2, 0.1, 0.5} {
			l := fits(share, change)
			list = append(list, l)
			top = max(top, l)
		}
		if math.IsInf(top, -1) {
			return top
		}
		for _, l := range list {
			sum += math.Exp(l - top)
		}
		return top + math.Log(sum)
	}
	none := weigh(0)
	if v.vapour == nil {
		v.squeeze, v.squeezeU = give[0][0], give[0][1]
		return
	}
	all := weigh(1)
	if math.IsInf(none, -1) || math.IsInf(all, -1) {
		return
	}
	// Only none and all are physics: they are weighed by how well they fit. The
	// likelihood is tempered, since what bends the pressure besides is known
	// roughly only. Beforehand the whole is far likelier: a pressure sensor that
	// shares the void carries the vapour's (Dalton).
	const temper, odds = 4, 10
	w := 1 / (1 + odds*math.Exp(max(-700, min(700, (all-none)/max(1, best)/temper))))
	v.share = 1 - w
	v.shareU = math.Sqrt(w * (1 - w))
	v.squeeze, v.squeezeU = give[0][0], give[0][1]
	if w < 0.5 {
		v.squeeze, v.squeezeU = give[1][0], give[1][1]
	}
	v.lost()
}

// leak estimates the ingress in a hold from the inside pressure, ml/h.
func (v *void) leak(part interval, pressure, drive, creep func(float64) float64, curved bool, give yielding) *estimate {
	if v.pa == nil || !part.real() {
		return nil
	}
	lo, hi := between(v.t, part.start, part.end)
	width := max(part.length()/40, 3*v.dt)
	mid := (part.start + part.end) / 2
	type blk struct{ t, y, e, n float64 }
	var list []blk
	var b blk
	end := part.start + width
	for i := lo; i <= hi; i++ {
		if i == hi || v.t[i] >= end {
			if b.n > 0 {
				list = append(list, blk{b.t / b.n, b.y / b.n, b.e / b.n, b.n})
			}
			b = blk{}
			if i == hi {
				break
			}
			end = v.t[i] + width
		}
		if v.bad[i] {
			continue
		}
		b.t += v.t[i]
		b.y += v.ml[i]
		if v.vapour != nil {
			b.e += v.vapour[i]
		}
		b.n++
	}
	n := len(list)
	if n < 5 || list[n-1].t-list[0].t < part.length()/3 {
		return nil
	}
	const (
		cLeak, cOffset, cCurve, cSqueeze, cVapour, cTemp, cLag, cCreep, cGive, cGrow, cFixed = 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10

		creeps = 0.4 // of the squeeze, in the long run, within a factor of two; common practice, no source
	)
	var sudden []jump
	for _, j := range v.steps() {
		if j.t0 > part.start && j.t0 < part.end && len(sudden) < 3 {
			sudden = append(sudden, j)
		}
	}
	x := mat.NewDense(n, cFixed+len(sudden), nil)
	y := make([]float64, n)
	cov := mat.NewSymDense(n, nil)
	soft := math.Abs(v.squeeze) + 2*v.squeezeU
	sd := []float64{math.Inf(1), math.Inf(1), 1e-9, v.squeezeU + 1e-12, max(v.shareU, 1e-9), v.temp.slopeSD(part.length()), assumed.InsideLagS, creeps*soft + 1e-12, max(assumed.VoidCreep*math.Abs(give.ml), 1e-9), assumed.UnitGrowthSD}
	mean := make([]float64, cFixed+len(sudden))
	mean[cGive], mean[cGrow] = assumed.VoidCreep*give.ml, assumed.UnitGrowth
	for range sudden {
		sd = append(sd, 0.1*v.freeML)
	}
	if curved {
		sd[cCurve] = math.Inf(1)
	}
	p0 := v.pa[lo]
	shape := driveHours(part, drive)
	for i, b := range list {
		h := (b.t - mid) / 3600
		y[i] = b.y
		x.Set(i, cLeak, shape(b.t))
		x.Set(i, cOffset, 1)
		x.Set(i, cCurve, h*h/2)
		if pressure != nil {
			dp := pressure(b.t) - pressure(mid)
			y[i] -= v.freeML * v.squeeze * dp
			x.Set(i, cSqueeze, v.freeML*dp)
			x.Set(i, cCreep, v.freeML*(creep(b.t)-creep(mid)))
		}
		x.Set(i, cVapour, v.freeML*(b.e-list[0].e)/p0)
		x.Set(i, cTemp, v.freeML/293*h)
		x.Set(i, cGive, give.shape(b.t)-give.shape(mid))
		x.Set(i, cGrow, -v.freeML*(v.temp.at(b.t)-v.temp.at(mid))) // the void grows with its walls as they warm
		w := v.temp.half / 3
		x.Set(i, cLag, v.freeML/293*(v.temp.at(b.t+w)-v.temp.at(b.t-w))/(2*w))
		for k, j := range sudden {
			if b.t > j.t0 {
				x.Set(i, cFixed+k, 1)
			}
		}
		cov.SetSym(i, i, v.noise*v.noise/b.n+1e-14)
	}
	for i := range n {
		for j := i; j < n; j++ {
			g := assumed.InsideWanderPa * v.freeML / p0
			cov.SetSym(i, j, cov.At(i, j)+g*g*(list[i].t-list[0].t+1)/3600)
		}
	}
	p, err := (&linear{x: x, y: y, cov: cov, mean: mean, sd: sd}).solve()
	if err != nil {
		return nil
	}
	e := &estimate{value: p.b[cLeak], n: n, chi2: p.chi2}
	scale := assumed.SheetSD * math.Abs(e.value)
	own := math.Hypot(p.sd(cLeak), assumed.InsideDriftPa*v.freeML/p0)
	if dof := float64(n - 3 - len(sudden)); dof > 5 && p.chi2 > dof {
		own *= math.Sqrt(min(p.chi2/dof, 9))
	}
	hours := (list[n-1].t - list[0].t) / 3600
	uneven := unevenAir * v.freeML / 293 * math.Abs(v.temp.at(list[n-1].t)-v.temp.at(list[0].t)) / hours
	e.u = math.Hypot(math.Hypot(own, uneven), scale)
	va, te := p.share(cLeak, cVapour, sd[cVapour]), math.Hypot(math.Hypot(p.share(cLeak, cTemp, sd[cTemp]), p.share(cLeak, cGrow, assumed.UnitGrowthSD)), p.share(cLeak, cLag, assumed.InsideLagS))
	sq := math.Hypot(p.share(cLeak, cSqueeze, sd[cSqueeze]), math.Hypot(p.share(cLeak, cCreep, sd[cCreep]), p.share(cLeak, cGive, sd[cGive])))
	rest := own*own - va*va - te*te - sq*sq
	e.budget = []Budget{
		{Source: "free volume of the unit from the sheet", MLPerH: scale},
		{Source: "noise and drift of the inside pressure", MLPerH: math.Sqrt(max(rest, 0))},
		{Source: "inside temperature", MLPerH: math.Hypot(te, uneven)},
		{Source: "pressure of the vapour inside", MLPerH: va},
		{Source: "squeeze and creep of the unit", MLPerH: sq},
	}
	e.lod = currie(math.Hypot(own, uneven))
	return e
}

// driveHours gives the time from the middle of a part, h, as a leak counts it
// that goes with the driving pressure.
func driveHours(part interval, drive func(float64) float64) func(float64) float64 {
	const steps = 120
	sum := make([]float64, steps+1)
	step := part.length() / steps
	last := max(drive(part.start), 0)
	for i := 1; i <= steps; i++ {
		d := max(drive(part.start+step*float64(i)), 0)
		sum[i] = sum[i-1] + (last+d)/2*step
		last = d
	}
	total := sum[steps]
	mid := (part.start + part.end) / 2
	if !(total > 0) {
		return func(t float64) float64 { return (t - mid) / 3600 }
	}
	f := part.length() / total / 3600
	at := func(t float64) float64 {
		p := (t - part.start) / step
		i := min(max(int(p), 0), steps-1)
		return f * (sum[i] + (p-float64(i))*(sum[i+1]-sum[i]))
	}
	zero := at(mid)
	return func(t float64) float64 { return at(t) - zero }
}
