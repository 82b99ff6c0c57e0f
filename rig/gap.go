package rig

import (
	"fmt"
	"math"
	"time"

	"proofpot/profiles/water"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// GapOutcome says what became of the chamber's pressure while nobody looked.
type GapOutcome uint8

// The outcomes. What is not known to have been held was not.
const (
	GapUnknown GapOutcome = iota
	GapHeld               // it is what temperature and what went before let expect
	GapLost               // it is gone
)

var gapWords = [...]string{"unknown", "held", "lost"}

// String gives the word that the record uses.
func (g GapOutcome) String() string { return gapWords[g] }

// GapSide is the chamber on one side of a gap.
type GapSide struct {
	Pa      float64 // absolute, mean
	U       float64 // standard uncertainty of the mean, Pa
	GasC    float64 // °C; NaN where there is no thermometer
	WaterC  float64 // °C; NaN where there is no thermometer
	RatePaS float64 // Pa/s before the gap, with the valves shut; 0: not known
}

// Gap is a time in which the run was cut off.
type Gap struct {
	Before, After GapSide
	Length        time.Duration
	ClockTrusted  bool   // Length may be believed
	VentOpened    bool   // the vent is known to have opened (it rests open and its driver let go)
	Clock         string // what was found about the clock, for the text
}

// How far temperature may have moved without being seen. A thermometer's lag
// and its place cost some tenths; a room without one swings by 2 K in a night
// (common practice, no source).
const (
	gapSeenK   = 0.2
	gapUnseenK = 2.0
	// gapLostShare of the gauge pressure or less: it is gone.
	gapLostShare = 0.1
	gapLostPa    = 3e3
	// gapTrendShare of the gauge pressure is the most that a trend may excuse:
	// creep and what the water takes up; more would be a leak that is forgiven.
	gapTrendShare = 0.02
	// gapDoubtShare of the gauge pressure: a gap that could hide more is not judged.
	gapDoubtShare = 0.15
	// gapSigmas between what is found and what is expected are held to be chance.
	gapSigmas = 3
)

// JudgeGap says whether the pressure was held. It compares what is found with
// what is expected: the pressure before, its trend, and the temperatures of gas
// and water on both sides, through the chamber's compliance C, in m³/Pa:
//
//	dP = (Vg ΔTg/Tg + β Vw ΔTw + q Δt) / C,  C = Vg/P + stiffness
//
// with the ideal gas law for the cushion (good to 1 % below 50 bar), β from the
// density of fresh water (IAPWS R6-95's Gibbs form, see profiles/water), and q a loss at the limit of
// acceptance. Held is what lies within three standard uncertainties and that
// loss. Limits: the walls' own expansion is not counted (35 to 200e-6/K of the
// volume: it lies within the thermometers' doubt for pots of some litres); a
// gap of less than the truth, by a clock that was set back, is never held; a
// chamber that was vented and filled again by hand to the same pressure would
// count as held.
func JudgeGap(run setup.Run, roomPa float64, g Gap) (GapOutcome, string) {
	before, after := g.Before, g.After
	if g.VentOpened || after.Pa-roomPa < max(gapLostShare*(before.Pa-roomPa), gapLostPa) && before.Pa-roomPa > gapLostPa {
		return GapLost, fmt.Sprintf("lost: %.0f Pa absolute before, %.0f after %s%s", before.Pa, after.Pa, length(g), g.Clock)
	}
	want, u, seen := expected(run, roomPa, g)
	const fmtText = "%s: %.0f Pa absolute before, %.0f after %s; %.0f ± %.0f were to be expected%s%s"
	how := ""
	if !seen {
		how = fmt.Sprintf(" (no thermometer in the chamber: %g K assumed)", gapUnseenK)
	}
	outcome := GapUnknown
	if g.ClockTrusted && gapSigmas*u <= gapDoubtShare*(before.Pa-roomPa) && math.Abs(after.Pa-want) <= gapSigmas*u {
		outcome = GapHeld
	}
	return outcome, fmt.Sprintf(fmtText, outcome, before.Pa, after.Pa, length(g), want, gapSigmas*u, how, g.Clock)
}

func length(g Gap) string {
	if !g.ClockTrusted {
		return "a time that is not known"
	}
	return g.Length.Round(time.Second).String()
}

// expected is the pressure after the gap, Pa absolute, with its standard
// uncertainty.
func expected(run setup.Run, roomPa float64, g Gap) (pa, u float64, seen bool) {
	b := run.Bench
	p := g.Before.Pa
	waterM3, gasM3 := 0.0, (b.ChamberVolumeML-run.Unit.OuterVolumeML)*1e-6
	if b.Medium == setup.MediumWater {
		waterM3 = max(0, b.ChamberVolumeML-b.GasCushionML-run.Unit.OuterVolumeML) * 1e-6
		gasM3 = b.GasCushionML * 1e-6
		if b.Supply == setup.SupplyWater {
			gasM3 *= roomPa / p // squeezed by what was pumped in
		}
	}
	compliance := gasM3/p + b.StiffnessMLPerBar*1e-11 // ml/bar into m³/Pa
	gasK, gasDoubt, gasSeen := warming(g.Before.GasC, g.After.GasC)
	waterK, waterDoubt, waterSeen := warming(g.Before.WaterC, g.After.WaterC)
	if !gasSeen && waterSeen {
		gasK, gasDoubt, gasSeen = waterK, waterDoubt, true
	}
	celsius := 15.0
	if !math.IsNaN(g.Before.WaterC) {
		celsius = g.Before.WaterC
	}
	isotherm := water.FreshIsotherm(celsius)
	beta := isotherm.Expansivity(p)
	perGasK := gasM3 / (273.15 + celsius) / compliance // Pa/K
	perWaterK := beta * waterM3 / compliance
	seconds := g.Length.Seconds()
	loss := run.Profile.Accept.LeakMLPerH * 1e-6 / 3600 * seconds / compliance
	most := gapTrendShare * math.Abs(p-roomPa)
	trend := min(max(g.Before.RatePaS*seconds, -most), most)
	pa = p + perGasK*gasK + perWaterK*waterK + trend
	// A trend dies away or goes on: it counts in half, and half of it is doubt.
	pa -= trend / 2
	for _, x := range []float64{g.Before.U, g.After.U, perGasK * gasDoubt, perWaterK * waterDoubt, trend / 2, loss / gapSigmas} {
		u = math.Hypot(u, x)
	}
	return pa, u, gasSeen && (waterSeen || waterM3 == 0)
}

// warming is how much warmer it is after a gap, with its standard uncertainty.
func warming(before, after float64) (k, u float64, seen bool) {
	if math.IsNaN(before) || math.IsNaN(after) {
		return 0, gapUnseenK, false
	}
	return after - before, gapSeenK, true
}

// Side gathers what the sensors say on one side of a gap: of the last minutes
// before it, of the first seconds after it.
type Side struct {
	n, t, p, tt, tp float64 // sums of time and pressure about the first reading
	t0, p0, last    float64
	square          float64
	gasC, waterC    mean
}

// See takes in a reading; chamber is the sensor that the sequencer goes by.
func (s *Side) See(r *sensors.Reading, chamber string) {
	if r.Status != sensors.OK {
		return
	}
	switch {
	case r.Quantity == sensors.ChamberGas:
		s.gasC.add(r.Value)
	case r.Quantity == sensors.ChamberWater:
		s.waterC.add(r.Value)
	case r.Quantity == sensors.ChamberPressure && r.Sensor == chamber:
		at := r.At.Seconds()
		if s.n == 0 {
			s.t0, s.p0 = at, r.Value
		}
		t, p := at-s.t0, r.Value-s.p0
		s.n++
		s.t += t
		s.p += p
		s.tt += t * t
		s.tp += t * p
		s.square += p * p
		s.last = r.Value
	}
}

// Last is the newest chamber pressure, Pa absolute; 0 where there was none.
func (s *Side) Last() float64 { return s.last }

// Known says whether there was any chamber pressure.
func (s *Side) Known() bool { return s.n > 0 }

// Ends gives the side as a gap needs it: a straight line through the readings,
// taken at their end, where there are enough of them, else their mean.
func (s *Side) Ends() GapSide {
	g := GapSide{GasC: math.NaN(), WaterC: math.NaN()}
	if s.gasC.n > 0 {
		g.GasC = s.gasC.value()
	}
	if s.waterC.n > 0 {
		g.WaterC = s.waterC.value()
	}
	if s.n == 0 {
		return g
	}
	mean := s.p / s.n
	g.Pa = s.p0 + mean
	sd := math.Sqrt(max(0, s.square/s.n-mean*mean))
	g.U = sd / math.Sqrt(s.n)
	const enough, long = 60, 60 // readings, s
	d := s.n*s.tt - s.t*s.t
	spread := math.Sqrt(max(0, s.tt/s.n-s.t*s.t/s.n/s.n)) * math.Sqrt(12)
	if s.n < enough || spread < long || d <= 0 {
		return g
	}
	g.RatePaS = (s.n*s.tp - s.t*s.p) / d
	g.Pa += g.RatePaS * spread / 2
	g.U *= 2 // of a line's end, against its middle
	return g
}
