package certificate

import (
	"fmt"
	"testing"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/certificate/units"
	"proofpot/rig/setup"
)

// scene is a result of one kind, made up on a record's readings.
type scene struct {
	run setup.Run
	r   *analysis.Result
}

// sceneMakers turn readings into the results that a certificate must be able to
// show. The keys name them.
var sceneMakers = map[string]func(t testing.TB) scene{
	"pass with nothing measured inside": func(t testing.TB) scene {
		run, r := readRecord(t, recordPath(t, "HC015"))
		run.Bench.Medium = setup.MediumWater // of gas it could not pass
		judge(run, r, 99, "", 0)
		r.Curves.InsidePa, r.Curves.InsideC, r.Curves.InsideRHPct, r.Curves.AbsHumidityGM3 = nil, nil, nil, nil
		for i := range r.Verdict.Holds {
			r.Verdict.Holds[i].MoistureMGPerH = nil
		}
		r.Verdict.Verdict = analysis.Pass
		r.Verdict.Reasons = []string{"the upper bound of every hold lies below 0.5 ml/h"}
		return scene{run, r}
	},
	"burst": func(t testing.TB) scene {
		run, r := readRecord(t, recordPath(t, "HC018"))
		judge(run, r, 2, analysis.Fail, 800)
		run.Unit.Notes = "two 18650 cells in the tail tube"
		failAt(r, 1096*time.Second, 4*time.Second, 18.46, 0.06, 10.7, analysis.Burst, analysis.ByStep, analysis.ByDecay, analysis.ByInsidePressure)
		r.Events = append(r.Events, analysis.Event{Time: r.Verdict.FirstFailure.Time, Kind: "step", Text: "pressure fell by 31 mbar in 2 s"})
		return scene{run, r}
	},
	"seep": func(t testing.TB) scene {
		run, r := readRecord(t, recordPath(t, "HC017"))
		judge(run, r, 2, analysis.Fail, 3)
		failAt(r, 951*time.Second, 104*time.Second, 18.9, 2.1, 11.6, analysis.Seep, analysis.ByDecay, analysis.ByWet)
		return scene{run, r}
	},
	"inconclusive": func(t testing.TB) scene {
		run, r := readRecord(t, recordPath(t, "HC014"))
		judge(run, r, 5, analysis.Inconclusive, 0)
		r.Verdict.Verdict = analysis.Inconclusive
		r.Verdict.Reasons = []string{"71 % of the last measuring window is missing"}
		r.Verdict.Integrity.Gaps = []string{"chamber pressure: nothing from 0:45:12 to 0:58:03, in stage 5"}
		return scene{run, r}
	},
	"hundreds of events": func(t testing.TB) scene {
		run, r := readRecord(t, recordPath(t, "HC017"))
		judge(run, r, 2, analysis.Fail, 3)
		failAt(r, 951*time.Second, 104*time.Second, 18.9, 2.1, 11.6, analysis.Seep, analysis.ByDecay)
		kinds := []string{"note", "fault", "note", "wet", "step", "note"}
		for i := range 400 {
			r.Events = append(r.Events, analysis.Event{Time: r.Stages[0].Start.Add(time.Duration(i) * 3 * time.Second),
				Kind: kinds[i%len(kinds)], Text: fmt.Sprint("event ", i, " of a busy night, told at some length")})
		}
		return scene{run, r}
	},
}

func failAt(r *analysis.Result, after, doubt time.Duration, depth, depthDoubt, tight float64, mode string, evidence ...string) {
	at := r.Stages[0].Start.Add(after)
	r.Verdict.Verdict = analysis.Fail
	r.Verdict.Reasons = []string{fmt.Sprintf("%s at %.1f m", mode, depth)}
	r.Verdict.FirstFailure = &analysis.FirstFailure{Time: at, TimeLow: at.Add(-doubt), TimeHigh: at.Add(doubt),
		DepthM: depth, DepthLowM: depth - depthDoubt, DepthHighM: depth + depthDoubt, LastTightDepthM: tight,
		Mode: mode, Evidence: evidence}
}

func options() Options {
	return Options{
		Letterhead: "Lake acoustics club", LetterheadLines: []string{"Boat house, pod bench"},
		Version: "0.1", Generated: time.Date(2026, 11, 28, 8, 0, 0, 0, time.UTC),
		SHA256: "308a4dba94f7e33b983d7f7ee682527e6ddd2a37bdbb2091d7e0ac403a958b68",
	}
}

var englishPen = pen{units.System{Depth: units.Metre, Pressure: units.Bar}}
