package analysis

import (
	"fmt"
	"math"
	"slices"

	"proofpot/rig/setup"
	"proofpot/sensors"
	"proofpot/sensors/calibration"
	"proofpot/sensors/scale"
)

// zeroCheck is what the chamber's transducer showed at open vent, Pa above the
// room's pressure, before the run and after it. NaN where it was not seen: the
// record begins under way, or ends before the pressure has come to rest.
type zeroCheck struct {
	before, after float64
	drift         float64 // after less before
	allowed       float64 // Pa: the sensor's class, and the weather where no barometer is read
	sd            float64 // Pa, what the drift adds to the uncertainty; 0 within what is allowed
}

const (
	zeroS      = 10.0 // s of readings at open vent
	zeroLeast  = 6    // readings
	zeroAwayPa = 5e3  // common practice: beyond it the vent is not open
	// weatherPaPerH is what a front moves the barometer by, common practice, no
	// source.
	weatherPaPerH = 100.0
)

// checkZero compares the readings at open vent before and after the run.
func (a *analysis) checkZero() zeroCheck {
	z := zeroCheck{before: math.NaN(), after: math.NaN(), drift: math.NaN(), allowed: a.classPa()}
	if len(a.x.spans) == 0 {
		return z
	}
	last := a.x.spans[len(a.x.spans)-1]
	z.before, _ = a.atVent(math.Inf(-1), a.x.spans[0].start)
	if last.kind == "vent" {
		z.after, _ = a.atVent(last.start, math.Inf(1))
	}
	z.drift = z.after - z.before
	if !a.gaugeZero() && a.x.roomPa.empty() {
		z.allowed += weatherPaPerH * a.x.endS / 3600
	}
	if math.Abs(z.drift) > z.allowed {
		z.sd = math.Abs(z.drift) / math.Sqrt(3)
	}
	return z
}

// gaugeZero says whether the transducer's zero shows by itself, since it reads
// against the room and no barometer turns it into an absolute pressure.
func (a *analysis) gaugeZero() bool {
	s := a.chamberSheet()
	return s != nil && a.x.roomPa.empty() && slices.ContainsFunc(s.Fields, func(f setup.Field) bool {
		return f.Reference == scale.Gauge && (f.Measures == "" || f.Measures == sensors.ChamberPressure.String())
	})
}

// atVent is the mean of the last readings between two times above the room's
// pressure, Pa, where they are at rest near it.
func (a *analysis) atVent(from, to float64) (pa float64, ok bool) {
	lo, hi := between(a.s.t, from, to)
	if hi > lo {
		lo = max(lo, func() int { i, _ := between(a.s.t, a.s.t[hi-1]-zeroS, to); return i }())
	}
	var halves [2]float64
	var n [2]int
	for i := lo; i < hi; i++ {
		if a.s.spike[i] {
			continue
		}
		h := 0
		if 2*(i-lo) >= hi-lo {
			h = 1
		}
		halves[h] += a.s.p[i]
		n[h]++
	}
	if n[0]+n[1] < zeroLeast || n[0] == 0 || n[1] == 0 {
		return math.NaN(), false
	}
	all := (halves[0] + halves[1]) / float64(n[0]+n[1])
	noise := a.s.noise
	if math.IsNaN(noise) {
		noise = 0
	}
	moved := math.Abs(halves[0]/float64(n[0]) - halves[1]/float64(n[1]))
	room := a.roomAt(a.s.t[hi-1])
	if moved > 20+4*noise/math.Sqrt(float64(min(n[0], n[1]))) || math.Abs(all-room) > zeroAwayPa+a.classPa() {
		return math.NaN(), false
	}
	return all - room, true
}

// roomAt is the room's pressure at a time: the barometer's reading next to it, or
// the one for the whole run.
func (a *analysis) roomAt(t float64) float64 {
	r := &a.x.roomPa
	if r.empty() {
		return a.v.roomPa
	}
	i, _ := slices.BinarySearch(r.t, t)
	return float64(r.v[min(i, len(r.v)-1)])
}

