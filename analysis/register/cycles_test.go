package register

import (
	"testing"
	"time"

	"proofpot/analysis"
	"proofpot/profiles"
	"proofpot/rig/setup"
)

// fiveCycles is a record of a hold at 3 m, five cycles to 12 m with a minute's dwell
// that take five minutes each, and a hold after them that stays down. Minutes since
// day0: cycle k goes down from 10+5k to 12+5k, dwells until 13+5k and lies shallow
// until 15+5k (k from 0); the fifth dwells until 33 and is held until 43.
func fiveCycles(dwells int) (setup.Run, *analysis.Result) {
	minute := func(m float64) time.Time { return day0.Add(time.Duration(m * float64(time.Minute))) }
	run := setup.Run{Profile: profiles.Profile{ProofFactor: 1, Water: fresh, Stages: []profiles.Stage{
		{DepthM: 3, SettleS: 60, HoldS: 300},
		{Kind: profiles.KindCycles, DepthM: 12, SettleS: 60, Cycles: 5, LowDepthM: 3},
		{DepthM: 12, SettleS: 0, HoldS: 600}}}}
	r := &analysis.Result{}
	add := func(kind string, index int, depthM, from, to float64) {
		r.Stages = append(r.Stages, analysis.StageSpan{Kind: kind, Index: index, DepthM: depthM, Start: minute(from), End: minute(to)})
	}
	hold := func(stage int, depthM, from, to float64, verdict string) {
		r.Verdict.Holds = append(r.Verdict.Holds, analysis.Hold{Stage: stage, DepthM: depthM, Start: minute(from), End: minute(to), Verdict: verdict})
	}
	add("ramp", 0, 3, 0, 4)
	add("settle", 0, 3, 4, 5)
	add("hold", 0, 3, 5, 10)
	hold(0, 3, 5, 10, analysis.Pass)
	for k := range min(dwells, 5) {
		at := 10 + 5*float64(k)
		add("ramp", 1, 12, at, at+2)
		add("settle", 1, 12, at+2, at+3)
		if k < 4 {
			add("ramp", 1, 3, at+3, at+4)
			add("settle", 1, 3, at+4, at+5)
		}
	}
	if dwells > 5 {
		add("hold", 2, 12, 33, 43)
		hold(2, 12, 33, 43, analysis.Pass)
	}
	last := r.Stages[len(r.Stages)-1].End
	r.Stages = append(r.Stages, analysis.StageSpan{Kind: "vent", Index: 2, Start: last, End: last.Add(2 * time.Minute)})
	r.Verdict.Verdict = analysis.Pass
	return run, r
}

func TestACycleIsStoodWhenSomethingShowsThatTheUnitWasTight(t *testing.T) {
	minute := func(m float64) time.Time { return day0.Add(time.Duration(m * float64(time.Minute))) }
	leak := func(low, high float64) *analysis.FirstFailure {
		return &analysis.FirstFailure{TimeLow: minute(low), TimeHigh: minute(high), Mode: analysis.Seep}
	}
	for name, c := range map[string]struct {
		dwells  int
		failure *analysis.FirstFailure
		after   string
		want    Cycling
	}{
		"all five, and the hold after them passed":        {6, nil, analysis.Pass, Cycling{12, 5, 0}},
		"the hold after them decided nothing":             {6, nil, analysis.Inconclusive, Cycling{12, 0, 0}},
		"cut off after three, nothing was measured since": {3, nil, analysis.Pass, Cycling{12, 0, 0}},
		"leaked in the dwell of the third":                {3, leak(22.2, 22.6), analysis.Pass, Cycling{12, 2, 3}},
		"leaked on the way down to the third":             {3, leak(20.5, 21.5), analysis.Pass, Cycling{12, 2, 3}},
		"leaked while shallow after the second":           {2, leak(19, 19.5), analysis.Pass, Cycling{12, 1, 2}},
		"somewhere from the second to the fourth":         {5, leak(17.5, 27.5), analysis.Pass, Cycling{12, 1, 4}},
		"found in the hold after, may be from the first":  {6, leak(11, 40), analysis.Fail, Cycling{12, 0, 5}},
		"leaked before any":                               {1, leak(7, 8), analysis.Pass, Cycling{12, 0, 1}},
	} {
		run, r := fiveCycles(c.dwells)
		r.Verdict.FirstFailure = c.failure
		if c.failure != nil {
			r.Verdict.Verdict = analysis.Fail
		}
		for i := range r.Verdict.Holds {
			if r.Verdict.Holds[i].Stage == 2 {
				r.Verdict.Holds[i].Verdict = c.after
			}
		}
		if got := cycling(run, r); len(got) != 1 || got[0] != c.want {
			t.Errorf("%s: %+v, want %+v", name, got, c.want)
		}
	}
}

func TestADwellThatWasCutShortIsNoCycle(t *testing.T) {
	run, r := fiveCycles(6)
	for i := range r.Stages {
		if s := &r.Stages[i]; s.Kind == "settle" && s.Start.Equal(day0.Add(17*time.Minute)) {
			s.End = s.Start.Add(30 * time.Second)
		}
	}
	if got := cycling(run, r); got[0].Stood != 4 {
		t.Errorf("%+v, want 4 cycles", got)
	}
}

// TestCyclesOfOneClosureAddUp: and those of the next begin anew.
func TestCyclesOfOneClosureAddUp(t *testing.T) {
	cycles := func(day int, record string, stood, failedBy int) Event {
		e := passed(day, 30)
		e.Test.Record, e.Test.Variant = record, "A"
		if failedBy > 0 {
			e.Test.Verdict, e.Test.Mode = "fail", "seep"
		}
		e.Test.Cycling = []Cycling{{30, stood, failedBy}}
		return e
	}
	got := CycledUnits([]Event{happened(0, Closed), cycles(1, "r1", 50, 0), cycles(2, "r2", 50, 0), cycles(2, "r2", 50, 0),
		happened(3, Opened), happened(4, Closed), passed(5, 30), cycles(6, "r3", 50, 0), cycles(7, "r4", 20, 21), cycles(8, "r5", 50, 0)})
	if len(got) != 2 {
		t.Fatalf("%+v", got)
	}
	if c := got[0]; c.Closure != 1 || c.Stood != 100 || c.FailedBy != 0 || c.Record != "r2" {
		t.Errorf("first closure %+v, want 100 cycles stood", c)
	}
	if c := got[1]; c.Closure != 2 || c.Stood != 70 || c.FailedBy != 71 || c.Mode != "seep" || c.Record != "r4" {
		t.Errorf("second closure %+v, want a leak in cycle 71", c)
	}
}

func TestATestEndsByTheTimesThatItWasLetDown(t *testing.T) {
	often := dived(2, 20, 12)
	often.Dive.Descents = 150
	if s := standing(t, 5, passed(1, 30), often); !s.Valid || s.Cycles != 150 || s.Dives != 1 {
		t.Errorf("let down 150 times: %+v", s)
	}
	again := often
	again.At = on(3)
	if s := standing(t, 5, passed(1, 30), often, again); s.Valid || len(s.Ended) != 1 {
		t.Errorf("let down 300 times: %+v", s)
	}
	trip := lakeTrip(20)
	trip.Units[0].Descents = 10 // in each of 6 dives
	if a := judged(t, trip, passed(1, 30), often); a.Fitness != NotFit {
		t.Errorf("150 times and 60 to come: %s", a.Fitness)
	}
	trip.Units[0].Descents = 8
	if a := judged(t, trip, passed(1, 30), often); a.Fitness == NotFit {
		t.Errorf("150 times and 48 to come: %v", a.Why)
	}
}
