package analysis

import (
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"proofpot/profiles/water"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

// described analyses every recording once for all the tests below.
func described(t *testing.T) ([]recorded, []*Result) {
	t.Helper()
	once.Do(func() {
		list := recordings(t)
		for i := range list {
			r, err := Analyse(list[i].run, list[i].name, &source{lines: list[i].lines})
			if err != nil {
				t.Fatal(list[i].name, err)
			}
			allResults = append(allResults, r)
		}
		allRecordings = list
	})
	if len(allRecordings) == 0 {
		t.Fatal("the records could not be analysed")
	}
	return allRecordings, allResults
}

var (
	once          sync.Once
	allRecordings []recorded
	allResults    []*Result
)

func TestStagesRunFromOneStageLineToTheNext(t *testing.T) {
	list, results := described(t)
	for i, r := range results {
		var starts []int64
		for _, l := range list[i].lines {
			if l.Measurement == record.Stage {
				starts = append(starts, l.TimeNS)
			}
		}
		if len(starts) != len(r.Stages) {
			t.Fatalf("%s: %d stage lines, %d stages", list[i].name, len(starts), len(r.Stages))
		}
		for k, s := range r.Stages {
			end := list[i].lines[len(list[i].lines)-1].TimeNS
			if k+1 < len(starts) {
				end = starts[k+1]
			}
			if s.Start.UnixNano() != starts[k] || math.Abs(float64(s.End.UnixNano()-end)) > 1e6 {
				t.Errorf("%s: stage %d from %s to %s", list[i].name, k, s.Start, s.End)
			}
		}
	}
}

func TestAThinnedCurveKeepsItsExtremes(t *testing.T) {
	list, results := described(t)
	for i, r := range results {
		c := r.Curves
		for name, curve := range map[string][]Point{"chamber": c.ChamberPa, "fitted": c.ChamberFittedPa, "gas": c.GasC, "water": c.WaterC, "inside": c.InsidePa,
			"inside temperature": c.InsideC, "relative humidity": c.InsideRHPct, "absolute humidity": c.AbsHumidityGM3} {
			if len(curve) > mostPoints {
				t.Errorf("%s: %s has %d points", list[i].name, name, len(curve))
			}
			if !slices.IsSortedFunc(curve, func(a, b Point) int { return a.Time.Compare(b.Time) }) {
				t.Errorf("%s: %s is out of order", list[i].name, name)
			}
		}
		low, high := math.Inf(1), math.Inf(-1)
		for _, l := range list[i].lines {
			if l.Measurement == record.Chamber && !math.IsNaN(l.GasC) {
				low, high = min(low, l.GasC), max(high, l.GasC)
			}
		}
		cl, ch := math.Inf(1), math.Inf(-1)
		for _, p := range c.GasC {
			cl, ch = min(cl, p.Value), max(ch, p.Value)
		}
		if math.Abs(cl-low) > 1e-4 && !math.IsInf(low, 1) || math.Abs(ch-high) > 1e-4 && !math.IsInf(high, -1) {
			t.Errorf("%s: gas from %g to %g, drawn from %g to %g", list[i].name, low, high, cl, ch)
		}
	}
}

// In a hold that passed, what was read stays at what a tight unit would have
// shown; in one that leaks it falls below by what the leak took.
func TestReadLessFittedIsWhatTheLeakTook(t *testing.T) {
	list, results := described(t)
	leaks := 0
	for i, r := range results {
		for _, h := range r.Verdict.Holds {
			var last Point
			for _, p := range r.Curves.ChamberFittedPa {
				if !p.Time.Before(h.Start) && !p.Time.After(h.End) {
					last = p
				}
			}
			if last.Time.IsZero() || h.LeakMLPerH == nil || len(r.Verdict.Integrity.Gaps) > 0 {
				continue
			}
			sum, n := 0.0, 0.0
			for _, l := range list[i].lines {
				at := time.Unix(0, l.TimeNS)
				if l.Measurement == record.Chamber && !math.IsNaN(l.PressurePa) && at.After(last.Time.Add(-10*time.Second)) && !at.After(h.End) && l.PressurePa > 0.5*last.Value && l.PressurePa < 2*last.Value {
					sum += l.PressurePa
					n++
				}
			}
			if n < 5 {
				continue
			}
			below := last.Value - sum/n
			q := h.LeakMLPerH
			switch {
			case h.Verdict == Pass && math.Abs(below) > 0.02*last.Value:
				t.Errorf("%s stage %d passed, and ends %.0f Pa below a tight unit", list[i].name, h.Stage, below)
			case q.Low > 20*list[i].run.Profile.Accept.LeakMLPerH:
				leaks++
				if below < 0 {
					t.Errorf("%s stage %d leaks %.3g ml/h and ends %.0f Pa above a tight unit", list[i].name, h.Stage, q.Estimate, -below)
				}
			}
		}
	}
	t.Logf("%d leaking holds", leaks)
}

func TestWhatWasNotMeasuredIsNotANumber(t *testing.T) {
	list, results := described(t)
	for i, r := range results {
		gas, water := false, false
		peak := 0.0
		for _, l := range list[i].lines {
			gas = gas || !math.IsNaN(l.GasC)
			water = water || !math.IsNaN(l.WaterC)
			if l.Measurement == record.Chamber && l.PressurePa > peak {
				peak = l.PressurePa
			}
		}
		c := r.Conditions
		if gas == math.IsNaN(c.GasMinC) || water == math.IsNaN(c.WaterMaxC) {
			t.Errorf("%s: gas read %v, %g; water read %v, %g", list[i].name, gas, c.GasMinC, water, c.WaterMaxC)
		}
		if c.PeakPa > peak+1 || c.PeakPa < 0.9*peak && len(r.Events) < 3 {
			t.Errorf("%s: peak %g, read %g", list[i].name, c.PeakPa, peak)
		}
		if list[i].run.Bench.Medium == setup.MediumGas != math.IsNaN(c.FreeGasML) {
			t.Errorf("%s: gas cushion %g ml", list[i].name, c.FreeGasML)
		}
		if !(c.SampleS > 0 && c.ComplianceMLPerBar > 0) {
			t.Errorf("%s: every %g s, %g ml/bar", list[i].name, c.SampleS, c.ComplianceMLPerBar)
		}
	}
}

func TestTheBudgetAddsUpToTheUncertaintyOfTheDecidingHold(t *testing.T) {
	list, results := described(t)
	for i, r := range results {
		sum := 0.0
		for k, b := range r.Budget {
			sum += b.MLPerH * b.MLPerH
			if k > 0 && b.MLPerH > r.Budget[k-1].MLPerH || b.Remarks == "" {
				t.Errorf("%s: budget line %+v", list[i].name, b)
			}
		}
		near := false
		for _, h := range r.Verdict.Holds {
			if h.LeakMLPerH != nil {
				u := (h.LeakMLPerH.High - h.LeakMLPerH.Low) / 2 / coverage95
				near = near || math.Abs(math.Sqrt(sum)-u) < 0.05*u
			}
		}
		if len(r.Verdict.Holds) > 0 && !near {
			t.Errorf("%s: the budget adds up to %.3g ml/h, which is no hold's uncertainty", list[i].name, math.Sqrt(sum))
		}
	}
}

func TestExplanationsSpeakInFiguresOfTheRecord(t *testing.T) {
	list, results := described(t)
	for i, r := range results {
		v := r.Verdict.Verdict
		if len(r.Explanations) == 0 || len(r.Explanations) > mostCauses {
			t.Errorf("%s: %d explanations", list[i].name, len(r.Explanations))
			continue
		}
		ruled := false
		for _, e := range r.Explanations {
			if e.Holds && ruled {
				t.Errorf("%s: %q stands behind one that is ruled out", list[i].name, e.Cause)
			}
			ruled = !e.Holds
			for _, s := range append(append([]string{e.Experiment}, e.For...), e.Against...) {
				if strings.Contains(s, "NaN") || strings.Contains(s, "Inf") || strings.Contains(s, "%!") {
					t.Errorf("%s: %s: %s", list[i].name, e.Cause, s)
				}
			}
		}
		first := r.Explanations[0]
		if v == Fail && (!first.Holds || !slices.Contains([]string{"leak into the unit", "the unit gave way at once", "water vapour coming into the unit"}, first.Cause)) {
			t.Errorf("%s failed, and first comes %q", list[i].name, first.Cause)
		}
		for _, e := range r.Explanations {
			if v == Pass && e.Holds && (e.Cause == "leak into the unit" || e.Cause == "the unit gave way at once") {
				t.Errorf("%s passed, and %q stands", list[i].name, e.Cause)
			}
		}
		asks := slices.ContainsFunc(r.Explanations, func(e Explanation) bool { return e.Experiment != "" })
		if v == Inconclusive && !asks {
			t.Errorf("%s is in doubt, and no experiment would settle it", list[i].name)
		}
	}
}

func TestTheSameRecordIsDescribedAlike(t *testing.T) {
	list := recordings(t)[:2]
	for i := range list {
		a, err := Analyse(list[i].run, list[i].name, &source{lines: list[i].lines})
		if err != nil {
			t.Fatal(err)
		}
		b, err := Analyse(list[i].run, list[i].name, &source{lines: list[i].lines})
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(a.Events, b.Events) || !slices.Equal(a.Curves.ChamberFittedPa, b.Curves.ChamberFittedPa) || !slices.Equal(a.Budget, b.Budget) {
			t.Errorf("%s is described in two ways", list[i].name)
		}
		for k := range a.Explanations {
			if a.Explanations[k].Cause != b.Explanations[k].Cause {
				t.Errorf("%s: %q and %q", list[i].name, a.Explanations[k].Cause, b.Explanations[k].Cause)
			}
		}
	}
}

// A record can hold more events than a certificate has room for: the least
// telling are left out, and counted.
func TestWhatIsLeftOutOfTheEventsIsCounted(t *testing.T) {
	x := recordings(t)[0]
	last := x.lines[len(x.lines)-1]
	for range 3000 {
		var l record.Line
		l.Clear()
		l.TimeNS, l.Measurement, l.Text = last.TimeNS, record.Note, strings.Repeat("wind ", 200)
		x.lines = append(x.lines, l)
	}
	r, err := Analyse(x.run, x.name, &source{lines: x.lines})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Events) != mostEvents {
		t.Fatalf("%d events", len(r.Events))
	}
	said := false
	for _, e := range r.Events {
		said = said || strings.Contains(e.Text, "left out") && strings.Contains(e.Text, "× note")
		if len([]rune(e.Text)) > mostWords {
			t.Errorf("%d characters", len([]rune(e.Text)))
		}
	}
	if !said {
		t.Error("nothing says what was left out")
	}
}

// Density of saturated vapour in steam tables (from memory): 10 °C 9.41, 20 °C
// 17.31, 30 °C 30.41 g/m³; a real gas, of which the ideal one lies up to 0.2 % off.
func TestAbsoluteHumidityAgreesWithTheSteamTables(t *testing.T) {
	for c, want := range map[float64]float64{10: 9.41, 20: 17.31, 30: 30.41} {
		if got := vapourGM3(100, c); math.Abs(got-want) > 0.004*want {
			t.Errorf("%g °C: %.3f g/m³, the tables have %.3f", c, got, want)
		}
	}
	if got := vapourGM3(50, 20); math.Abs(got-water.SaturationPa(20)/2/461.526/293.15*1000) > 1e-9 {
		t.Errorf("half saturated: %g g/m³", got)
	}
}
