package statistics

import (
	"math"
	"strings"
	"testing"

	"proofpot/analysis"
	"proofpot/profiles"
	"proofpot/rig/setup"
)

func rule() Rule {
	return Rule{Family: Weibull, Share: 0.1, Confidence: 0.9, Slope: AssumedSlope, ProofFactor: 1.25, BenchLimitM: 100}
}

// TestFiveProofsWithoutAFailure: 37.5·(5·0.10536/2.30259)^(1/6) = 29.33 by hand,
// the proof over its factor 30.
func TestFiveProofsWithoutAFailure(t *testing.T) {
	var all []Observation
	for range 5 {
		all = append(all, Observation{LowM: 37.5, HighM: math.Inf(1), ProvedM: 37.5})
	}
	got, err := Rate(all, rule())
	if err != nil || !got.Design || got.DepthM != 29 || got.Bound.Method != ByZeroFailure || math.Abs(got.Bound.ValueM-29.33) > 0.01 {
		t.Errorf("%+v, %v", got, err)
	}
	if got, _ := Rate(all[:4], rule()); got.Design {
		t.Error("four units without a failure make a design rating")
	}
}

func TestTheLeastTermRates(t *testing.T) {
	var all []Observation
	for _, d := range []float64{90, 91, 92, 93, 94, 95, 96} {
		all = append(all, Observation{LowM: d, HighM: d + 0.5, ProvedM: d})
	}
	r := rule()
	r.BenchLimitM, r.TemperatureM = 70, 25.9
	if got, err := Rate(all, r); err != nil || got.DepthM != 25 {
		t.Errorf("%+v, %v; want the limit by temperature rounded down", got, err)
	}
	r.TemperatureM = 0
	if got, err := Rate(all, r); err != nil || got.DepthM != 56 {
		t.Errorf("%+v, %v; want the bench's limit over its factor", got, err)
	}
}

func TestTheTermThatGovernsIsTheLeastAndMarked(t *testing.T) {
	var all []Observation
	for _, d := range []float64{90, 91, 92, 93, 94, 95, 96} {
		all = append(all, Observation{LowM: d, HighM: d + 0.5, ProvedM: d})
	}
	r := rule()
	r.TemperatureM = 25.9
	got, err := Rate(all, r)
	if err != nil {
		t.Fatal(err)
	}
	marked := 0
	for _, term := range got.Terms {
		if term.Governs {
			marked++
			if term.Name != "limit by temperature" || math.Floor(term.ValueM) != got.DepthM {
				t.Errorf("%+v governs a rating of %g m", term, got.DepthM)
			}
		}
	}
	if marked != 1 || len(got.Terms) != 4 {
		t.Errorf("%d of %d terms govern", marked, len(got.Terms))
	}
}

// TestWhatUnitsShowAtADepth: by hand, of five units three held 30 m (two of them
// 37.5 m without a failure, one failed between 33 and 35 m), one failed between 28
// and 31 m and does not count as tight, one was taken to 20 m only and says
// nothing. Number alone: 4 units, 1 failed, lower 90 % bound 0.3205 (testdata:
// Clopper and Pearson, scipy). Levels count to 28 m at most, the last tight one of
// the first failure: Σ (level/30)^6 = 4·(28/30)^6 + (20/30)^6 = 2.7320, and
// 0.1^(1/2.7320) = 0.4305.
func TestWhatUnitsShowAtADepth(t *testing.T) {
	inf := math.Inf(1)
	all := []Observation{between(37.5, inf), between(37.5, inf), between(33, 35), between(28, 31), between(20, inf)}
	e := EvidenceAt(all, 30, 6, 0.9)
	if e.Held != 3 || e.Of != 4 || math.Abs(e.Plain-0.3205) > 1e-4 || math.Abs(e.Credited-0.4305) > 1e-4 {
		t.Errorf("%+v", e)
	}
	if math.Abs(e.MarginLow-28.0/30) > 1e-9 || math.Abs(e.MarginTop-28.0/30) > 1e-9 {
		t.Errorf("margins %g to %g", e.MarginLow, e.MarginTop)
	}
	if e := EvidenceAt(all, 50, 6, 0.9); e.Held != 0 || e.Of != 2 || e.Plain != 0 {
		t.Errorf("at 50 m: %+v", e)
	}
}

// TestCreditOfProofsToOneLevelIsTheFormulas: and what it says at the depth of the
// zero-failure method is the share that was asked for there.
func TestCreditOfProofsToOneLevelIsTheFormulas(t *testing.T) {
	inf := math.Inf(1)
	all := []Observation{between(37.5, inf), between(37.5, inf), between(37.5, inf)}
	near(t, "credit", ProofCreditAt(all, 30, 8, 0.9), ProofCredit(3, 1.25, 8, 0.9), 1e-12)
	mixed := []Observation{between(37.5, inf), between(24, inf), between(33, 35), between(30, 31)}
	near(t, "share", ProofCreditAt(mixed, ZeroFailure(mixed, 0.1, 6, 0.9), 6, 0.9), 0.9, 1e-12)
	if got := ProofCreditAt([]Observation{between(0, 10)}, 5, 6, 0.9); got != 0 {
		t.Errorf("nothing was proved, and %g of such units are tight", got)
	}
}

