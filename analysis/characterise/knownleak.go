package characterise

import (
	"errors"
	"fmt"
	"math"

	"proofpot/analysis"
	"proofpot/rig/setup"
)

// Recovered is what the analysis made of a leak whose size is known.
type Recovered struct {
	Known, KnownU float64           // ml/h, metered, with its standard uncertainty
	Found         analysis.Interval // ml/h, 95 %
	DepthM        float64
	Yes           bool
	Why           string
}

// Recover compares a metered bleed with what each hold of a record shows. The
// bench is believed where the analysis's 95 % interval of every hold, widened by
// the meter's own, holds the known leak, and is narrow enough to show it at all.
//
// Known gives the leak and its standard uncertainty at a gauge pressure in bar.
func Recover(res *analysis.Result, known func(barGauge float64) (mlPerH, u float64), run setup.Run) ([]Recovered, error) {
	var all []Recovered
	for i := range res.Verdict.Holds {
		h := &res.Verdict.Holds[i]
		if h.LeakMLPerH == nil {
			continue
		}
		r := Recovered{Found: *h.LeakMLPerH, DepthM: h.DepthM}
		r.Known, r.KnownU = known(gaugeOf(run, h))
		if !(r.Known > 0) {
			return nil, fmt.Errorf("a known leak of %g ml/h is none", r.Known)
		}
		half := math.Hypot((r.Found.High-r.Found.Low)/2, coverage95*r.KnownU)
		switch off := math.Abs(r.Found.Estimate - r.Known); {
		case half > r.Known/2:
			r.Why = fmt.Sprintf("the interval is ±%.2g ml/h wide: too wide to show a leak of %.3g", half, r.Known)
		case off > half:
			r.Why = fmt.Sprintf("off by %.2g ml/h, where ±%.2g were claimed", off, half)
		default:
			r.Yes, r.Why = true, fmt.Sprintf("off by %.2g ml/h of ±%.2g claimed", off, half)
		}
		all = append(all, r)
	}
	if len(all) == 0 {
		return nil, errors.New("no hold of the record could be measured")
	}
	return all, nil
}
