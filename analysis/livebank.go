package analysis

import (
	"math"

	"proofpot/profiles/assumed"
	"proofpot/profiles/water"
)

// States of the live filters: those of chamberFit's columns that one pass can
// carry, and the two by which a transducer strays.
const (
	kSettle = iota // ml/h at the window's first drive
	kHold          // ml/h, likewise
	kStiff         // share
	kBlank         // ml/h/Pa
	kWall          // 1/K beyond assumed.WallGrowth
	kCreep         // ml for each e-fold of time
	kSlow          // ml/bar/l
	kOffset        // ml
	kWarm          // K, of the gas at the start of the part
	kShape         // how the settling departs from the filter's time constant
	kBend          // likewise, second order
	kMiss          // K, of that warmth what the gas thermometer does not show
	kRest          // K, of the settled gas above its surroundings
	kWater         // K since the start of the window
	kRate          // K/h
	kStray         // Pa
	kWalk          // Pa
	kalmanN
)

type vec [kalmanN]float64

// kalman is one filter: the states' mean and covariance (Kalman, J. Basic Eng. 82
// (1960) 35), updated by one scalar at a time.
type kalman struct {
	tau  float64 // s, of the settling of the gas
	m    vec
	p    [kalmanN]vec
	logL float64
	chi2 float64 // of the pressure's innovations
	dead bool
}

// forget makes a state unknown but for a mean and a standard deviation.
func (k *kalman) forget(i int, mean, sd float64) {
	for j := range k.p {
		k.p[i][j], k.p[j][i] = 0, 0
	}
	k.m[i], k.p[i][i] = mean, sd*sd
}

// update takes z = h·m + e, e ~ N(0, r). Where soft is positive, an innovation of
// more than soft standard deviations is given a variance with which it has no more.
// It returns the innovation's square in units of its variance.
func (k *kalman) update(h *vec, z, r, soft float64) float64 {
	var ph vec
	s := r
	for i := range kalmanN {
		if h[i] == 0 {
			continue
		}
		z -= h[i] * k.m[i]
		for j := range kalmanN {
			ph[j] += h[i] * k.p[i][j]
		}
	}
	for i := range kalmanN {
		s += h[i] * ph[i]
	}
	if soft > 0 && z*z > soft*soft*s {
		s = z * z / (soft * soft)
	}
	k.logL -= 0.5 * (z*z/s + math.Log(s))
	for i := range kalmanN {
		g := ph[i] / s
		if g == 0 {
			continue
		}
		k.m[i] += g * z
		for j := range kalmanN {
			k.p[i][j] -= g * ph[j]
		}
	}
	return z * z / s
}

// bank is the filters of one window: settle and hold of one stage.
type bank struct {
	k      [14]kalman
	live   bool
	part   bool
	inHold bool

	t0, t          float64 // s, start of the window, last block
	lastP          float64
	driveRef       float64
	settleH, holdH float64 // h, time that a leak counts which goes with the drive
	holdTime       float64 // h, plain
	settleTime     float64
	blankH         float64 // Pa h
	drive, gauge   float64 // Pa, at the last block
	pa0, v0, zeroC float64 // reference of the part
	partT          float64
	heat           float64 // K
	water0         float64 // °C, at the start of the window
	step           float64 // Pa
	n              int
	holdN          int
	pa             float64
	firstZ, firstT float64 // ml and s, of the hold's part at its first block; NaN before it
	endZ, endH     float64 // ml and h, gone by the ends of the parts so far
	partZ, partH   float64 // likewise in this part
	gone           float64 // ml that the gas volume of the part counts with
	drift          wander
	measured       bool
}

const (
	unknownML  = 1e4  // sd of an offset nothing is known of, ml
	unknownMLH = 1e5  // likewise of a leak, ml/h
	restWander = 0.02 // K in the root of an hour, how the settled gas strays from the water
	shapeSD    = 0.2  // of the warmth, see chamberFit.tauOf
	endsShare  = 0.05 // see chamberFit.ends
	missShare  = 0.03 // of the warmth, how far the gas and its thermometer may part
)

func (b *bank) init() {
	tau := 6.0
	for i := range b.k {
		b.k[i].tau = tau
		tau *= 1.43
	}
	b.drift = drifts[0]
}

