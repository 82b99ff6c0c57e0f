package main

import (
	"fmt"
	"math"
	"strings"

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
	all, left, err := c.histories(w, c.Variant)
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
	fitted(w, quantity{}, rating.Bound, c.Share/100)
	fmt.Fprintf(w.out, "\nthe least of these, rounded down to whole metres of %s:\n", strings.Join(h.Waters, " and "))
	for _, t := range rating.Terms {
		governs := ""
		if t.Governs {
			governs = "  <- governs"
		}
		fmt.Fprintf(w.out, "  %-36s %6.1f m   %s%s\n", t.Name, t.ValueM, t.Remark, governs)
	}
	if c.TemperatureM == 0 {
		fmt.Fprintf(w.out, "  %-36s      –     not given; the tests claim water of %s, warmer water softens printed and cast parts\n", "limit by temperature", degrees(h.WaterLowC, h.WaterHighC))
	}
	besides(w, rating, c.Confidence, c.Slope)
	if n := len(h.Observations); n == 1 {
		oneUnit(w, h)
	}
	switch {
	case c.Mode != "":
		rating.Design, rating.Why = false, "failures by "+c.Mode+" alone do not rate a unit that may fail in other ways"
	case c.Closure == "each":
		rating.Design, rating.Why = false, "closures of one unit are not independent units; leave out --closure"
	case c.Depths != "held":
		rating.Design, rating.Why = false, "where a failure begins under a ramp is not what holds; leave out --depths"
	case left+h.NotIntact > 0:
		rating.Design, rating.Why = false, counted(left+h.NotIntact, "record")+" could not be counted, and may hide a failure"
	case len(h.Waters) > 1:
		rating.Design, rating.Why = false, "the depths are meant in "+strings.Join(h.Waters, " and ")+", and a metre of one is not a metre of the other"
	case h.MixedHolds():
		rating.Design, rating.Why = false, fmt.Sprintf("the holds that decided last from %.0f to %.0f s and do not make one rating", h.HoldLowS, h.HoldHighS)
	}
	if !rating.Design {
		fmt.Fprintf(w.out, "NO DESIGN RATING: %s. Each unit may go as deep as its own certificate says.\n", rating.Why)
		return answer(exitNo)
	}
	fmt.Fprintf(w.out, "DESIGN RATING: %.0f m of %s\n", rating.DepthM, h.Waters[0])
	fmt.Fprintln(w.out, "It guides the design. Every unit still needs its own proof before it dives, and again once it has been opened.")
	return nil
}

// besides writes what the units show at the rated depth, and tolerance bounds: for
// comparison, they rate nothing.
func besides(w *world, r statistics.Rating, confidence, slope float64) {
	fmt.Fprintln(w.out, "beside the rule, for comparison:")
	if e := r.Evidence; e.Of > 0 {
		fmt.Fprintf(w.out, "  %d of %s tested so far held %.0f m: by their number alone at least %s of all such units do (%g %% confidence)\n",
			e.Held, counted(e.Of, "unit"), e.DepthM, atLeast(e.Plain), confidence)
		fmt.Fprintf(w.out, "  with the credit of the proof's margin at least %s: held to %s times that depth, Weibull slope %g ASSUMED, not measured\n",
			atLeast(e.Credited), span(e.MarginLow, e.MarginTop), slope)
	}
	for _, t := range r.Tolerances {
		how := t.Bound.Method
		if t.Bound.Fit == nil {
			if t.Family != statistics.Weibull {
				continue // the same, whatever the family
			}
			how = fmt.Sprintf("%s, Weibull slope %g ASSUMED", how, t.Bound.Slope)
		} else {
			how += ", " + t.Family.String()
		}
		fmt.Fprintf(w.out, "  tolerance bound: %2.0f %% of units at %2.0f %% confidence are tight to %5.1f m   %s\n", 100*t.Share, 100*t.Confidence, t.Bound.ValueM, how)
	}
}

// atLeast writes a share in percent, rounded down.
func atLeast(share float64) string {
	if share < 0.99 {
		return fmt.Sprintf("%.0f %%", math.Floor(100*share+1e-9))
	}
	return fmt.Sprintf("%.1f %%", min(99.9, math.Floor(1000*share+1e-9)/10))
}

// span writes two figures, or one where they look the same.
func span(low, high float64) string {
	a, b := fmt.Sprintf("%.2f", low), fmt.Sprintf("%.2f", high)
	if a == b {
		return a
	}
	return a + " to " + b
}

func degrees(low, high float64) string {
	if high-low < 0.5 {
		return fmt.Sprintf("%.0f °C", low)
	}
	return fmt.Sprintf("%.0f to %.0f °C", low, high)
}

// oneUnit says what a single unit is and is not evidence of.
func oneUnit(w *world, h statistics.History) {
	if statistics.Failures(h.Observations) > 0 {
		fmt.Fprint(w.out, "One unit, and it failed: that is evidence of what this one stood as it was closed. It says nothing about how far such\n"+
			"units scatter, and the next may fail sooner: what stands above rests on the assumed slope.")
	} else {
		fmt.Fprintf(w.out, "One unit: its test is evidence about this unit as it was closed. It is none about the next one: after one pass,\n"+
			"at 90 %% confidence no more than %.0f %% of such units need pass (50 %% at 50 %% confidence).", 100*statistics.SuccessRun(1, 0.9))
	}
	fmt.Fprint(w.out, " Test two more for a first\ncomparison of variants, five for a design rating, or every unit that you build.\n")
}

// fitted writes the fit behind a bound.
func fitted(w *world, q quantity, b statistics.Bound, share float64) {
	fit := b.Fit
	if fit == nil {
		return
	}
	l := fit.QuantileLimits(0.5, 0.95)
	s := fit.ScaleLimits(0.95)
	fmt.Fprintf(w.out, "%s: median %s (95 %%: %s)", fit.Family, q.amount(fit.Quantile(0.5)), q.limits(l))
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
	fmt.Fprintf(w.out, ", B%g %s by estimate\n", 100*share, q.amount(fit.Quantile(share)))
	fmt.Fprintf(w.out, "with %s the estimate looks steadier and better than it is: only the lower bound counts\n", counted(fit.Failed, "failure"))
}
