package plan

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"proofpot/profiles/assumed"
	"proofpot/profiles/water"
)

// What is assumed of a bench and a unit beyond what their sheets say. Common
// practice, no source, where none is given.
const (
	usualDriftPa   = 6.0          // Pa/√h, wander of a transducer that has warmed up; the analysis takes 4 to 12 until the run has shown more
	squeezePerBar  = 1.2e-4       // of a unit's void a bar: the middle, by ratios, of a printed tube (7e-4) and one of aluminium (2e-5), both Ø80 × 5 mm by Lamé
	unknownWaterK  = 0.15         // K/h, drift of water without a thermometer in it
	unknownGasK    = 0.05         // K/h, drift of the gas against the water, without a thermometer in it
	vapourGiven    = 20.0         // Pa/h, from walls that are 5 % RH moister than the air (120 Pa at 20 °C) and dry within hours
	vapourShare    = 0.15         // of it stays in doubt with a humidity sensor: whether the pressure inside shows the vapour
	insideDriftK   = 0.2          // K, of the air inside, which comes to rest during a hold
	humidityDrift  = 0.05         // %RH/√h, wander of a humidity sensor
	settlingKnown  = 0.03         // of the settling of the gas, what a thermometer in it leaves
	settlingFloorK = 0.02         // K, and at least
	currieFactor   = 2 * 1.644854 // Currie, Anal. Chem. 40 (1968) 586: both errors 5 %
	blocks         = 28           // means of readings into which a window is cut
)

// window is a measuring window as its uncertainty sees it.
type window struct {
	pa     float64 // Pa absolute in the chamber
	fromPa float64 // Pa absolute before the ramp
	rampS  float64 // s
	waitS  float64 // s, between ramp and window
	holdS  float64 // s
	sinceS float64 // s, from the start of the run to the end of the ramp
	before []step  // earlier ramps
}

// step is a change of the chamber's pressure.
type step struct {
	pa  float64 // Pa
	ago float64 // s, before the end of the window's own ramp
}

// creep is what the squeeze of a unit's void goes on by with time, Pa: each step
// by the logarithm of the time since (Boltzmann's superposition).
func (w window) creep(sinceRampS float64) float64 {
	sum := (w.pa - w.fromPa) * math.Log1p(sinceRampS/assumed.VoidCreepS)
	for _, s := range w.before {
		sum += s.pa * math.Log1p((s.ago+sinceRampS)/assumed.VoidCreepS)
	}
	return sum
}

// slowCreep is how far a body has given way to all ramps that follows them with one
// long time constant, bar.
func (w window) slowCreep(sinceRampS float64) float64 {
	sum := (w.pa - w.fromPa) * -math.Expm1(-sinceRampS/assumed.SlowCreepS)
	for _, s := range w.before {
		sum -= s.pa * math.Expm1(-(s.ago+sinceRampS)/assumed.SlowCreepS)
	}
	return sum / 1e5
}

// prior is something that is known beforehand only so well: how it would show in
// the window, and its standard deviation; +Inf for what the window must find.
type prior struct {
	source string
	sd     float64
	shape  func(s float64) float64 // by s since the window began
}

// steady is something that shows in the window exactly as a leak does, a straight
// line: the window cannot tell it from one.
type steady struct {
	source string
	perH   float64 // standard deviation, in the unit of the slope
}

// signal is what is fitted: readings with their noise, and the priors.
type signal struct {
	sigma   float64 // standard deviation of one reading
	every   float64 // s
	wander  float64 // random walk, per √h
	priors  []prior // the first is the slope that is sought, per hour
	steady  []steady
	swing   assumed.Swing // of a room, ml
	correct float64       // factor from the fit to the answer
}

// line are the unknowns of a straight line: slope per hour and height.
func line() []prior {
	return []prior{
		{"", math.Inf(1), func(s float64) float64 { return s / 3600 }},
		{"", math.Inf(1), func(float64) float64 { return 1 }},
	}
}

