package statistics

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*max(1e-9, math.Abs(want))) {
		t.Errorf("%s: %.9g, want %.9g", what, got, want)
	}
}

// TestFitsAgreeWithSurvreg compares with fits computed by R survival 3.5-3
// (testdata/weibull_censored_survreg.json, tolerances of that file).
func TestFitsAgreeWithSurvreg(t *testing.T) {
	raw, err := os.ReadFile("testdata/weibull_censored_survreg.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Sets map[string]struct {
			Data               []struct{ Lower, Upper *float64 }
			Weibull, Lognormal map[string]float64
		}
	}
	if err := json.Unmarshal(raw, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Sets) < 3 {
		t.Fatalf("%d sets", len(file.Sets))
	}
	for name, set := range file.Sets {
		var all []Observation
		for _, d := range set.Data {
			o := Observation{LowM: 0, HighM: math.Inf(1)}
			if d.Lower != nil {
				o.LowM = *d.Lower
			}
			if d.Upper != nil {
				o.HighM = *d.Upper
			}
			all = append(all, o)
		}
		fit, err := Estimate(Weibull, all)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		w := set.Weibull
		near(t, name+" shape", fit.Shape(), w["shape_k"], 1e-5)
		near(t, name+" eta", math.Exp(fit.Location), w["eta"], 1e-5)
		near(t, name+" se location", fit.SELoc, w["se_intercept"], 1e-3)
		near(t, name+" se log scale", fit.SELogScl, w["se_log_scale"], 1e-3)
		near(t, name+" covariance", fit.CovLS, w["cov_intercept_logscale"], 1e-3)
		near(t, name+" B10", fit.Quantile(0.1), w["quantile_p0.10"], 1e-5)
		near(t, name+" B1", fit.Quantile(0.01), w["quantile_p0.01"], 1e-5)
		if math.Abs(fit.LogLik-w["loglik"]) > 1e-6 {
			t.Errorf("%s: log-likelihood %.8f, want %.8f", name, fit.LogLik, w["loglik"])
		}
		fit, err = Estimate(Lognormal, all)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		near(t, name+" mean log", fit.Location, set.Lognormal["mean_log"], 1e-5)
		near(t, name+" sd log", fit.Scale, set.Lognormal["sd_log"], 1e-5)
		if math.Abs(fit.LogLik-set.Lognormal["loglik"]) > 1e-6 {
			t.Errorf("%s: lognormal log-likelihood %.8f, want %.8f", name, fit.LogLik, set.Lognormal["loglik"])
		}
	}
}

// rows reads a reference table: columns by name, remarks begin with #.
func rows(t *testing.T, file string) []map[string]string {
	raw, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	r := csv.NewReader(strings.NewReader(string(raw)))
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var list []map[string]string
	for _, cells := range all[1:] {
		m := map[string]string{}
		for i, c := range cells {
			m[all[0][i]] = c
		}
		list = append(list, m)
	}
	return list
}

