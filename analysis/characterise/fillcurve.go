package characterise

import (
	"fmt"
	"io"
	"math"

	"proofpot/analysis"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

// FillCurve is a fill in steps as its record shows it: how long the fill valve
// stood open at which pressure, and where the pressure came to rest between.
type FillCurve struct {
	pieces []piece
	rests  []rest
}

// piece is a part of an opening of the fill valve.
type piece struct{ S, Pa float64 }

// rest is the pressure at the end of a wait with the valves shut.
type rest struct {
	Pa     float64 // absolute, mean
	pieces int     // of the way before it
}

const (
	restS = 10.0 // s at the end of a wait that its pressure is the mean of
	// What a fill by a valve does not follow: a valve opens and shuts late, the cushion
	// is a little warmer or colder at each rest, some of it dissolves. As shares of the
	// water that came in, standard uncertainties, from the simulated bench.
	scaleOff = 0.01  // of all volumes alike
	bendOff  = 0.003 // of a volume against the others
	// unlikeCurve is the residual, as a share, of points that are on no such curve.
	unlikeCurve = 0.01
)

// exponents are how the flow of water through a needle or a small valve goes with
// the difference of pressure across it: by its root through a sharp edge (ISO
// 5167-1); with a little of the viscous part that narrow ones have (Idelchik,
// Handbook of Hydraulic Resistance, from memory), somewhat steeper.
var exponents = []float64{0.5, 0.525, 0.55}

// supplies are what a supply may truly give, as shares of the gauge pressure that it
// is said to: a good gauge's class.
var supplies = []float64{1, 0.98, 1.02}

// ReadFillCurve reads the steps of a record up to the first ramp that goes down.
// The first rest is the open chamber before it.
func ReadFillCurve(run setup.Run, src analysis.Source) (FillCurve, error) {
	r := curveReader{w: NewFilling(run)}
	var l record.Line
	for {
		err := src.Next(&l)
		if err == io.EOF {
			break
		}
		if err != nil {
			return FillCurve{}, err
		}
		if !r.line(&l) {
			break
		}
	}
	if len(r.c.rests) < leastPoints {
		return r.c, fmt.Errorf("the record has %d rests on the way up, the open chamber among them; want at least %d: a profile of more steps shows the curve", len(r.c.rests), leastPoints)
	}
	return r.c, nil
}

// curveReader takes in the lines of a record.
type curveReader struct {
	w        *Filling // which sensor, and the record's start
	c        FillCurve
	ramp     bool
	target   float64
	open     bool
	from     float64   // s: up to when the opening has been counted
	at, pa   []float64 // of the last restS
	last     float64   // Pa, the newest
	anything bool
}

// line gives false where the way goes down from here.
func (r *curveReader) line(l *record.Line) bool {
	if r.w.startNS == 0 {
		r.w.startNS = l.TimeNS
	}
	t := float64(l.TimeNS-r.w.startNS) / 1e9
	switch {
	case l.Measurement == record.Stage:
		ramp := l.Kind == "ramp"
		if ramp || l.Kind == "vent" {
			r.rested(t)
		}
		if ramp && l.PressurePa < r.target || l.Kind == "vent" {
			return false
		}
		r.ramp, r.target = ramp, max(r.target, l.PressurePa)
	case l.Measurement == record.Chamber && l.Sensor == r.w.chamber && !math.IsNaN(l.PressurePa):
		r.flowed(t, l.PressurePa)
		r.last, r.anything = l.PressurePa, true
		r.at, r.pa = append(r.at, t), append(r.pa, l.PressurePa)
		for r.at[0] < t-restS {
			r.at, r.pa = r.at[1:], r.pa[1:]
		}
	case l.Measurement == record.Valve && l.Valve == "fill" && l.HasOpen:
		r.flowed(t, r.last)
		r.open, r.from = l.Open, t
		if l.Open {
			r.at, r.pa = r.at[:0], r.pa[:0]
		}
	}
	return true
}

// flowed counts an opening up to now.
func (r *curveReader) flowed(t, pa float64) {
	if r.open && r.anything && t > r.from {
		r.c.pieces = append(r.c.pieces, piece{t - r.from, (pa + r.last) / 2})
		r.from = t
	}
}

// rested keeps the pressure at the end of a wait.
func (r *curveReader) rested(t float64) {
	sum, n := 0.0, 0
	for i := range r.pa {
		sum, n = sum+r.pa[i], n+1
	}
	first := len(r.c.rests) == 0 // the open chamber, which is looked at for some seconds
	if n < 3 || !first && r.at[0] > t-restS/2 || r.open {
		return
	}
	r.c.rests = append(r.c.rests, rest{sum / float64(n), len(r.c.pieces)})
}

// Fit finds free gas and stiffness from the pressure-volume curve of a fill with
// water. What came in up to each rest follows from the times of the open valve, the
// supply's pressure (absolute, Pa) and a law of flow; its scale from the water that
// came out when the chamber was let off to the room's pressure, weighed, in ml with
// its standard uncertainty. The first exponent with the supply as stated gives the
// figures; what the others give widens their uncertainty.
func (c FillCurve) Fit(roomPa, supplyPa, weighedML, weighedU float64) (Compliance, error) {
	if !(weighedML > 0) || !(weighedU >= 0) {
		return Compliance{}, fmt.Errorf("%g ml of water is no fill", weighedML)
	}
	top := 0.0
	for _, p := range c.pieces {
		top = max(top, p.Pa)
	}
	var fits []Compliance
	for _, n := range exponents {
		for _, share := range supplies {
			supply := roomPa + share*(supplyPa-roomPa)
			if top >= supply {
				return Compliance{}, fmt.Errorf("the chamber was filled to %.2f bar gauge, and the supply is said to give %.2f", (top-roomPa)/1e5, (supplyPa-roomPa)/1e5)
			}
			fit, err := FitCompliance(c.points(n, supply, weighedML), roomPa)
			if err != nil {
				return Compliance{}, err
			}
			fits = append(fits, fit)
		}
	}
	best := fits[0]
	best.Bent = best.RMSML > unlikeCurve*weighedML
	scale := math.Hypot(weighedU/weighedML, scaleOff)
	best.GasSD = math.Hypot(math.Hypot(best.GasSD, scale*best.GasML), apart(fits, func(f Compliance) float64 { return f.GasML }))
	best.SD = math.Hypot(math.Hypot(best.SD, scale*best.MLPerBar), apart(fits, func(f Compliance) float64 { return f.MLPerBar }))
	best.SD = math.Hypot(best.SD, bendOff*weighedML/(top-roomPa)*1e5)
	return best, nil
}

// points gives each rest its volume, under a law of flow.
func (c FillCurve) points(exponent, supplyPa, weighedML float64) []VolumePoint {
	flowed := make([]float64, len(c.pieces)+1)
	for i, p := range c.pieces {
		flowed[i+1] = flowed[i] + p.S*math.Pow(supplyPa-p.Pa, exponent)
	}
	all := make([]VolumePoint, len(c.rests))
	for i, r := range c.rests {
		all[i] = VolumePoint{Pa: r.Pa, ML: weighedML * flowed[r.pieces] / flowed[c.rests[len(c.rests)-1].pieces]}
	}
	return all
}

// apart is how far several fits lie from the first: all of them count alike, a
// rectangle's standard uncertainty (JCGM 100:2008, 4.3.7).
func apart(fits []Compliance, of func(Compliance) float64) float64 {
	far := 0.0
	for _, f := range fits {
		far = max(far, math.Abs(of(f)-of(fits[0])))
	}
	return far / math.Sqrt(3)
}