// Source is one contribution to the doubt of a leak rate.
type Source struct {
	What   string
	MLPerH float64 // standard uncertainty
}

// doubt gives the standard uncertainty of the slope, with its sources: that of
// generalised least squares (Aitken 1936) with what is known beforehand as
// further observations (Gelman et al., Bayesian Data Analysis, 3rd ed., 14.8).
func (s signal) doubt(holdS float64) (float64, []Source) {
	k := len(s.priors)
	x := mat.NewDense(blocks, k, nil)
	cov := mat.NewSymDense(blocks, nil)
	width := holdS / blocks
	readings := max(width/s.every, 1e-9)
	for i := range blocks {
		t := (float64(i) + 0.5) * width
		for j, p := range s.priors {
			x.Set(i, j, p.shape(t))
		}
		for j := i; j < blocks; j++ {
			cov.SetSym(i, j, s.wander*s.wander*t/3600+s.swing.Cov(float64(j-i)*width, width, width))
		}
		cov.SetSym(i, i, cov.At(i, i)+s.sigma*s.sigma/readings)
	}
	var chol mat.Cholesky
	if holdS <= 0 || !chol.Factorize(cov) {
		return math.Inf(1), nil
	}
	var right mat.Dense
	if err := chol.SolveTo(&right, x); err != nil {
		return math.Inf(1), nil
	}
	var a mat.Dense
	a.Mul(x.T(), &right)
	scale := make([]float64, k)
	normal := mat.NewSymDense(k, nil)
	for i := range k {
		v := a.At(i, i)
		if sd := s.priors[i].sd; !math.IsInf(sd, 1) {
			v += 1 / (sd * sd)
		}
		if !(v > 0) {
			return math.Inf(1), nil
		}
		scale[i] = 1 / math.Sqrt(v)
	}
	for i := range k {
		normal.SetSym(i, i, 1)
		for j := i + 1; j < k; j++ {
			normal.SetSym(i, j, a.At(i, j)*scale[i]*scale[j])
		}
	}
	var nc mat.Cholesky
	if !nc.Factorize(normal) {
		return math.Inf(1), nil
	}
	post := mat.NewSymDense(k, nil)
	if err := nc.InverseTo(post); err != nil {
		return math.Inf(1), nil
	}
	u := math.Sqrt(post.At(0, 0)) * scale[0] * s.correct
	rest := u * u
	var from []Source
	for j := 1; j < k; j++ {
		sd := s.priors[j].sd
		if math.IsInf(sd, 1) {
			continue
		}
		// ∂slope/∂prior × sd (GUM, JCGM 100:2008, 5.1).
		v := math.Abs(post.At(0, j)) * scale[0] * scale[j] / sd * s.correct
		rest -= v * v
		from = append(from, Source{s.priors[j].source, v})
	}
	noise := "noise and wander of the sensor"
	if s.swing != (assumed.Swing{}) {
		noise += ", swing of the room"
	}
	from = append(from, Source{noise, math.Sqrt(max(rest, 0))})
	for _, l := range s.steady {
		v := math.Abs(l.perH) * s.correct
		u = math.Hypot(u, v)
		from = append(from, Source{l.source, v})
	}
	return u, from
}

// fittedS is how long the chamber is fitted, s: a leak that is steady shows in the
// settling too, so that settling and hold are one line, of which the settling of
// the gas and the creep of the unit are taken off.
func (w window) fittedS() float64 { return w.waitS + w.holdS }

// compliance is what the chamber's contents give at a pressure, ml/bar: the gas
// at one temperature, and chamber and water.
func (b Bench) compliance(pa float64, u Unit) float64 {
	return max(b.GasML(pa, u.OuterML), 0.1)/pa*1e5 + b.StiffnessMLPerBar
}

