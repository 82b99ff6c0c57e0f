package setup

import (
	"math"
	"time"
)

// LeastBlankSD is the least standard uncertainty that is claimed of a bench's own
// leak, ml/h/bar: a bench is not the same tomorrow (common practice, no source).
const LeastBlankSD = 0.005

const (
	// fitBlanks and fitSpreadK: from so many blanks, their means so far apart, the
	// leak is a straight line in the temperature. A line through two is no check of
	// itself, and what a seal's gap and a gas's viscosity do over a few K is less
	// than a blank sees (common practice, no source).
	fitBlanks  = 3
	fitSpreadK = 4.0
)

// BlankFit is a bench's own leak against the temperature of its water.
type BlankFit struct {
	MeanC        float64 // weighted
	MLPerHPerBar float64 // at MeanC
	PerK         float64 // ml/h/bar/K
	SD, SDPerK   float64 // standard uncertainties, not correlated
	LowC, HighC  float64 // of the blanks
	N            int
}

// FitBlanks puts k = k̄ + b (T − T̄) through blanks, weighted by their variance;
// where they scatter more than they say the uncertainties grow by the root of χ² a
// degree of freedom (Birge, Phys. Rev. 40 (1932) 207). Blanks without a
// temperature are left out; ok is false where the rest are too few or too close.
func FitBlanks(blanks []MeasuredBlank) (f BlankFit, ok bool) {
	low, high := math.Inf(1), math.Inf(-1)
	f.LowC, f.HighC = low, high
	var w, wt, wk float64
	each := func(do func(t, k, weight float64)) {
		for i := range blanks {
			if b := &blanks[i]; b.HighC > b.LowC {
				sd := max(b.SDMLPerHPerBar, LeastBlankSD)
				do((b.LowC+b.HighC)/2, b.MLPerHPerBar, 1/(sd*sd))
				f.LowC, f.HighC = min(f.LowC, b.LowC), max(f.HighC, b.HighC)
			}
		}
	}
	each(func(t, k, weight float64) {
		f.N++
		low, high = min(low, t), max(high, t)
		w, wt, wk = w+weight, wt+weight*t, wk+weight*k
	})
	if f.N < fitBlanks || high-low < fitSpreadK {
		return BlankFit{}, false
	}
	f.MeanC, f.MLPerHPerBar = wt/w, wk/w
	var tt, tk float64
	each(func(t, k, weight float64) {
		tt += weight * (t - f.MeanC) * (t - f.MeanC)
		tk += weight * (t - f.MeanC) * (k - f.MLPerHPerBar)
	})
	f.PerK = tk / tt
	chi := 0.0
	each(func(t, k, weight float64) {
		r := k - f.MLPerHPerBar - f.PerK*(t-f.MeanC)
		chi += weight * r * r
	})
	scale := math.Sqrt(max(1, chi/float64(f.N-2)))
	f.SD, f.SDPerK = scale/math.Sqrt(w), scale/math.Sqrt(tt)
	return f, true
}

// At is the leak at a temperature, ml/h/bar and never below nothing, with its
// standard uncertainty.
func (f BlankFit) At(celsius float64) (mlPerHPerBar, sd float64) {
	d := celsius - f.MeanC
	return max(0, f.MLPerHPerBar+f.PerK*d), max(LeastBlankSD, math.Hypot(f.SD, f.SDPerK*d))
}

// Valid gives the blanks that stand at a time, of a bench of these settings.
func (m Measured) Valid(now time.Time, settings string) (all []MeasuredBlank) {
	for _, b := range m.Blanks {
		if !now.After(b.ValidUntil) && (b.Settings == "" || b.Settings == settings) {
			all = append(all, b)
		}
	}
	return all
}