func TestOneFailureInOneStepIsNotEstimable(t *testing.T) {
	for _, all := range [][]Observation{
		{between(20, 30), between(20, 30), between(20, 30)},
		{between(20, 30), between(30, 40)},
		{between(20, math.Inf(1)), between(30, math.Inf(1))},
		{between(0, 10), between(0, 20)},
	} {
		for _, f := range []Family{Weibull, Lognormal} {
			if fit, err := Estimate(f, all); err == nil {
				t.Errorf("%v: scale %g", all, fit.Scale)
			}
		}
	}
}

func test(record, unit, verdict string, proved float64, f *analysis.FirstFailure) Test {
	t := Test{Record: record, Run: setup.Run{Unit: setup.Unit{ID: unit, Variant: "A"}, Profile: profiles.Profile{ProofFactor: 1.25}}}
	t.Verdict = analysis.Verdict{Verdict: verdict, ProvedDepthM: proved, FirstFailure: f, Integrity: analysis.Integrity{Intact: true}}
	return t
}

func TestTheTestsOfOneUnitAreOneObservation(t *testing.T) {
	seep := &analysis.FirstFailure{DepthM: 24.4, DepthLowM: 24.1, DepthHighM: 24.7, LastTightDepthM: 22.5, Mode: analysis.Seep}
	altered := test("20260105", "KP-03", analysis.Pass, 60, nil)
	altered.Verdict.Integrity.Intact = false
	h := Observe([]Test{
		test("20260103", "KP-01", analysis.Pass, 40, nil), // repaired
		test("20260102", "KP-01", analysis.Fail, 22.5, seep),
		test("20260101", "KP-01", analysis.Pass, 20, nil),
		test("20260104", "KP-02", analysis.Inconclusive, 15, nil),
		altered,
	}, Held)
	if len(h) != 1 || len(h[0].Observations) != 2 || h[0].NotIntact != 1 {
		t.Fatalf("%+v", h)
	}
	if o := h[0].Observations[0]; o.Unit != "KP-01" || o.LowM != 22.5 || o.HighM != 24.7 || o.Mode != analysis.Seep {
		t.Errorf("%+v, want failed between 22.5 and 24.7 m", o)
	}
	if o := h[0].Observations[1]; o.Failed() || o.LowM != 15 {
		t.Errorf("%+v, want tight to 15 m", o)
	}
	if left := strings.Join(h[0].Left, "\n"); !strings.Contains(left, "20260103") || !strings.Contains(left, "20260105") {
		t.Errorf("left out: %s", left)
	}
	if o := Observe([]Test{test("1", "KP-01", analysis.Fail, 22.5, seep)}, Began)[0].Observations[0]; o.LowM != 24.1 {
		t.Errorf("%+v, want from 24.1 m", o)
	}
}

func TestAFailureInAHoldLiesAtItsLevel(t *testing.T) {
	f := &analysis.FirstFailure{DepthM: 15.01, DepthLowM: 14.9, DepthHighM: 15.12, LastTightDepthM: 12, Mode: analysis.Seep}
	v := test("1", "KP-01", analysis.Fail, 12, f)
	v.Run.Profile.Stages = []profiles.Stage{{DepthM: 12}, {DepthM: 15}, {DepthM: 18}}
	if o := Observe([]Test{v}, Held)[0].Observations[0]; o.LowM != 12 || o.HighM != 15 {
		t.Errorf("%+v, want between the levels 12 and 15 m", o)
	}
	f.DepthHighM = 16
	if o := Observe([]Test{v}, Held)[0].Observations[0]; o.HighM != 16 {
		t.Errorf("%+v, want up to 16 m", o)
	}
}

func TestAUnitThatFailsShallowerThanItHeldCountsByItsLastTest(t *testing.T) {
	f := &analysis.FirstFailure{DepthM: 12, DepthLowM: 11.9, DepthHighM: 12.1, LastTightDepthM: 9, Mode: analysis.Burst}
	h := Observe([]Test{test("1", "KP-01", analysis.Pass, 30, nil), test("2", "KP-01", analysis.Fail, 9, f)}, Held)
	if o := h[0].Observations[0]; o.LowM != 9 || o.HighM != 12.1 || o.ProvedM != 9 {
		t.Errorf("%+v", o)
	}
}

func TestAnotherModeCensors(t *testing.T) {
	all := []Observation{{LowM: 10, HighM: 12, Mode: analysis.Seep}, {LowM: 20, HighM: 22, Mode: analysis.Collapse}, {LowM: 0, HighM: 3, Mode: analysis.Seep}}
	got := ByMode(all, analysis.Collapse)
	if len(got) != 2 || got[0].Failed() || got[0].LowM != 10 || !got[1].Failed() {
		t.Errorf("%+v", got)
	}
}

func BenchmarkFitWithProfileLimits(b *testing.B) {
	var all []Observation
	for i := range 100 {
		d := math.Floor(40*math.Exp(0.15*Weibull.Z((float64(i)+0.5)/100))/2) * 2
		all = append(all, Observation{LowM: d, HighM: d + 2})
		if i%5 == 4 {
			all[i].HighM = math.Inf(1)
		}
	}
	for b.Loop() {
		fit, err := Estimate(Weibull, all)
		if err != nil {
			b.Fatal(err)
		}
		fit.QuantileLimits(0.1, 0.95)
		fit.QuantileLimits(0.5, 0.95)
		fit.ScaleLimits(0.95)
		fit.QuantileLower(0.1, 0.9)
	}
}
