package analysis

import (
	"math"
	"strings"
	"testing"

	"proofpot/profiles"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// measured is the work on a record of two holds, at 3 and at 30 m, of a unit that is
// tight within the limit of 0.5 ml/h, as it stands before the rule is applied.
func measured(t *testing.T) *analysis {
	t.Helper()
	run := nightRun()
	run.Profile.ProofFactor = 1.25
	run.Profile.Stages = []profiles.Stage{{Name: "shallow", DepthM: 3, SettleS: 100, HoldS: 300}, {Name: "proof", DepthM: 30, SettleS: 100, HoldS: 900}}
	column, err := profiles.NewColumn(run.Profile.Water)
	if err != nil {
		t.Fatal(err)
	}
	a := &analysis{run: run, name: "night", column: column, sealed: 101325, v: newVessel(run, 101325), whole: Integrity{Chained: true, Intact: true, Gaps: []string{}}}
	a.x = &table{startNS: 1773476102e9, endS: 2000, ended: true, chambers: []pressures{{sensor: "p1"}},
		spans: []span{{kind: "vent", start: 1900, end: 2000}}}
	a.s = &signal{dt: 0.1, noise: 20, second: math.NaN()}
	for i := range 20_001 {
		at := float64(i) / 10
		p := 101325.0
		switch {
		case at > 100 && at <= 600:
			p += 30e3
		case at > 600 && at <= 1900:
			p += 300e3
		}
		a.s.t, a.s.p, a.s.spike = append(a.s.t, at), append(a.s.p, p), append(a.s.spike, false)
	}
	hold := func(order int, depth, start, length float64) *stage {
		return &stage{order: order, index: order, name: run.Profile.Stages[order].Name, depthM: depth, ramp: interval{start - 200, start - 100}, settle: interval{start - 100, start},
			hold: interval{start, start + length}, meanPa: 101325 + 1e4*depth, both: tightBy(0.1)}
	}
	a.stages = []*stage{hold(0, 3, 300, 300), hold(1, 30, 1000, 900)}
	return a
}

func tightBy(u float64) *estimate { return &estimate{value: 0, u: u, lod: currie(u)} }

// bounded is an estimate whose bounds are these.
func bounded(low, high float64) *estimate {
	u := (high - low) / 2 / coverage95
	return &estimate{value: (low + high) / 2, u: u, lod: currie(u)}
}

func said(v *Verdict, h *Hold) string {
	if h != nil {
		return strings.Join(h.Reasons, "; ")
	}
	return strings.Join(v.Reasons, "; ")
}

func TestRuleATightUnitPassesAndItsDepthIsRated(t *testing.T) {
	v := measured(t).judge().Verdict
	if v.Verdict != Pass || v.Format != 1 || v.Record != "night" || v.Unit != "KP-01" || v.FirstFailure != nil {
		t.Fatalf("%+v", v)
	}
	if v.ProvedDepthM != 30 || v.RatedDepthM != 24 {
		t.Errorf("proved to %v m, rated %v m", v.ProvedDepthM, v.RatedDepthM)
	}
	if v.Reasons == nil || !strings.Contains(said(&v, nil), "below the limit of 0.5 ml/h") {
		t.Errorf("reasons %q", v.Reasons)
	}
	if len(v.Holds) != 2 || v.Holds[0].Name != "shallow" || v.Holds[0].DepthM != 3 || v.Holds[1].Stage != 1 || v.Holds[0].Start != measured(t).x.at(300) || v.Holds[0].End != measured(t).x.at(600) {
		t.Errorf("%+v", v.Holds)
	}
	for _, h := range v.Holds {
		if h.Verdict != Pass || len(h.Reasons) != 0 || h.LeakMLPerH == nil || math.Abs(h.LeakMLPerH.High-0.209) > 1e-9 || h.DetectionLimitMLPerH == nil || math.Abs(*h.DetectionLimitMLPerH-0.329) > 1e-3 || h.MoistureMGPerH != nil {
			t.Errorf("%+v %+v", h, h.LeakMLPerH)
		}
	}
	a := measured(t)
	a.stages[1].depthM, a.run.Profile.ProofFactor = 30.04, 1
	if v := a.judge().Verdict; v.RatedDepthM != 30 {
		t.Errorf("proved to 30.04 m: rated %v m", v.RatedDepthM)
	}
	// Rounded down to a tenth of a metre; without a factor it is what was proved.
	for factor, want := range map[float64]float64{1.3: 23.0, 1.0: 30, 0: 30} {
		a := measured(t)
		a.run.Profile.ProofFactor = factor
		if v := a.judge().Verdict; v.RatedDepthM != want {
			t.Errorf("proved to 30 m, factor %v: rated %v m, want %v", factor, v.RatedDepthM, want)
		}
	}
}

// What the bounds of one hold, the deeper one, say of it. The limit is 0.5 ml/h.
func TestRuleAHoldPassesBelowTheLimitAloneAndFailsAboveItAlone(t *testing.T) {
	long := 900.0 / 3600
	for _, c := range []struct {
		name    string
		change  func(a *analysis, st *stage)
		verdict string
		why     string // a part of the reason
	}{
		{"the upper bound just below the limit", func(_ *analysis, st *stage) { st.both = bounded(-0.3, 0.499) }, Pass, ""},
		{"the upper bound at the limit", func(_ *analysis, st *stage) { st.both = &estimate{value: 0.5} }, Inconclusive, "may be as much as 0.5 ml/h"},
		{"the upper bound just above it", func(_ *analysis, st *stage) { st.both = bounded(-0.3, 0.501) }, Inconclusive, "may be as much as 0.501 ml/h and the limit is 0.5"},
		{"a bench that could not have seen the limit", func(_ *analysis, st *stage) { st.both = bounded(-1, 1) }, Inconclusive, "this bench could see no less than"},
		{"a bench that could just not", func(_ *analysis, st *stage) { st.both = bounded(0.1, 0.6); st.both.lod = 0.5 }, Inconclusive, "may be as much as 0.6 ml/h and the limit is 0.5"},
		{"the lower bound at the limit", func(_ *analysis, st *stage) { st.both = &estimate{value: 0.5, u: 0} }, Inconclusive, "may be as much as"},
		{"the lower bound above it", func(_ *analysis, st *stage) { st.both = bounded(0.501, 0.8) }, Fail, "the leak is at least 0.501 ml/h, the limit is 0.5"},
		{"the lower bound above it, by an estimate of four uncertainties", func(_ *analysis, st *stage) { st.both = &estimate{value: 4, u: 1} }, Inconclusive, "may be as much as"},
		{"the same, a little surer", func(_ *analysis, st *stage) { st.both = &estimate{value: 4.01, u: 1} }, Fail, "at least"},
		{"no estimate", func(_ *analysis, st *stage) { st.both = nil }, Inconclusive, "the leak could not be measured"},
		{"less than nothing, by chance", func(_ *analysis, st *stage) { st.both = &estimate{value: -0.34, u: 0.1} }, Pass, ""},
		{"less than nothing, by just what chance may do", func(_ *analysis, st *stage) { st.both = &estimate{value: -7, u: 2} }, Pass, ""},
		{"less than nothing, by more than chance", func(_ *analysis, st *stage) { st.both = &estimate{value: -0.36, u: 0.1} }, Inconclusive, "as if 0.36 ml/h left the unit"},
		{"a fifth of the window without readings", func(_ *analysis, st *stage) { st.missing = 0.2 }, Pass, ""},
		{"more than that", func(_ *analysis, st *stage) { st.missing = 0.21 }, Inconclusive, "21 % of the measuring window is without readings"},
		{"four fifths of the plan", func(_ *analysis, st *stage) { st.hold.end = st.hold.start + 720 }, Pass, ""},
		{"less than that", func(_ *analysis, st *stage) { st.hold.end = st.hold.start + 719 }, Inconclusive, "cut short: 719 s of 900 s"},
		{"a transducer whose step hides the limit", func(a *analysis, st *stage) { a.coarsePa = 2000 }, Inconclusive, "one step of the transducer, 2e+03 Pa, could hide"},
		{"the same, and the inside is measured", func(a *analysis, st *stage) { a.coarsePa, st.inside = 2000, tightBy(0.1) }, Pass, ""},
		{"one whose step does not", func(a *analysis, st *stage) { a.coarsePa = 20 }, Pass, ""},
		{"a fault of its sensor", func(a *analysis, st *stage) {
			a.x.troubles = []trouble{{sensor: "p1", kind: "stuck", text: "it stood still", start: 1100, end: 1200}}
		}, Inconclusive, "sensor p1 was not to be believed"},

		{"a model that does not describe it", func(_ *analysis, st *stage) { st.chamber = &estimate{n: 10, chi2: 60.1, rms: 0.11 * long} }, Inconclusive, "does not go as a tight unit's does"},
		{"one that describes it badly enough", func(_ *analysis, st *stage) { st.chamber = &estimate{n: 10, chi2: 60, rms: 0.11 * long} }, Pass, ""},
		{"one that misses by little", func(_ *analysis, st *stage) { st.chamber = &estimate{n: 10, chi2: 190, rms: 0.09 * long} }, Pass, ""},
		{"one that the inside vouches for", func(_ *analysis, st *stage) {
			st.chamber, st.inside = &estimate{n: 10, chi2: 600, rms: 1}, bounded(-0.5, 0.5)
		}, Pass, ""},
		{"one that misses by little of its volume and by much of its noise", func(_ *analysis, st *stage) {
			st.chamber, st.inside = &estimate{n: 10, chi2: 201, rms: 1e-6}, nil
		}, Inconclusive, "does not go as"},
		{"one that the inside does not vouch for", func(_ *analysis, st *stage) {
			st.chamber, st.inside = &estimate{n: 10, chi2: 600, rms: 1}, bounded(-0.5, 0.51)
		}, Inconclusive, "does not go as"},

		{"vapour below its limit", func(a *analysis, st *stage) { a.run.Profile.Accept.MoistureMGPerH = 2; st.damp = bounded(1, 1.99) }, Pass, ""},
		{"vapour that may be above it", func(a *analysis, st *stage) { a.run.Profile.Accept.MoistureMGPerH = 2; st.damp = bounded(1, 2) }, Inconclusive, "up to 2 mg/h of water vapour may come in and the limit is 2"},
		{"vapour above it, but no ingress that follows the pressure", func(a *analysis, st *stage) { a.run.Profile.Accept.MoistureMGPerH = 2; st.damp = bounded(2.1, 3) }, Inconclusive, "up to 3 mg/h"},
		{"vapour above it, and one", func(a *analysis, st *stage) {
			a.run.Profile.Accept.MoistureMGPerH = 2
			st.damp, a.damp = bounded(2.1, 3), &damp{rising: true, gain: 200}
		}, Fail, "at least 2.1 mg/h of water vapour come in, the limit is 2"},
		{"vapour at its limit, and one", func(a *analysis, st *stage) {
			a.run.Profile.Accept.MoistureMGPerH = 2
			st.damp, a.damp = &estimate{value: 2}, &damp{rising: true, gain: 200, satured: true}
		}, Inconclusive, "up to 2 mg/h"},
		{"vapour that may be above a small limit", func(a *analysis, st *stage) { a.run.Profile.Accept.MoistureMGPerH = 0.8; st.damp = bounded(0, 0.9) }, Inconclusive, "up to 0.9 mg/h"},
		{"vapour without a limit", func(_ *analysis, st *stage) { st.damp = bounded(10, 20) }, Pass, ""},

		{"a rise inside below its limit", func(a *analysis, st *stage) { a.run.Profile.Accept.InsideRisePa = 300; st.rise = bounded(0, 299) }, Pass, ""},
		{"one that may be above it", func(a *analysis, st *stage) { a.run.Profile.Accept.InsideRisePa = 300; st.rise = &estimate{value: 300} }, Inconclusive, "may have raised the pressure inside by 300 Pa and the limit is 300"},
		{"one above it", func(a *analysis, st *stage) { a.run.Profile.Accept.InsideRisePa = 300; st.rise = bounded(310, 400) }, Fail, "by at least 310 Pa, the limit is 300"},
		{"one above it, by an estimate of five uncertainties", func(a *analysis, st *stage) {
			a.run.Profile.Accept.InsideRisePa = 300
			st.rise = &estimate{value: 1000, u: 200}
		}, Fail, "at least 582 Pa"},
		{"one that may be above a small limit", func(a *analysis, st *stage) { a.run.Profile.Accept.InsideRisePa = 0.8; st.rise = bounded(0, 0.9) }, Inconclusive, "may have raised"},
		{"one above it, by an estimate of four uncertainties", func(a *analysis, st *stage) {
			a.run.Profile.Accept.InsideRisePa = 300
			st.rise = &estimate{value: 800, u: 200}
		}, Inconclusive, "may have raised"},
		{"a rise without a limit", func(_ *analysis, st *stage) { st.rise = bounded(1000, 2000) }, Pass, ""},
	} {
		a := measured(t)
		st := a.stages[1]
		c.change(a, st)
		h := a.judgeHold(st, nil)
		if h.Verdict != c.verdict || c.why == "" && len(h.Reasons) > 0 || !strings.Contains(said(nil, &h), c.why) || c.verdict == Fail && len(h.Reasons) != 1 {
			t.Errorf("%s: %s, %q; want %s, %q", c.name, h.Verdict, h.Reasons, c.verdict, c.why)
		}
		if (h.MoistureMGPerH != nil) != (st.damp != nil && st.both != nil) || (h.LeakMLPerH != nil) != (st.both != nil) {
			t.Errorf("%s: %+v", c.name, h)
		}
	}
}

// A failure lies within a hold, and spoils that hold alone.
func TestRuleAFailureSpoilsTheHoldThatItFallsInto(t *testing.T) {
	for at, want := range map[float64][2]string{200: {Pass, Pass}, 300: {Pass, Pass}, 301: {Fail, Pass}, 599: {Fail, Pass}, 600: {Pass, Pass}, 1500: {Pass, Fail}, 1950: {Pass, Pass}} {
		a := measured(t)
		for i, st := range a.stages {
			if h := a.judgeHold(st, &failure{time: at, text: "it broke"}); h.Verdict != want[i] || want[i] == Fail && said(nil, &h) != "it broke" {
				t.Errorf("a failure at %v s: hold %d %s %v", at, i, h.Verdict, h.Reasons)
			}
		}
	}
}

// Each of these keeps a whole record from a pass, and none makes it a failure.
func TestRuleADoubtAboutTheRecordIsNoPass(t *testing.T) {
	probe := setup.Sensor{ID: "w1", Measures: sensors.ProbeWet.String()}
	for _, c := range []struct {
		name   string
		change func(a *analysis)
		why    string
	}{
		{"lines are damaged", func(a *analysis) { a.whole.Intact = false }, "the record is not intact: lines are damaged"},
		{"the chain is broken", func(a *analysis) { a.whole.Intact = false; a.trust = []string{"line 7"} }, "not intact: line 7"},
		{"it was stopped", func(a *analysis) { a.x.aborted, a.x.ended = true, false }, "the run was stopped before its end"},
		{"it was stopped, and has its end", func(a *analysis) { a.x.aborted = true }, "the run was stopped before its end"},
		{"it has no end", func(a *analysis) { a.x.ended = false }, "the record has no end: the run was cut off"},
		{"the transducer stood still", func(a *analysis) { a.stills = []gap{{400, 460}} }, "stood still for 60 s from"},
		{"the inlet may have done it", func(a *analysis) { a.unsure = []jump{{t0: 210, drop: 700}} }, "the pressure missed 700 Pa"},
		{"a stage was not held", func(a *analysis) { a.stages = a.stages[:1] }, "the stage at 30.0 m was not held"},
		{"no stage", func(a *analysis) { a.stages, a.run.Profile.Stages = nil, nil }, "the record holds no stage"},
		{"a wet reading", func(a *analysis) { a.x.wets = []wetting{{sensor: "w1", t: 50}} }, "probe w1 was wet for one reading at"},
		{"transducers that stray apart", func(a *analysis) { a.s.second = 2.01 * a.classSD() }, "the two transducers wander apart by"},
		{"humidity that was not judged", func(a *analysis) {
			a.in = &void{t: []float64{0}, mg: []float64{1}, pa: []float64{1e5}, jumps: []jump{}}
		}, "the humidity inside could not be judged"},
		{"humidity that was not judged in the only stage", func(a *analysis) {
			a.stages, a.run.Profile.Stages = a.stages[:1], a.run.Profile.Stages[:1]
			a.in = &void{t: []float64{0}, mg: []float64{1}, pa: []float64{1e5}, jumps: []jump{}}
		}, "the humidity inside could not be judged"},
		{"the first hold cut short", func(a *analysis) { a.stages[0].hold.end = a.stages[0].hold.start + 200 }, "hold at 3.0 m: the hold was cut short: 200 s of 300 s"},
		{"humidity that could not be judged", func(a *analysis) {
			a.in, a.damp = &void{t: []float64{0}, mg: []float64{1}, pa: []float64{1e5}, jumps: []jump{}}, &damp{u: math.NaN()}
		}, "the humidity inside could not be judged"},
		{"no blank", func(a *analysis) { a.v.blankGiven = false }, "the bench's own leak is not known"},
		{"no blank, and only a thermometer inside", func(a *analysis) { a.v.blankGiven, a.in = false, &void{} }, "the bench's own leak is not known"},
		{"air near saturation", func(a *analysis) { a.run.Profile.Accept.MoistureMGPerH, a.damp = 0.8, &damp{near: true} }, "the air inside came near saturation"},
		{"a probe that fell silent", func(a *analysis) {
			a.run.Bench.Sensors, a.x.blindAt = []setup.Sensor{probe}, map[string]float64{"w1": 1500}
		}, "wet probe w1 could not be read at the end"},
		{"a hold that could not be measured", func(a *analysis) { a.stages[1].both = nil }, "hold at 30.0 m: the leak could not be measured"},
		{"a hold that a gap cut off and nobody repeated", func(a *analysis) { a.stages[1].both, a.stages[1].lost = nil, true }, "hold at 30.0 m: the leak could not be measured"},
	} {
		a := measured(t)
		c.change(a)
		v := a.judge().Verdict
		if v.Verdict != Inconclusive || !strings.Contains(said(&v, nil), c.why) || len(v.Reasons) != 1 || v.RatedDepthM != 0 || v.FirstFailure != nil || v.Holds == nil {
			t.Errorf("%s: %s %q, rated %v m; want %q", c.name, v.Verdict, v.Reasons, v.RatedDepthM, c.why)
		}
	}
}

// And these do not.
func TestRuleWhatIsNoDoubtLeavesAPass(t *testing.T) {
	for name, change := range map[string]func(a *analysis){
		"transducers that stay together": func(a *analysis) { a.s.second = 2 * a.classSD() },
		"no blank, but a pressure inside": func(a *analysis) {
			a.v.blankGiven, a.in = false, &void{t: []float64{0}, pa: []float64{1e5}, jumps: []jump{}}
		},
		"air near saturation without a limit":    func(a *analysis) { a.damp = &damp{near: true} },
		"a limit and air that is dry":            func(a *analysis) { a.run.Profile.Accept.MoistureMGPerH, a.damp = 2, &damp{} },
		"a stage without a hold":                 func(a *analysis) { a.run.Profile.Stages = append(a.run.Profile.Stages, profiles.Stage{DepthM: 40}) },
		"a stage that is judged apart":           func(a *analysis) { a.stages = a.stages[:1]; a.apart = []*apart{{stage: &stage{index: 1}}} },
		"a hold that was cut off and done again": func(a *analysis) { again(a) },
		"a fault of a probe after the vent": func(a *analysis) {
			a.run.Bench.Sensors, a.x.blindAt = []setup.Sensor{{ID: "w1", Measures: sensors.ProbeWet.String()}}, map[string]float64{"w1": 1950}
		},
	} {
		a := measured(t)
		change(a)
		if v := a.judge().Verdict; v.Verdict != Pass {
			t.Errorf("%s: %s %q", name, v.Verdict, v.Reasons)
		}
	}
}

// again has the deeper stage cut off in its hold and begun again.
func again(a *analysis) {
	cut := *a.stages[1]
	cut.lost, cut.both, cut.hold = true, nil, interval{650, 700}
	next := *a.stages[1]
	next.order = 2
	a.stages = []*stage{a.stages[0], &cut, &next}
}

// What fails says what and where; the holds before it stay proved, and nothing is rated.
func TestRuleAFailureIsSaidAndKeepsWhatWasProvedBefore(t *testing.T) {
	a := measured(t)
	a.stages[1].both = bounded(2, 3)
	a.stills = []gap{{1, 2}} // a doubt beside a failure changes nothing
	v := a.judge().Verdict
	if v.Verdict != Fail || v.FirstFailure == nil || v.ProvedDepthM != 3 || v.FirstFailure.LastTightDepthM != 3 || v.RatedDepthM != 0 || v.FirstFailure.Mode != Seep {
		t.Fatalf("%+v, first failure %+v", v, v.FirstFailure)
	}
	if len(v.Reasons) != 1 || !strings.Contains(v.Reasons[0], "leak of 2.5 ml/h") || v.Holds[0].Verdict != Pass || v.Holds[1].Verdict != Fail {
		t.Errorf("%q, holds %s and %s", v.Reasons, v.Holds[0].Verdict, v.Holds[1].Verdict)
	}
	// The deeper hold's pass proves nothing where the shallower one failed.
	a = measured(t)
	a.stages[0].both = bounded(2, 3)
	if v := a.judge().Verdict; v.Verdict != Fail || v.ProvedDepthM != 0 || v.FirstFailure == nil || v.FirstFailure.LastTightDepthM != 0 {
		t.Errorf("it leaked at 3 m: %+v, %+v", v, v.FirstFailure)
	}
	// A leak that a twentieth of the readings prove is a failure all the same: when it began, nobody saw.
	a = measured(t)
	a.stages[1].both, a.stages[1].missing = bounded(2, 3), 0.95
	if v := a.judge().Verdict; v.Verdict != Fail || v.FirstFailure != nil || said(&v, nil) != "a hold leaks more than the limit" {
		t.Errorf("%s %q %+v", v.Verdict, v.Reasons, v.FirstFailure)
	}
}

func TestRuleFiftyGapsAreListed(t *testing.T) {
	a := measured(t)
	for i := range 60 {
		a.gaps = append(a.gaps, gap{float64(10 * i), float64(10*i + 7)})
	}
	gaps := a.judge().Verdict.Integrity.Gaps
	if len(gaps) != 50 || !strings.HasSuffix(gaps[1], ": no chamber pressure for 7 s") || !strings.HasPrefix(gaps[1], a.x.at(10).Format("15:04:05")+" to "+a.x.at(17).Format("15:04:05")) {
		t.Errorf("%d gaps, %q", len(gaps), gaps[1])
	}
}
