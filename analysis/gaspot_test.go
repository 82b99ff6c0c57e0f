package analysis_test

import (
	"slices"
	"strings"
	"testing"

	"proofpot/analysis"
	"proofpot/rig/setup"
)

// TestALeakInAPotOfGasIsGivenInWaterOfTheTest: the path that passes gas would pass
// water at the temperature of the test, not at that of gas just compressed.
func TestALeakInAPotOfGasIsGivenInWaterOfTheTest(t *testing.T) {
	held, holds := 0, 0
	for seed := range few(15) {
		s := simulate(t, "proof-30m-sea", "seep at 24 m, 3 ml/h", 60_000+seed, func(r *setup.Run) {
			r.Bench.Medium, r.Bench.GasCushionML, r.Bench.StiffnessMLPerBar = setup.MediumGas, 0, 0.6
			without(r, "t2", "u1")
		})
		for _, h := range s.analyse(t).Verdict.Holds {
			if l := h.LeakMLPerH; l != nil && h.DepthM > 24 {
				q := s.between(h.Start, h.End)
				holds++
				if l.Low <= q && q <= l.High {
					held++
				} else {
					t.Logf("seed %d, %g m: %+v, truly %.3f", seed, h.DepthM, *l, q)
				}
			}
		}
	}
	t.Logf("%d of %d", held, holds)
	if held*10 < holds*8 {
		t.Errorf("%d of %d intervals of a hold contain the truth", held, holds)
	}
}

// TestAPotOfGasWithNothingInsideCannotPass: a void that has filled with the chamber is as
// still as a tight unit.
func TestAPotOfGasWithNothingInsideCannotPass(t *testing.T) {
	for _, c := range []struct {
		medium string
		taken  []string
		want   string
	}{
		{setup.MediumGas, []string{"u1"}, analysis.Inconclusive},
		{setup.MediumGas, nil, analysis.Pass},
		{setup.MediumWater, []string{"u1"}, analysis.Pass},
	} {
		v := simulate(t, "proof-30m-sea", "", 5, func(r *setup.Run) {
			r.Profile.Accept.LeakMLPerH = 20 // so much that a soft bench decides it
			if c.medium == setup.MediumGas {
				r.Bench.Medium, r.Bench.GasCushionML, r.Bench.StiffnessMLPerBar = setup.MediumGas, 0, 0.6
			}
			without(r, c.taken...)
		}).analyse(t).Verdict
		says := slices.ContainsFunc(v.Reasons, func(s string) bool { return strings.Contains(s, "fills while the chamber does") })
		if v.Verdict != c.want || says != (c.want == analysis.Inconclusive) {
			t.Errorf("%s without %q: %s, %q", c.medium, c.taken, v.Verdict, v.Reasons)
		}
	}
}