// open begins a window with its first block.
func (b *bank) open(l *Live, x *liveBlock) {
	*b = bank{k: b.k, drift: b.drift, live: true, inHold: l.phase == liveHold, t0: x.t, t: x.t, lastP: x.p, firstT: math.NaN()}
	room := l.roomPa()
	b.driveRef = max(x.p-l.insidePa(), 0)
	b.step = 0
	if !math.IsNaN(l.stepFrom) {
		b.step = math.Abs(x.p - l.stepFrom)
	}
	b.water0 = 20
	rate, rateSD, waterSD := 0.0, 0.15, 0.0
	if l.v.gas {
		rateSD = 0.3
	} else if l.water.known {
		b.measured = true
		b.water0, rate = l.water.c, l.water.rate
		rateSD, waterSD = math.Sqrt(l.water.rr), math.Sqrt(l.water.cc)
	}
	b.zeroC = b.water0
	if !b.measured && x.ng > 0 {
		b.zeroC = x.gas
	}
	b.gauge = x.p - room
	b.drive = b.driveRef
	for i := range b.k {
		k := &b.k[i]
		k.m, k.p, k.logL, k.chi2, k.dead = vec{}, [kalmanN]vec{}, 0, 0, false
		k.forget(kSettle, 0, unknownMLH)
		k.forget(kHold, 0, unknownMLH)
		k.forget(kStiff, 0, 2*assumed.SheetSD)
		k.forget(kBlank, l.v.blank, l.v.blankSD)
		k.forget(kWall, 0, assumed.WallGrowthSD)
		k.forget(kCreep, 0, assumed.CreepML*max(b.step/1e5, 0.1)*l.v.unitML/1000)
		k.forget(kSlow, 0, assumed.SlowCreep)
		k.forget(kWater, 0, waterSD)
		k.forget(kRate, rate, rateSD)
		k.p[kWater][kRate], k.p[kRate][kWater] = l.water.cr, l.water.cr
		if !b.measured {
			k.p[kWater][kRate], k.p[kRate][kWater] = 0, 0
		}
		k.forget(kRest, 0, 3)
		k.forget(kStray, 0, b.drift.stray)
		k.forget(kWalk, 0, 0)
	}
}

// openPart begins a time in which both valves stay shut.
func (b *bank) openPart(l *Live, x *liveBlock) {
	b.part = true
	b.closeEnds()
	b.partT = l.since
	b.pa0 = x.p
	b.gone = l.gone
	b.v0 = l.v.volume(x.p, b.gone)
	b.heat = 0.3
	for _, p := range [2]float64{l.lowPa, l.highPa} {
		if p > 0 {
			b.heat = max(b.heat, 0.286*300*math.Abs(math.Log(x.p/p)))
		}
	}
	for i := range b.k {
		k := &b.k[i]
		k.forget(kOffset, 0, unknownML)
		k.forget(kWarm, 0, b.heat)
		k.forget(kShape, 0, shapeSD*b.heat)
		k.forget(kBend, 0, shapeSD*shapeSD/2*b.heat)
		k.forget(kMiss, 0, missShare*b.heat+0.02)
	}
}

// freeOffset is called where the pressure has jumped.
func (b *bank) freeOffset() {
	if !b.live {
		return
	}
	for i := range b.k {
		b.k[i].forget(kOffset, 0, unknownML)
	}
}

// add takes a block.
func (b *bank) add(l *Live, x *liveBlock) {
	room := l.roomPa()
	h := (x.t - b.t) / 3600
	drive, gauge := max(x.p-l.insidePa(), 0), x.p-room
	if h > 0 {
		step := h
		if b.driveRef > 1000 {
			step *= (drive + b.drive) / 2 / b.driveRef
		}
		if b.inHold {
			b.holdH += step
			b.holdTime += h
		} else {
			b.settleH += step
			b.settleTime += h
		}
		b.blankH += h * (gauge + b.gauge) / 2
	}
	b.drive, b.gauge = drive, gauge
	b.t = x.t
	b.n++
	if b.inHold {
		b.holdN++
	}
	v := l.v
	ratio := b.pa0 / x.p
	comp := b.v0*ratio/x.p + v.stiff
	gasML := b.v0 * ratio / (b.zeroC + water.ZeroC) // ml/K
	z := b.v0*(ratio-1) - v.stiff*(x.p-b.pa0)
	noise := l.noise.sd() * comp
	r := noise*noise/x.n + 1e-14
	b.pa = x.p
	b.ends(z-v.blank*b.blankH, x.t)
	waterML := -gasML
	if !v.gas {
		waterML += assumed.WallGrowth*v.chamberML - v.waterML*waterExpansion(b.water0, b.water0+0.1)/0.1
	}
	creep := math.Log1p(max(x.t-l.rampEnd, 0) / assumed.CreepS)
	slow := l.creepPa / 1e5 * v.unitML / 1000
	gasVar := math.Pow(max(l.gasN.sd(), 0.003), 2)/max(x.ng, 1) + 1e-6
	waterVar := math.Pow(max(l.waterN.sd(), 1e-3), 2)/max(x.waterN, 1) + 1e-8
	best := math.Inf(-1)
	for i := range b.k {
		k := &b.k[i]
		if k.dead {
			continue
		}
		b.wander(k, h, v.gas)
		if x.waterN > 0 && b.measured {
			k.update(&vec{kWater: 1}, x.waterC-b.water0, waterVar, 4)
		}
		if x.ng > 0 {
			e, s, d := settling(x.gasT-b.partT, k.tau)
			k.update(&vec{kWarm: e, kShape: s, kBend: d, kRest: 1, kWater: 1}, x.gas-b.zeroC, gasVar, 3)
		}
		e, s, d := settling(x.t-b.partT, k.tau)
		hv := vec{kSettle: b.settleH, kHold: b.holdH, kStiff: v.stiff * (x.p - b.pa0), kBlank: b.blankH, kCreep: creep, kSlow: slow,
			kOffset: 1, kWarm: -gasML * e, kShape: -gasML * s, kBend: -gasML * d, kMiss: -gasML * e, kRest: -gasML, kWater: waterML, kStray: comp, kWalk: comp}
		if !v.gas {
			hv[kWall] = v.chamberML * k.m[kWater]
		}
		k.chi2 += k.update(&hv, z, r, 0)
		best = max(best, k.logL)
	}
	if b.n > 12 {
		for i := range b.k {
			if b.k[i].logL < best-14 {
				b.k[i].dead = true
			}
		}
	}
}

