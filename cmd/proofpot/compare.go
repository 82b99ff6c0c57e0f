package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"proofpot/analysis/statistics"
)

type compareCmd struct {
	population
	Variants []string `arg:"" optional:"" name:"variant" help:"Variants, the first being what the others are compared with; without any, all in the folder." placeholder:"VARIANT"`
	CyclesTo float64  `name:"cycles-to" help:"Compare by how many cycles to this depth, m, the units in the register stood before they leaked, instead of by depth; a unit that did not leak is a run-out." placeholder:"M"`
	Slope    float64  `help:"Weibull slope ASSUMED where the scatter cannot be estimated; without it 6 for depths, 2 for cycles." placeholder:"B"`
	Pictures string   `help:"Write the pictures as SVG into this folder." placeholder:"DIR"`
}

// Run compares variants by the depths at which their units first failed.
func (c *compareCmd) Run(w *world) error {
	q := quantity{cyclesToM: c.CyclesTo}
	if c.Slope == 0 {
		c.Slope = q.slope()
	}
	if !(c.Slope > 0 && c.Slope <= 50) {
		return fmt.Errorf("--slope %g: want above 0 and at most 50", c.Slope)
	}
	var all []statistics.History
	var err error
	if c.CyclesTo != 0 {
		all, err = c.cycles()
	} else {
		all, _, err = c.histories(w, "")
	}
	if err != nil {
		return err
	}
	picked, err := named(all, c.Variants)
	if err != nil {
		return err
	}
	if len(picked) == 0 {
		return fmt.Errorf("no record with a verdict in %s", c.Records)
	}
	if c.Pictures != "" {
		if err := c.draw(picked); err != nil {
			return err
		}
	}
	for _, h := range picked {
		q.tell(w, h)
		if len(h.Observations) == 0 {
			continue
		}
		b, err := statistics.LowerBound(c.family(), h.Observations, 0.1, 0.9, c.Slope)
		if err != nil {
			return err
		}
		fitted(w, q, b, 0.1)
		fmt.Fprintf(w.out, "  90 %% of such units %s at least (90 %% confidence), by %s", q.stands(b.ValueM), b.Method)
		if b.Fit == nil {
			fmt.Fprintf(w.out, ": %s; slope %g ASSUMED", b.Why, b.Slope)
		}
		fmt.Fprintln(w.out)
		if len(h.Observations) == 1 {
			oneUnit(w, h)
		}
	}
	if c.Closure == "each" {
		fmt.Fprintln(w.out, "\nnote: closures of one unit share its parts; every bound and p here treats them as units of their own, and is narrower than it should be")
	}
	var waters []string
	for _, h := range picked {
		waters = append(waters, h.Waters...)
	}
	slices.Sort(waters)
	if waters = slices.Compact(waters); len(waters) > 1 {
		fmt.Fprintf(w.out, "\nnote: the depths are meant in %s; a metre of sea water presses some 3 %% more than one of fresh water\n", strings.Join(waters, " and "))
	}
	if len(picked) > 1 {
		return c.against(w, q, picked)
	}
	return nil
}

// against compares each with the first.
func (c *compareCmd) against(w *world, q quantity, picked []statistics.History) error {
	first := picked[0]
	var p []float64
	var lines []func(adjusted float64)
	for _, h := range picked[1:] {
		if len(first.Observations) == 0 || len(h.Observations) == 0 {
			continue
		}
		test := statistics.PermutationTest(first.Observations, h.Observations)
		ratio, err := statistics.Compare(c.family(), first.Observations, h.Observations, 0.95)
		if err != nil && !errors.Is(err, statistics.ErrNotEstimable) {
			return err
		}
		p = append(p, test.P)
		lines = append(lines, func(adjusted float64) {
			fmt.Fprintf(w.out, "\n%s against %s\n", variantName(h), variantName(first))
			if ratio == nil {
				fmt.Fprintln(w.out, "  by how much they differ: neither shows scatter, no interval can be given")
			} else {
				fmt.Fprintf(w.out, "  %s, with one scatter for both\n", q.howMuchMore(ratio))
				l := ratio.Test(statistics.BootstrapSamples)
				fmt.Fprintf(w.out, "  likelihood ratio, if these are %s: p = %.3f by %s", c.family(), l.P, l.By)
				if l.By == statistics.ByBootstrap {
					fmt.Fprintf(w.out, ", %d samples (the chi-square approximation, too bold for so few, says %s)", statistics.BootstrapSamples, small(l.ChiSquare))
				}
				fmt.Fprintln(w.out)
			}
			fmt.Fprintf(w.out, "  permutation test, whatever they are: p = %.4f", test.P)
			if test.Exact {
				fmt.Fprintf(w.out, ", exact over %d arrangements", test.Arranged)
			} else {
				fmt.Fprintf(w.out, " ± %.4f, from %d drawn arrangements", test.SE, test.Arranged)
			}
			fmt.Fprintf(w.out, "; %.4f after Holm (comparisons: %d)\n", adjusted, len(p))
			c.power(w, q, first, h, ratio, test)
		})
	}
	for i, adjusted := range statistics.Holm(p) {
		lines[i](adjusted)
	}
	return nil
}

// power says what these numbers of units could have found.
func (c *compareCmd) power(w *world, q quantity, first, second statistics.History, r *statistics.Ratio, test statistics.Permutation) {
	if test.SmallestP > 0.05 {
		fmt.Fprintf(w.out, "  these numbers of units cannot give a p below %.2f, however far apart the variants are\n", test.SmallestP)
	}
	cv, whence := q.scatter(), "assumed"
	if r != nil && r.Scale > 0.02 {
		sigma := r.Scale
		if c.family() == statistics.Weibull { // standard deviation of the logarithm: π/√6 of the scale
			sigma *= math.Pi / math.Sqrt(6)
		}
		if sigma < 2 {
			cv, whence = math.Sqrt(math.Expm1(sigma*sigma)), "as seen"
		}
	}
	n := min(len(first.Observations), len(second.Observations))
	for _, ratio := range q.ratios() {
		trial := statistics.Trial{Ratio: ratio, CV: cv, Step: q.step()}
		found := trial.Power(n, 400)
		fmt.Fprintf(w.out, "  a variant that %s would be found in %.0f %% of such tests (scatter %.0f %%, %s, steps of %.0f %%)", q.better(ratio), 100*found, 100*cv, whence, 100*q.step())
		if found < 0.8 {
			if wanted := trial.UnitsWanted(0.8, 60); wanted > n {
				fmt.Fprintf(w.out, "; for 80 %% you would need %d more of each", wanted-n)
			} else if wanted == 0 {
				fmt.Fprint(w.out, "; for 80 % you would need more than 60 of each")
			}
		}
		fmt.Fprintln(w.out)
	}
}

// small writes a p-value.
func small(p float64) string {
	if p < 0.001 {
		return "less than 0.001"
	}
	return fmt.Sprintf("%.3f", p)
}