func number(t *testing.T, s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestBinomialBounds compares with beta quantiles computed by scipy 1.10.1
// (testdata/clopper_pearson.csv).
func TestBinomialBounds(t *testing.T) {
	for _, r := range rows(t, "testdata/clopper_pearson.csv") {
		n, x, c := int(number(t, r["n"])), int(number(t, r["x_failures"])), number(t, r["confidence"])
		l := FailShareLimits(n, x, c)
		for _, v := range [][2]float64{{l.Low, number(t, r["cp_low"])}, {l.High, number(t, r["cp_high"])},
			{PassShareLower(n, x, c), number(t, r["R_lower_one_sided"])}} {
			if math.Abs(v[0]-v[1]) > 1e-6 {
				t.Errorf("n %d, %d failed, %g: %.9f, want %.9f", n, x, c, v[0], v[1])
			}
		}
		if x == 0 && math.Abs(SuccessRun(n, c)-number(t, r["R_lower_one_sided"])) > 1e-6 {
			t.Errorf("success run of %d", n)
		}
	}
}

// TestSuccessRunUnits compares with the tabulated numbers of units
// (testdata/success_run.csv).
func TestSuccessRunUnits(t *testing.T) {
	for _, r := range rows(t, "testdata/success_run.csv") {
		if got, want := SuccessRunUnits(number(t, r["R"]), number(t, r["confidence"])), int(number(t, r["n"])); got != want {
			t.Errorf("%s at %s: %d, want %d", r["R"], r["confidence"], got, want)
		}
	}
}

// TestNormalQuantile: scipy 1.10.1, norm.ppf.
func TestNormalQuantile(t *testing.T) {
	for p, want := range map[float64]float64{0.5: 0, 0.8: 0.841621233573, 0.9: 1.28155156554, 0.95: 1.64485362695, 0.975: 1.95996398454} {
		if got := Lognormal.Z(p); math.Abs(got-want) > 1e-9 {
			t.Errorf("%g: %.12f, want %.12f", p, got, want)
		}
	}
}

// TestToleranceFactors: nct.ppf(C, n−1, z·√n)/√n by scipy 1.10.1.
func TestToleranceFactors(t *testing.T) {
	for _, c := range []struct {
		n                 int
		share, conf, want float64
	}{
		{2, 0.9, 0.9, 10.2527140},
		{2, 0.95, 0.95, 26.2596740},
		{2, 0.9, 0.95, 20.5814676},
		{3, 0.9, 0.9, 4.2581649},
		{3, 0.95, 0.95, 7.6559001},
		{3, 0.9, 0.95, 6.1552811},
		{5, 0.9, 0.9, 2.7423482},
		{5, 0.95, 0.95, 4.2026807},
		{5, 0.9, 0.95, 3.4066333},
		{10, 0.9, 0.9, 2.0656683},
		{10, 0.95, 0.95, 2.9109634},
		{10, 0.9, 0.95, 2.3546401},
		{30, 0.9, 0.9, 1.6570649},
		{30, 0.95, 0.95, 2.2198375},
		{30, 0.9, 0.95, 1.7773288},
		{100, 0.9, 0.9, 1.4700616},
		{100, 0.95, 0.95, 1.9265389},
		{100, 0.9, 0.95, 1.5267487},
	} {
		near(t, "k", ToleranceFactor(c.n, c.share, c.conf), c.want, 1e-5)
	}
}

// TestProofCredit: worked values, R = 0.1^(1/(n·k^β)) by hand calculator.
func TestProofCredit(t *testing.T) {
	for _, c := range []struct {
		n               int
		factor, slope   float64
		want, tolerance float64
	}{{1, 1.25, 8, 0.68, 0.005}, {3, 1.25, 8, 0.88, 0.005}, {1, 1.5, 8, 0.91, 0.005}, {3, 1.5, 8, 0.97, 0.005}, {5, 1.5, 8, 0.98, 0.005}, {1, 1.5, 4, 0.64, 0.006}, {3, 1.5, 4, 0.86, 0.005}} {
		if got := ProofCredit(c.n, c.factor, c.slope, 0.9); math.Abs(got-c.want) > c.tolerance {
			t.Errorf("%d units at %g, slope %g: %.4f, want %.2f", c.n, c.factor, c.slope, got, c.want)
		}
	}
}

// TestTheBinomialBoundsHoldAtEveryShare: no simulation, every outcome is counted.
// One-sided and two-sided bounds are never less often right than they say.
func TestTheBinomialBoundsHoldAtEveryShare(t *testing.T) {
	for _, n := range []int{3, 5, 10} {
		for pass := 0.005; pass < 1; pass += 0.005 {
			one, both := 0.0, 0.0
			for failed := 0; failed <= n; failed++ {
				chance := choose(n, failed) * math.Pow(1-pass, float64(failed)) * math.Pow(pass, float64(n-failed))
				if PassShareLower(n, failed, 0.9) <= pass {
					one += chance
				}
				if l := FailShareLimits(n, failed, 0.95); l.Low <= 1-pass && 1-pass <= l.High {
					both += chance
				}
			}
			if one < 0.9-1e-9 || both < 0.95-1e-9 {
				t.Errorf("%d units, share %.3f: lower 90 %% bound right in %.4f, both 95 %% limits in %.4f", n, pass, one, both)
			}
		}
	}
}