// chamberSheet is what the sheet says of the sensor that the chamber's pressure
// is taken from; nil where it says nothing.
func (a *analysis) chamberSheet() *setup.Sensor {
	for i := range a.run.Bench.Sensors {
		if s := &a.run.Bench.Sensors[i]; s.Measures == sensors.ChamberPressure.String() && (len(a.x.chambers) == 0 || s.ID == a.x.chambers[0].sensor) {
			return s
		}
	}
	return nil
}

// classPa is the largest error of the chamber's transducer, Pa: the sheet's.
func (a *analysis) classPa() float64 {
	for _, s := range a.run.Bench.Sensors {
		if s.Measures == sensors.ChamberPressure.String() && s.AccuracyPa > 0 {
			return s.AccuracyPa
		}
	}
	return 300
}

// classSD is that as a rectangular distribution (JCGM 100:2008, 4.3.7).
func (a *analysis) classSD() float64 { return a.classPa() / math.Sqrt(3) }

// zeroSD is the uncertainty of the chamber's pressure against the pressure at
// which the unit was closed: that of the calibration where one holds, else the
// class, and what the zero has drifted by where that is more than the class.
func (a *analysis) zeroSD() float64 {
	u := a.classSD()
	if s := a.chamberSheet(); s != nil && s.Calibration != nil && len(s.Calibration.Doubts(a.x.at(0))) == 0 {
		if c := s.Calibration.Budget.CombinedPa; c > 0 {
			u = c
		}
	}
	return math.Hypot(u, a.zero.sd)
}

// driftMLPerH is what a drift of the zero beyond what is allowed may have added
// to the leak of a stage or taken from it, as a standard uncertainty.
func (a *analysis) driftMLPerH(st *stage) float64 {
	if a.zero.sd == 0 || a.x.endS <= 0 {
		return 0
	}
	d := st.dwell()
	return a.zero.sd * a.compliance((d.start+d.end)/2) / a.x.endS * 3600
}

// zeroText says what the zero did, where that is more than it may.
func (a *analysis) zeroText() []string {
	if a.zero.sd == 0 {
		return nil
	}
	return []string{fmt.Sprintf("the transducer's zero at open vent moved by %+.0f Pa from before the run (%+.0f Pa) to after it (%+.0f Pa), and %.0f Pa is what it may: every bound is wider by that; have it calibrated",
		a.zero.drift, a.zero.before, a.zero.after, a.zero.allowed)}
}

// beyondMargin of the span, and beyondPa: readings so far outside the points of a
// calibration still count as inside it (common practice, no source).
const (
	beyondMargin = 0.05
	beyondPa     = 3e3
)

// beyond are the doubts about holds at pressures that a calibration's points do
// not reach: where its correction has a slope, that is only a guess there. A
// constant one goes with the sensor's class, which holds over its whole range.
func (a *analysis) beyond() []string {
	var list []string
	for _, s := range a.run.Bench.Sensors {
		c := s.Calibration
		if c == nil || len(c.CorrectionPa) < 2 {
			continue
		}
		low, high := math.Inf(1), math.Inf(-1)
		see := func(pa float64) {
			if !math.IsNaN(pa) {
				low, high = min(low, pa), max(high, pa)
			}
		}
		for _, st := range a.stages {
			if !st.hold.real() {
				continue
			}
			if len(a.x.chambers) > 0 && s.ID == a.x.chambers[0].sensor {
				see(st.meanPa)
			} else if s.Measures == sensors.UnitPressure.String() && a.in != nil && a.in.pa != nil {
				see(a.in.pressureAt(st.hold.start))
				see(a.in.pressureAt(st.hold.end))
			}
		}
		if text := outside(c, low, high); text != "" {
			list = append(list, text)
		}
	}
	return list
}

func outside(c *calibration.Calibration, low, high float64) string {
	margin := beyondPa + beyondMargin*(c.HighPa-c.LowPa)
	if !(low < c.LowPa-margin || high > c.HighPa+margin) {
		return ""
	}
	return fmt.Sprintf("sensor %s was calibrated from %.3g to %.3g bar absolute and read %.3g to %.3g in the holds: beyond its points a correction with a slope is a guess; take points up to there, or one of degree 0",
		c.Sensor, c.LowPa/1e5, c.HighPa/1e5, low/1e5, high/1e5)
}
