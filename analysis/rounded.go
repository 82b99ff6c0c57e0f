package analysis

import (
	"math"
	"slices"
	"strconv"
	"time"
)

// digits is how many significant digits verdict.json keeps. Processors differ in
// the last bits (a fused multiply-add rounds once where others round twice: IEEE
// 754-2019, 5.4.1), which the fits carry to the eleventh digit: what is written
// is the same on all of them, and far finer than any uncertainty.
const digits = 7

// Rounded is the verdict as it is written: numbers to 7 significant digits, and
// moments that were fitted to 10 ms.
func (v Verdict) Rounded() Verdict {
	v.ProvedDepthM, v.RatedDepthM = round(v.ProvedDepthM), round(v.RatedDepthM)
	if f := v.FirstFailure; f != nil {
		g := *f
		g.Time, g.TimeLow, g.TimeHigh = moment(f.Time), moment(f.TimeLow), moment(f.TimeHigh)
		g.DepthM, g.DepthLowM, g.DepthHighM, g.LastTightDepthM = round(f.DepthM), round(f.DepthLowM), round(f.DepthHighM), round(f.LastTightDepthM)
		v.FirstFailure = &g
	}
	v.Holds = slices.Clone(v.Holds)
	for i := range v.Holds {
		h := &v.Holds[i]
		h.DepthM = round(h.DepthM)
		h.LeakMLPerH, h.MoistureMGPerH = h.LeakMLPerH.rounded(), h.MoistureMGPerH.rounded()
		if h.DetectionLimitMLPerH != nil {
			x := round(*h.DetectionLimitMLPerH)
			h.DetectionLimitMLPerH = &x
		}
	}
	return v
}

func (i *Interval) rounded() *Interval {
	if i == nil {
		return nil
	}
	return &Interval{roundNear0(i.Estimate, i), roundNear0(i.Low, i), roundNear0(i.High, i)}
}

// roundNear0 rounds a bound by the interval's size: an estimate near nothing is
// the difference of large numbers, and has no more digits than they.
func roundNear0(x float64, i *Interval) float64 {
	size := max(math.Abs(i.Low), math.Abs(i.High))
	if !(size > 0) || math.IsInf(size, 0) {
		return round(x)
	}
	unit := math.Pow(10, math.Ceil(math.Log10(size))-digits)
	return round(math.Round(x/unit) * unit)
}

func round(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return x
	}
	y, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'g', digits, 64), 64) // is a number
	return y
}

func moment(t time.Time) time.Time { return t.Round(10 * time.Millisecond) }
