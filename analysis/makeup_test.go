package analysis_test

import (
	"testing"

	"proofpot/analysis"
	"proofpot/rig/setup"
)

// TestALeakIsNotHiddenByMakeUp: a hold whose pressure is kept up is judged between
// the pulses, or not at all; a unit that leaks in it never passes.
func TestALeakIsNotHiddenByMakeUp(t *testing.T) {
	for seed := range few(10) {
		s := simulate(t, "quick-check-30m-sea", "seep at 10 m, 20 ml/h", seed, func(r *setup.Run) {
			without(r, "u1", "w1")
			for i := range r.Profile.Stages {
				r.Profile.Stages[i].MakeUp = true
			}
		})
		if res := s.analyse(t); res.Verdict.Verdict == analysis.Pass {
			t.Errorf("seed %d: %s", seed, res.Verdict.Verdict)
		}
	}
}
