package analysis_test

import (
	"strings"
	"testing"

	"proofpot/analysis"
	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
)

// holdAt gives the hold of a stage by its name.
func holdAt(v analysis.Verdict, name string) *analysis.Hold {
	for i := range v.Holds {
		if v.Holds[i].Name == name {
			return &v.Holds[i]
		}
	}
	return nil
}

// byHandKinds are the built-in profiles whose last stage is judged by the inside
// alone, with leaks that open before it: how much each is there, ml/h.
var byHandKinds = []struct {
	profile, stage, fault string
	low, high             float64
}{
	// 0.1 ml/h at 9.8 kPa is 0.25 ml/h at 25 kPa.
	{"vacuum-check", "vacuum", "seep at 1 m, 0.1 ml/h", 0.2, 0.3},
	// 3 ml/h at 8.8 kPa; chamber 10 kPa over the room, the inside 9 kPa below it.
	{"plunge-1m-sea", "plunge", "seep at 0.9 m, 3 ml/h", 4, 8},
	{"powered-20m-sea", "powered", "seep at 18.5 m, 4 ml/h after 30 min", 3, 5},
}

func TestStagesByHandPassATightUnitAndFailALeakyOne(t *testing.T) {
	for _, c := range byHandKinds {
		for name, change := range map[string]func(*setup.Run){"valves": nil, "by hand": func(r *setup.Run) { r.Bench = simbench.BuiltInHandBench() }} {
			undecided := 0
			for seed := range few(20) {
				s := simulate(t, c.profile, "", seed, change)
				if v := s.analyse(t).Verdict; v.Verdict == analysis.Fail {
					t.Errorf("%s, %s, seed %d: a tight unit fails: %v", c.profile, name, seed, v.Reasons)
				} else if v.Verdict == analysis.Inconclusive {
					undecided++
				}
				s = simulate(t, c.profile, c.fault, seed, change)
				if !s.truth.Failed {
					t.Fatalf("%s, %s, seed %d: %s never began", c.profile, name, seed, c.fault)
				}
				v := s.analyse(t).Verdict
				h := holdAt(v, c.stage)
				stopped := s.state.Stopped == rig.UnitWet // that is a way to be found, too
				if v.Verdict != analysis.Fail || v.FirstFailure == nil || h == nil && !stopped {
					t.Errorf("%s, %s, seed %d: %s is given %s, %v", c.profile, name, seed, c.fault, v.Verdict, v.Reasons)
					continue
				}
				if h != nil && h.LeakMLPerH != nil && !stopped && (h.LeakMLPerH.High < c.low || h.LeakMLPerH.Low > c.high) {
					t.Errorf("%s, %s, seed %d: %s is measured as %+v, want %g to %g", c.profile, name, seed, c.fault, *h.LeakMLPerH, c.low, c.high)
				}
			}
			if undecided > 2 {
				t.Errorf("%s, %s: %d tight units are undecided", c.profile, name, undecided)
			}
		}
	}
}

func TestAVacuumCheckProvesNoDepth(t *testing.T) {
	v := simulate(t, "vacuum-check", "", 1, nil).analyse(t).Verdict
	if v.Verdict != analysis.Pass || v.ProvedDepthM != 0 || v.RatedDepthM != 0 || v.FirstFailure != nil {
		t.Errorf("%+v", v)
	}
	if h := holdAt(v, "vacuum"); h == nil || len(h.Reasons) != 1 || !strings.Contains(h.Reasons[0], "at 10 m, if the path stayed as it is") {
		t.Errorf("%+v", h)
	}
}

func TestALadderWhoseVacuumCheckFailsSaysSoFirst(t *testing.T) {
	s := simulate(t, "ladder-30m-sea", "seep at 1 m, 0.8 ml/h", 2, nil)
	v := s.analyse(t).Verdict
	if v.Verdict != analysis.Fail || v.FirstFailure == nil || v.FirstFailure.DepthM != 0 || v.ProvedDepthM != 0 || !strings.Contains(v.Reasons[len(v.Reasons)-1], `stage "vacuum"`) {
		t.Errorf("%+v %+v", v, v.FirstFailure)
	}
}

func TestAUnitThatIsNotWarmedIsNoPlunge(t *testing.T) {
	s := simulate(t, "plunge-1m-sea", "", 4, nil)
	s.run.Profile.Stages[0].WarmerK = 45 // as asked, and not as done
	if v := s.analyse(t).Verdict; v.Verdict != analysis.Inconclusive || !strings.Contains(strings.Join(v.Reasons, " "), "the unit was to be 45 K warmer") {
		t.Errorf("%s: %v", v.Verdict, v.Reasons)
	}
}

// TestEveryKindOfStageRunsOnTheSimulatedBench goes through a profile with all kinds
// on two benches; a tight unit must not fail, and every stage must be held.
func TestEveryKindOfStageRunsOnTheSimulatedBench(t *testing.T) {
	for name, change := range map[string]func(*setup.Run){"valves": nil, "by hand": func(r *setup.Run) { r.Bench = simbench.BuiltInHandBench() }} {
		for seed := range few(5) {
			s := simulate(t, "../profiles/testdata/every-kind.toml", "", seed, change)
			v := s.analyse(t).Verdict
			if s.state.Stopped != rig.NotStopped || v.Verdict == analysis.Fail {
				t.Errorf("%s, seed %d: stopped %q, %s, %v", name, seed, s.state.Stopped, v.Verdict, v.Reasons)
			}
			for _, why := range v.Reasons {
				if strings.Contains(why, "was not held") || strings.Contains(why, "cut short") {
					t.Errorf("%s, seed %d: %s", name, seed, why)
				}
			}
			for _, stage := range []string{"vacuum", "plunge", "powered", "hold", "soak", "return", "search"} {
				if holdAt(v, stage) == nil {
					t.Errorf("%s, seed %d: stage %q has no hold", name, seed, stage)
				}
			}
		}
	}
}