// ends follows what has gone from the first block of each part of the hold to the
// last: where a leak changes as no steady conductance does (a unit that fills),
// that is its mean all the same.
func (b *bank) ends(z, t float64) {
	if !b.inHold {
		return
	}
	if math.IsNaN(b.firstT) {
		b.firstZ, b.firstT = z, t
		return
	}
	b.partZ, b.partH = z-b.firstZ, (t-b.firstT)/3600
}

func (b *bank) closeEnds() {
	b.endZ += b.partZ
	b.endH += b.partH
	b.partZ, b.partH, b.firstT = 0, 0, math.NaN()
}

// settling is how far a settling has to go after a time, with its first and
// second derivative by the logarithm of the time constant.
func settling(t, tau float64) (e, s, d float64) {
	u := max(t, 0) / tau
	e = math.Exp(-u)
	return e, u * e, (u*u - u) * e
}

// wander lets the states that change do so for h hours.
func (b *bank) wander(k *kalman, h float64, gas bool) {
	if h <= 0 {
		return
	}
	keep := math.Exp(-h * 3600 / b.drift.tau)
	for j := range kalmanN {
		k.p[kStray][j] *= keep
	}
	for j := range kalmanN {
		k.p[j][kStray] *= keep
	}
	k.m[kStray] *= keep
	k.p[kStray][kStray] += b.drift.stray * b.drift.stray * (1 - keep*keep)
	k.p[kWalk][kWalk] += b.drift.walk * b.drift.walk * h
	k.m[kWater] += k.m[kRate] * h
	for j := range kalmanN {
		k.p[kWater][j] += h * k.p[kRate][j]
	}
	for j := range kalmanN {
		k.p[j][kWater] += h * k.p[j][kRate]
	}
	q := waterWander
	if gas {
		q *= 2
	}
	k.p[kRate][kRate] += q * q * h
	k.p[kRest][kRest] += restWander * restWander * h
}

// leak is the mean leak of the hold so far, or of the settle where the hold has
// yet to say something, in ml/h of what leaves the chamber; window is its length, s.
// Where settle and hold agree they are taken as one steady leak, as offline.
func (b *bank) leak() (q, u, window float64, ok bool) {
	if !b.live || b.n < 5 {
		return 0, 0, 0, false
	}
	top, best := math.Inf(-1), 0
	for i := range b.k {
		if k := &b.k[i]; !k.dead && k.logL > top {
			top, best = k.logL, i
		}
	}
	hold := b.inHold && b.holdN >= 5 && b.holdTime*3600 >= saysAfter
	var mh, vh, md, vd, c, w float64
	var m [14]float64
	var diff [14]float64
	for i := range b.k {
		k := &b.k[i]
		if k.dead {
			continue
		}
		f := math.Exp(k.logL - top)
		w += f
		j := kSettle
		if hold {
			j = kHold
		}
		m[i], diff[i] = k.m[j], k.m[kHold]-k.m[kSettle]
		mh += f * m[i]
		md += f * diff[i]
		vh += f * k.p[j][j]
		vd += f * (k.p[kHold][kHold] + k.p[kSettle][kSettle] - 2*k.p[kHold][kSettle])
		c += f * (k.p[kHold][kHold] - k.p[kHold][kSettle])
	}
	mh, md, vh, vd, c = mh/w, md/w, vh/w, vd/w, c/w
	for i := range b.k {
		if k := &b.k[i]; !k.dead {
			f := math.Exp(k.logL-top) / w
			vh += f * (m[i] - mh) * (m[i] - mh)
			vd += f * (diff[i] - md) * (diff[i] - md)
			if hold {
				c += f * (m[i] - mh) * (diff[i] - md)
			}
		}
	}
	if hold && vd > 0 && md*md < 2.5*2.5*vd {
		mh -= c / vd * md
		vh -= c * c / vd
	}
	if chi := b.k[best].chi2; hold && chi > 3*float64(b.n) && mh > 10*math.Sqrt(max(vh, 0)) && b.endH+b.partH > b.holdTime/20 {
		q = (b.endZ + b.partZ) / (b.endH + b.partH)
		return q, math.Hypot(math.Sqrt(max(vh, 0)), endsShare*math.Abs(q-mh)), b.holdTime * 3600, true
	}
	f, time := 1.0, b.settleTime
	if hold {
		time = b.holdTime
		if time > 0 {
			f = b.holdH / time
		}
	} else if time > 0 {
		f = b.settleH / time
	}
	return mh * f, math.Sqrt(max(vh, 0)) * f, time * 3600, vh > 0
}