// chamberSignal is the chamber's volume balance from the end of the ramp to the
// end of the hold, in ml.
func (b Bench) chamberSignal(w window, u Unit) signal {
	gas := max(b.GasML(w.pa, u.OuterML), 0.1)
	compliance := b.compliance(w.pa, u) / 1e5 // ml/Pa
	waterML := 0.0
	if !b.Gas {
		waterML = max(b.ChamberML-u.OuterML-gas, 0)
	}
	const kelvin = water.ZeroC + 20
	iso := water.FreshIsotherm(20)
	settling, excess := b.settling(gas, w)
	if b.GasThermometerK > 0 {
		excess = min(settlingKnown*excess+settlingFloorK, excess+1e-6)
	}
	gasK := unknownGasK
	if b.GasThermometerK > 0 {
		gasK = b.gasDoubt(settling, w.fittedS())
	} else if b.WaterThermometerK == 0 {
		gasK = unknownWaterK
	}
	waterK := unknownWaterK
	if b.WaterThermometerK > 0 {
		waterK = slopeDoubt(b.WaterThermometerK, b.SampleS, w.fittedS())
	}
	blank := b.BlankSDMLPerHPerBar
	if blank == 0 {
		blank = assumed.UnknownBlankSD
	}
	walls := assumed.WallGrowthSD
	if b.Gas {
		walls = math.Hypot(assumed.WallGrowth, assumed.WallGrowthSD) // nothing is taken off for it where there is no water
	}
	gauge := (w.pa - b.RoomPa) / 1e5
	// What moves the pressure of a tight chamber, ml/h: its own leak, and the water.
	moves := math.Hypot(b.BlankMLPerHPerBar*gauge, waterML*iso.Expansivity(w.pa)*b.DriftKPerH)
	s := signal{sigma: b.NoisePa * compliance * b.inflation(), every: b.SampleS, wander: usualDriftPa * compliance, correct: 1,
		priors: append(line(), prior{"settling of the gas temperature", excess, func(s float64) float64 { return gas / kelvin * math.Exp(-s/settling) }}),
		steady: []steady{
			{"drift of the gas temperature", gasK * gas / kelvin},
			{"gas volume and stiffness, from the sheet", assumed.SheetSD * math.Hypot(gas/w.pa, b.StiffnessMLPerBar/1e5) / compliance * moves},
			{"the bench's own leak", blank * gauge},
			{"expansion of walls and unit", math.Hypot(walls*b.ChamberML, assumed.UnitGrowthSD*u.OuterML) * b.DriftKPerH},
		}}
	if waterML > 0 {
		s.steady = append(s.steady, steady{"temperature of the water", waterK * waterML * iso.Expansivity(w.pa)})
		s.swing = assumed.Pot{ChamberML: b.ChamberML, WaterML: waterML}.Swing(iso.Expansivity(w.pa))
		s.priors = append(s.priors, prior{"unit that takes the water's temperature", assumed.UnitGrowth * assumed.UnitApartK, func(s float64) float64 {
			return u.OuterML * math.Exp(-(w.sinceS+s)/assumed.UnitFollowsS)
		}})
	}
	if u.OuterML > 0 {
		step, litres := max(math.Abs(w.pa-w.fromPa)/1e5, 0.1), u.OuterML/1000
		s.priors = append(s.priors,
			prior{"creep of the unit", assumed.CreepML * step * litres, func(s float64) float64 { return math.Log1p(s / assumed.CreepS) }},
			prior{"creep of the unit within minutes", assumed.SoonCreep * litres, func(s float64) float64 {
				return (w.pa - w.fromPa) / 1e5 * -math.Expm1(-s/assumed.SoonCreepS)
			}},
			prior{"slow creep of the unit", assumed.SlowCreep * litres, w.slowCreep})
	}
	if b.Gas {
		s.correct = LiquidOverGas(w.pa, b.RoomPa)
	}
	return s
}

