package main

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"proofpot/analysis/register"
	"proofpot/analysis/register/files"
	"proofpot/analysis/statistics"
)

// cycles reads from the register how often the units of each variant stood going
// down to a depth.
func (c *compareCmd) cycles() ([]statistics.History, error) {
	switch {
	case !(c.CyclesTo > 0 && c.CyclesTo <= 1200):
		return nil, fmt.Errorf("--cycles-to %g: want a depth above 0 and at most 1200 m", c.CyclesTo)
	case c.Closure == "each":
		return nil, errors.New("--cycles-to counts one closure of each unit: leave out --closure each")
	case c.Depths != "held":
		return nil, errors.New("--cycles-to counts cycles: leave out --depths")
	}
	store := files.Store{Root: "register"}
	if c.Closed != "" {
		store.Root = c.Closed
	}
	events, err := store.Events()
	if err != nil {
		return nil, err
	}
	all := register.CycledUnits(events)
	if len(all) == 0 {
		return nil, fmt.Errorf("no test in the register %q has a stage that cycles; proofpot run cycles-50-30m-sea makes one, proofpot unit tests RECORD enters it", store.Root)
	}
	list := statistics.ObserveCycles(all, c.CyclesTo)
	if len(list) == 0 {
		return nil, fmt.Errorf("no unit in the register %q was cycled to %g m; there are cycles to %s", store.Root, c.CyclesTo, statistics.CycleDepths(all))
	}
	if c.Mode != "" {
		for i := range list {
			list[i].Observations = statistics.ByMode(list[i].Observations, c.Mode)
		}
	}
	return list, nil
}

// quantity is what variants are compared by: depths, or cycles to one.
type quantity struct{ cyclesToM float64 }

func (q quantity) cycles() bool { return q.cyclesToM > 0 }

// slope is the Weibull slope that is assumed.
func (q quantity) slope() float64 {
	if q.cycles() {
		return statistics.AssumedSlopeOfCycles
	}
	return statistics.AssumedSlope
}

// scatter is the coefficient of variation that is assumed, step that of the tests
// for which power is worked out, ratios what is asked for.
func (q quantity) scatter() float64 {
	if q.cycles() {
		return 0.5
	}
	return 0.15
}

func (q quantity) step() float64 {
	if q.cycles() {
		return 0.02
	}
	return 0.1
}

func (q quantity) ratios() []float64 {
	if q.cycles() {
		return []float64{2, 4}
	}
	return []float64{1.2, 1.5}
}

// amount writes a value.
func (q quantity) amount(v float64) string {
	switch {
	case math.IsInf(v, 1) || v > 1e7:
		return "any number of"
	case q.cycles():
		return fmt.Sprintf("%.0f cycles", v)
	}
	return fmt.Sprintf("%.1f m", v)
}

// limits writes both ends of an interval.
func (q quantity) limits(l statistics.Limits) string {
	low, unit := fmt.Sprintf("%.1f", l.Low), " m"
	if q.cycles() {
		low, unit = fmt.Sprintf("%.0f", l.Low), " cycles"
	}
	return low + " to " + strings.TrimSuffix(q.amount(l.High), unit) + unit
}

// stands says what a share of units does up to a lower bound: of cycles only whole
// ones count.
func (q quantity) stands(v float64) string {
	if q.cycles() {
		return fmt.Sprintf("stand %.0f cycles to %g m", math.Floor(v+1e-9), q.cyclesToM)
	}
	return fmt.Sprintf("are tight to %.1f m", v)
}

func (q quantity) better(ratio float64) string {
	if q.cycles() {
		return fmt.Sprintf("stands %.0f times the cycles", ratio)
	}
	return fmt.Sprintf("goes %.1f times as deep", ratio)
}

// howMuchMore says what the ratio of two variants is known to be.
func (q quantity) howMuchMore(r *statistics.Ratio) string {
	what := "fails at %s times the depth"
	if q.cycles() {
		what = "leaks after %s times the cycles"
	}
	low, high := r.Limits.Low, r.Limits.High
	switch {
	case low < 0.005 && math.IsInf(high, 1):
		return "by how much they differ is not known"
	case math.IsInf(high, 1):
		return fmt.Sprintf(what+" at least (95 %% on both sides; there is no upper limit)", times(low))
	case low < 0.005:
		return fmt.Sprintf(what+" at most (95 %% on both sides; there is no lower limit)", times(high))
	}
	return fmt.Sprintf(what+" (95 %%: %s to %s)", times(r.Estimate), times(low), times(high))
}

// times writes a ratio.
func times(v float64) string {
	if v < 10 {
		return fmt.Sprintf("%.2f", v)
	}
	return fmt.Sprintf("%.0f", v)
}

// tell writes what is known of each unit of a variant.
func (q quantity) tell(w *world, h statistics.History) {
	if !q.cycles() {
		tellUnits(w, h)
		return
	}
	failed := statistics.Failures(h.Observations)
	fmt.Fprintf(w.out, "\n%s: %s cycled to %g m of %s, %d leaked, %s\n", variantName(h), counted(len(h.Observations), "unit"), q.cyclesToM,
		strings.Join(h.Waters, " and "), failed, counted(len(h.Observations)-failed, "run-out"))
	for _, o := range h.Observations {
		switch {
		case !o.Failed():
			fmt.Fprintf(w.out, "  %-10s stood %.0f cycles, did not leak (run-out)\n", o.Unit, o.LowM)
		case o.HighM-o.LowM > 1:
			fmt.Fprintf(w.out, "  %-10s leaked in one of the cycles %.0f to %.0f (%s)\n", o.Unit, o.LowM+1, o.HighM, o.Mode)
		default:
			fmt.Fprintf(w.out, "  %-10s leaked in cycle %.0f (%s)\n", o.Unit, o.HighM, o.Mode)
		}
	}
	for _, s := range h.Left {
		fmt.Fprintf(w.out, "  note: %s\n", s)
	}
	tellModes(w, h)
	if len(h.Waters) > 1 {
		fmt.Fprintln(w.out, "  note: a metre of sea water presses some 3 % more than one of fresh water; these cycles are not all alike")
	}
}
