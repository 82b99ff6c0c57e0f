package characterise

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"proofpot/analysis"
	"proofpot/profiles"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// BlankHold is what one hold of a blank run lost.
type BlankHold struct {
	BarGauge float64 // mean
	MLPerH   float64 // gas volume at chamber pressure
	U        float64 // standard uncertainty
}

// Blank is a bench's own leak.
type Blank struct {
	MLPerHPerBar float64 // gas volume at chamber pressure, an hour, a bar gauge
	SD           float64 // standard uncertainty of it
	Holds        []BlankHold
	ChiSquare    float64 // of the straight line through nothing, a degree of freedom; 0 with one hold
	LowBar       float64 // gauge, of the holds
	HighBar      float64
	LowC, HighC  float64 // of the chamber's water, or its gas; NaN without a thermometer
	At           time.Time
}

// coverage95 is what the analysis widens a standard uncertainty by.
const coverage95 = 2.09

// FitBlank analyses the record of a run without a unit, with a bench that leaks
// nothing on its sheet, so that the analysis's own model of temperature, creep
// and dissolving gas leaves the bench's loss, and puts a straight line through
// nothing and the holds: q = k p, weighted by their variance. Where they scatter
// more than they say the uncertainty grows by the root of χ² a degree of freedom
// (Birge, Phys. Rev. 40 (1932) 207).
func FitBlank(run setup.Run, name string, src analysis.Source) (Blank, error) {
	res, err := analysis.Analyse(Nowhere(run, false), name, src)
	if err != nil {
		return Blank{}, err
	}
	b := Blank{LowBar: math.Inf(1), HighBar: math.Inf(-1), LowC: math.NaN(), HighC: math.NaN()}
	if !res.Verdict.Integrity.Intact {
		return b, errors.New("the blank's record is not intact: a bench is not characterised by it")
	}
	for i := range res.Verdict.Holds {
		h := &res.Verdict.Holds[i]
		if h.LeakMLPerH == nil {
			continue
		}
		bar := gaugeOf(run, h)
		if !(bar > 0) {
			continue
		}
		b.Holds = append(b.Holds, BlankHold{bar, h.LeakMLPerH.Estimate, (h.LeakMLPerH.High - h.LeakMLPerH.Low) / 2 / coverage95})
		b.LowBar, b.HighBar = min(b.LowBar, bar), max(b.HighBar, bar)
		b.At = h.End
	}
	if len(b.Holds) == 0 {
		return b, errors.New("no hold of the blank run could be measured")
	}
	b.LowC, b.HighC = span(res.Conditions)
	b.line()
	return b, nil
}

// Nowhere is the sheet of a run without a unit, as the analysis needs it: what
// the bench loses goes into a void that stands for the outside. The bench's own
// leak counts as nothing, or, where keep is true, as its sheet says.
func Nowhere(run setup.Run, keep bool) setup.Run {
	if !keep {
		run.Bench.BlankLeakMLPerHPerBar, run.Bench.BlankLeakSDMLPerHPerBar = 0, noBlankSD
	}
	run.Unit.FreeVolumeML = nowhereML
	return run
}

const (
	// noBlankSD, ml/h/bar, counts as given, and leaves all of the loss to the hold.
	noBlankSD = 1e-4
	// nowhereML is where the analysis lets the bench's loss go to: small beside the
	// chamber, and large beside what a bench loses in an hour.
	nowhereML = 50
)

// line fits q = k p.
func (b *Blank) line() {
	var pp, pq float64
	for _, h := range b.Holds {
		w := 1 / (h.U * h.U)
		pp += w * h.BarGauge * h.BarGauge
		pq += w * h.BarGauge * h.MLPerH
	}
	b.MLPerHPerBar, b.SD = pq/pp, math.Sqrt(1/pp)
	if n := len(b.Holds) - 1; n > 0 {
		chi := 0.0
		for _, h := range b.Holds {
			r := (h.MLPerH - b.MLPerHPerBar*h.BarGauge) / h.U
			chi += r * r
		}
		b.ChiSquare = chi / float64(n)
		b.SD *= max(1, math.Sqrt(b.ChiSquare))
	}
	b.SD = max(b.SD, setup.LeastBlankSD)
}

// gaugeOf is the gauge pressure of a hold by its stage's depth, bar.
func gaugeOf(run setup.Run, h *analysis.Hold) float64 {
	column, err := profiles.NewColumn(run.Profile.Water)
	if err != nil {
		return math.NaN()
	}
	seal := run.Unit.SealedPa
	if seal == 0 {
		seal = run.Bench.RoomPa
	}
	return (column.GaugePa(h.DepthM) + seal - run.Bench.RoomPa) / 1e5
}

// span is the range of the water's temperature in a run, or of its gas.
func span(c analysis.Conditions) (low, high float64) {
	if !math.IsNaN(c.WaterMinC) {
		return c.WaterMinC, c.WaterMaxC
	}
	return c.GasMinC, c.GasMaxC
}

// String says the figure as a person reads it.
func (b Blank) String() string {
	return fmt.Sprintf("%.3g ± %.2g ml/h/bar from %d holds, %.1f to %.1f bar gauge, %.1f to %.1f °C",
		b.MLPerHPerBar, coverage95*b.SD, len(b.Holds), b.LowBar, b.HighBar, b.LowC, b.HighC)
}

// WithoutUnit is a bench as it is when no unit is in it: the sensors in or on the
// unit are left out.
func WithoutUnit(b setup.Bench) setup.Bench {
	b.Sensors = slices.DeleteFunc(slices.Clone(b.Sensors), func(s setup.Sensor) bool {
		q, _ := sensors.QuantityNamed(s.Measures)
		switch q {
		case sensors.UnitPressure, sensors.UnitTemperature, sensors.UnitHumidity, sensors.ProbeWet, sensors.ProbeLevel:
			return s.Measures != ""
		}
		return false
	})
	return b
}