// gasDoubt is the standard uncertainty of the gas temperature's drift, K/h, from a
// thermometer that must give the settling and its time constant as well.
func (b Bench) gasDoubt(settlingS, fittedS float64) float64 {
	open := math.Inf(1)
	v, _ := signal{sigma: b.GasThermometerK, every: b.SampleS, correct: 1, priors: append(line(),
		prior{"", open, func(s float64) float64 { return math.Exp(-s / settlingS) }},
		prior{"", open, func(s float64) float64 { return s / settlingS * math.Exp(-s/settlingS) }})}.doubt(fittedS)
	if math.IsInf(v, 1) { // too short, or settled within its first moments
		return slopeDoubt(b.GasThermometerK, b.SampleS, fittedS)
	}
	return v
}

// inflation is how much more slowly correlated readings average out than
// independent ones, √((1+r)/(1−r)) for a correlation r of neighbours (first-order
// autoregression).
func (b Bench) inflation() float64 { return math.Sqrt((1 + b.Correlation) / (1 - b.Correlation)) }

// settling gives the time constant of the gas temperature, s, and how far the
// ramp leaves the gas above its rest, K. The time constant is a minute for 10 l
// at room pressure, as the cube root of the volume and the root of the pressure;
// the excess is bounded by compression without any loss of heat and by the
// balance of compression and loss in a steady ramp.
func (b Bench) settling(gasML float64, w window) (tau, excessK float64) {
	tau = 60 * math.Cbrt(gasML/1e4) * math.Sqrt(w.pa/b.RoomPa)
	const kelvin, exponent = water.ZeroC + 20, 0.286 // (γ−1)/γ of a diatomic gas
	rise := math.Abs(math.Log(w.pa / w.fromPa))
	all := exponent * kelvin * rise
	if w.rampS <= 0 {
		return tau, all
	}
	return tau, min(all, exponent*kelvin*rise/w.rampS*tau*(1-math.Exp(-w.rampS/tau)))
}

// slopeDoubt is the standard uncertainty of a straight line's slope per hour:
// σ √12/(Θ √N), Θ the window, N its readings (least squares, textbook).
func slopeDoubt(sigma, everyS, holdS float64) float64 {
	return sigma * math.Sqrt(12) / (holdS / 3600) / math.Sqrt(max(holdS/everyS, 1))
}

// insideSignal is the volume that the air inside loses in the hold, in ml.
func (u Unit) insideSignal(w window, gas bool) signal {
	perPa := u.FreeML / u.SealedPa
	perK := u.FreeML / (water.ZeroC + u.SealedC)
	vapour := vapourGiven
	if u.InsideRH > 0 {
		vapour *= vapourShare
	}
	s := signal{sigma: u.InsidePa * perPa, every: u.InsideS, wander: assumed.InsideWanderPa * perPa, correct: 1,
		priors: append(line(), u.creep(w, w.waitS)),
		steady: []steady{
			{"vapour from the unit's walls", vapour * perPa},
			{"drift of the sensor inside", assumed.InsideDriftPa * perPa},
			{"noise of the thermometer inside", slopeDoubt(u.InsideK, u.InsideS, w.holdS) * perK},
			{"lag of the thermometer inside", assumed.InsideLagS * insideDriftK / w.holdS / (w.holdS / 3600) * perK},
		}}
	if gas {
		s.correct = LiquidOverGas(u.SealedPa, w.pa)
	}
	return s
}

// creep is the slow give of a unit after the ramps, from s after the last one.
func (u Unit) creep(w window, fromS float64) prior {
	zero := w.creep(fromS)
	return prior{"creep of the unit", assumed.VoidCreep, func(s float64) float64 { return squeezePerBar / 1e5 * u.FreeML * (w.creep(fromS+s) - zero) }}
}

// moistureSignal is the vapour inside, in mg.
func (u Unit) moistureSignal() signal {
	perPct := 1e6 * water.VapourDensity(water.SaturationPa(u.SealedC), u.SealedC) * u.FreeML * 1e-6 / 100 // mg a % RH
	return signal{sigma: u.InsideRH * perPct, every: u.InsideS, wander: humidityDrift * perPct, correct: 1, priors: line()}
}
