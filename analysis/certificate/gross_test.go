package certificate

import (
	"strings"
	"testing"

	"proofpot/analysis"
	"proofpot/rig/setup"
)

// TestAPotOfGasWithNothingInsideSaysWhatItCannotSee: a void that has filled with the
// chamber is as still as a tight one.
func TestAPotOfGasWithNothingInsideSaysWhatItCannotSee(t *testing.T) {
	for _, c := range []struct {
		medium string
		inside bool
		says   bool
	}{
		{setup.MediumGas, false, true},
		{setup.MediumGas, true, false},
		{setup.MediumWater, false, false},
	} {
		s := sceneMakers["pass in a gas pot without inside sensor"](t)
		s.run.Bench.Medium = c.medium
		s.r.Curves.InsidePa = nil
		if c.inside {
			s.r.Curves.InsidePa = []analysis.Point{{Time: s.r.Stages[0].Start, Value: 101_325}}
		}
		text := strings.Join(englishPen.limits(s.run, s.r), "\n")
		if got := strings.Contains(text, "gross leak"); got != c.says {
			t.Errorf("%s, sensor inside %v: says it %v", c.medium, c.inside, got)
		}
	}
}
