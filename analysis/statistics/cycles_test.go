package statistics

import (
	"math"
	"strings"
	"testing"

	"proofpot/analysis/register"
	"proofpot/profiles"
)

// TestLivesWithRunOutsAgreeWithAPublishedExample: Meeker and Escobar 1998,
// "Statistical Methods for Reliability Data", example 8.16: 1703 bearing cages, 6
// failed (table C.5, from Abernethy and others 1983): β 2.035, B10 3903 h, its 95 %
// likelihood-ratio limits 2093 and 22144 h, by the chi-square critical value. scipy
// 1.10.1 has 3903.127, 2094.281 and 22144.427 for the same data.
func TestLivesWithRunOutsAgreeWithAPublishedExample(t *testing.T) {
	var all []Observation
	for _, c := range []struct {
		n      int
		failed bool
		h      float64
	}{
		{288, false, 50}, {148, false, 150}, {1, true, 230}, {124, false, 250}, {1, true, 334}, {111, false, 350}, {1, true, 423},
		{106, false, 450}, {99, false, 550}, {110, false, 650}, {114, false, 750}, {119, false, 850}, {127, false, 950}, {1, true, 990},
		{1, true, 1009}, {123, false, 1050}, {93, false, 1150}, {47, false, 1250}, {41, false, 1350}, {27, false, 1450}, {1, true, 1510},
		{11, false, 1550}, {6, false, 1650}, {1, false, 1850}, {2, false, 2050},
	} {
		o := between(c.h, math.Inf(1))
		if c.failed {
			o.HighM = c.h
		}
		for range c.n {
			all = append(all, o)
		}
	}
	if len(all) != 1703 {
		t.Fatalf("%d units", len(all))
	}
	fit, err := Estimate(Weibull, all)
	if err != nil {
		t.Fatal(err)
	}
	z := Weibull.Z(0.1)
	near(t, "β", fit.Shape(), 2.035, 2e-4)
	near(t, "B10", fit.Quantile(0.1), 3903, 2e-4)
	low, high := math.Exp(fit.quantileEnd(z, normalZ(0.975), -1)), math.Exp(fit.quantileEnd(z, normalZ(0.975), 1))
	near(t, "its lower limit, as published", low, 2093, 1e-3)
	near(t, "its upper limit, as published", high, 22144, 1e-4)
	near(t, "B10 by scipy", fit.Quantile(0.1), 3903.1268, 1e-6)
	near(t, "its lower limit by scipy", low, 2094.2808, 1e-6)
	near(t, "its upper limit by scipy", high, 22144.427, 1e-6)
	// With 6 failures the limit that we give is lower: their critical value is not
	// the chi-square's.
	if low := fit.QuantileLimits(0.1, 0.95).Low; !(low < 2093 && low > 1500) {
		t.Errorf("our lower limit %.0f h", low)
	}
}

func cycled(unit string, closure, stood, failedBy int) register.Cycled {
	return register.Cycled{Unit: unit, Variant: "A", Record: unit, Closure: closure, Water: profiles.Water{Model: "sea"}, Mode: "seep",
		Cycling: register.Cycling{DepthM: 30, Stood: stood, FailedBy: failedBy}}
}

func TestARunOutIsRightCensoredAndALeakLiesInItsCycle(t *testing.T) {
	other := cycled("KP-05", 1, 80, 0)
	other.DepthM = 40
	h := ObserveCycles([]register.Cycled{
		cycled("KP-01", 1, 50, 0),
		cycled("KP-02", 1, 16, 17),
		cycled("KP-03", 1, 0, 50), // found in the hold after the last cycle
		cycled("KP-04", 1, 0, 0),
		other,
	}, 30)
	if len(h) != 1 || len(h[0].Observations) != 3 || h[0].CyclesToM != 30 {
		t.Fatalf("%+v", h)
	}
	for i, want := range [][2]float64{{50, math.Inf(1)}, {16, 17}, {0, 50}} {
		if o := h[0].Observations[i]; o.LowM != want[0] || o.HighM != want[1] {
			t.Errorf("%+v, want %v", o, want)
		}
	}
	if left := strings.Join(h[0].Left, "\n"); !strings.Contains(left, "KP-04") {
		t.Errorf("left out: %s", left)
	}
}

func TestOneClosureOfAUnitCounts(t *testing.T) {
	for name, c := range map[string]struct {
		all  []register.Cycled
		want Observation
	}{
		"the longer":                  {[]register.Cycled{cycled("KP-01", 1, 20, 0), cycled("KP-01", 2, 50, 0), cycled("KP-01", 3, 10, 0)}, between(50, math.Inf(1))},
		"the one that leaked":         {[]register.Cycled{cycled("KP-01", 1, 50, 0), cycled("KP-01", 2, 11, 12)}, between(11, 12)},
		"not what was repaired since": {[]register.Cycled{cycled("KP-01", 1, 11, 12), cycled("KP-01", 2, 50, 0)}, between(11, 12)},
	} {
		h := ObserveCycles(c.all, 30)
		if o := h[0].Observations; len(o) != 1 || o[0].LowM != c.want.LowM || o[0].HighM != c.want.HighM || len(h[0].Left) != len(c.all)-1 {
			t.Errorf("%s: %+v, left out %q", name, o, h[0].Left)
		}
	}
}
