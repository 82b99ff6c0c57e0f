package main

import (
	"fmt"

	"proofpot/analysis/statistics"
)

type ratingCmd struct {
	population
	Variant      string  `arg:"" help:"The variant, as the units' files name it."`
	Share        float64 `help:"Share of units in percent that may fail by the depth." default:"10"`
	Confidence   float64 `help:"Confidence of the lower bound in percent." default:"90"`
	Slope        float64 `help:"Weibull slope ASSUMED where the scatter cannot be estimated: 8 is a scatter of 15 %%, 6 of 20 %%, 4 of 28 %%." default:"6"`
	TemperatureM float64 `name:"temperature-limit" help:"Depth in m that the material allows at the warmest water, from its data sheet." placeholder:"M"`
}

// Run says how deep a way of building may be used, with every term of the rule.
func (c *ratingCmd) Run(w *world) error {
	if !(c.Share >= 1 && c.Share <= 50 && c.Confidence >= 50 && c.Confidence < 99.9 && c.Slope > 0 && c.Slope <= 50 && c.TemperatureM >= 0) {
		return fmt.Errorf("--share is 1 to 50 %%, --confidence 50 to 99 %%, --slope above 0 and at most 50, --temperature-limit in m")
	}
	all, left, err := c.histories(w)
	if err != nil {
		return err
	}
	picked, err := named(all, []string{c.Variant})
	if err != nil {
		return err
	}
	h := picked[0]
	tellUnits(w, h)
	if len(h.Observations) == 0 {
		fmt.Fprintln(w.out, "no unit says anything: no rating")
		return answer(exitNo)
	}
	rating, err := statistics.Rate(h.Observations, statistics.Rule{
		Family: c.family(), Share: c.Share / 100, Confidence: c.Confidence / 100, Slope: c.Slope,
		ProofFactor: max(1, h.ProofFactor), BenchLimitM: h.BenchLimitM, TemperatureM: c.TemperatureM})
	if err != nil {
		return err
	}
	fitted(w, rating.Bound, c.Share/100)
	fmt.Fprintln(w.out, "\nthe least of these, rounded down to whole metres:")
	for _, t := range rating.Terms {
		fmt.Fprintf(w.out, "  %-36s %6.1f m   %s\n", t.Name, t.ValueM, t.Remark)
	}
	if c.TemperatureM == 0 {
		fmt.Fprintf(w.out, "  %-36s      –     not given; the tests claim water of %.0f to %.0f °C, warmer water softens printed and cast parts\n", "limit by temperature", h.WaterLowC, h.WaterHighC)
	}
	if n := len(h.Observations); n == 1 {
		oneUnit(w)
	}
	switch {
	case c.Mode != "":
		rating.Design, rating.Why = false, "failures by "+c.Mode+" alone do not rate a unit that may fail in other ways"
	case c.Closure == "each":
		rating.Design, rating.Why = false, "closures of one unit are not independent units; leave out --closure"
	case c.Depths != "held":
		rating.Design, rating.Why = false, "where a failure begins under a ramp is not what holds; leave out --depths"
	case left+h.NotIntact > 0:
		rating.Design, rating.Why = false, fmt.Sprintf("%d records could not be counted, and may hide a failure", left+h.NotIntact)
	case h.MixedHolds():
		rating.Design, rating.Why = false, fmt.Sprintf("the holds that decided last from %.0f to %.0f s and do not make one rating", h.HoldLowS, h.HoldHighS)
	}
	if !rating.Design {
		fmt.Fprintf(w.out, "NO DESIGN RATING: %s. Each unit may go as deep as its own certificate says.\n", rating.Why)
		return answer(exitNo)
	}
	fmt.Fprintf(w.out, "DESIGN RATING: %.0f m\n", rating.DepthM)
	fmt.Fprintln(w.out, "It guides the design. Every unit still needs its own proof before it dives, and again once it has been opened.")
	return nil
}

// oneUnit says what a single unit is and is not evidence of.
func oneUnit(w *world) {
	fmt.Fprintf(w.out, "One unit: its test is evidence about this unit as it was closed. It is none about the next one: after one pass,\n"+
		"at 90 %% confidence no more than %.0f %% of such units need pass (50 %% at 50 %% confidence). Test two more for a first\n"+
		"comparison of variants, five for a design rating, or every unit that you build.\n", 100*statistics.SuccessRun(1, 0.9))
}

// fitted writes the fit behind a bound.
func fitted(w *world, b statistics.Bound, share float64) {
	fit := b.Fit
	if fit == nil {
		return
	}
	l := fit.QuantileLimits(0.5, 0.95)
	s := fit.ScaleLimits(0.95)
	fmt.Fprintf(w.out, "%s: median %.1f m (95 %%: %.1f to %.1f m)", fit.Family, fit.Quantile(0.5), l.Low, l.High)
	if fit.Family == statistics.Weibull {
		fmt.Fprintf(w.out, ", slope %.1f (95 %%: %.1f to %.1f)", fit.Shape(), 1/s.High, 1/s.Low)
		if ross := fit.RossShape(); fit.Failed >= 3 {
			fmt.Fprintf(w.out, ", %.1f less its small-sample bias", ross)
			if !fit.Complete {
				fmt.Fprint(w.out, " (roughly: not all failed)")
			}
		}
	} else {
		fmt.Fprintf(w.out, ", scatter %.0f %% (95 %%: %.0f to %.0f %%)", 100*fit.Scale, 100*s.Low, 100*s.High)
	}
	fmt.Fprintf(w.out, ", B%g %.1f m by estimate\n", 100*share, fit.Quantile(share))
	fmt.Fprintf(w.out, "with %d failures the estimate looks steadier and deeper than it is: only the lower bound counts\n", fit.Failed)
}
