package statistics

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// invented makes a data set with what a bench gives: steps, exact values, units
// that did not fail, and units that failed in the first stage.
func invented(chance *rand.Rand, n int, sigma float64) []Observation {
	var all []Observation
	step := 2 + 6*chance.Float64()
	most := 25 + 60*chance.Float64()
	for range n {
		v := 40 * math.Exp(sigma*chance.NormFloat64())
		k := math.Floor(v / step)
		o := Observation{LowM: k * step, HighM: (k + 1) * step}
		switch {
		case v > most:
			o = Observation{LowM: most, HighM: math.Inf(1)}
		case chance.Float64() < 0.2:
			o = Observation{LowM: v, HighM: v}
		case chance.Float64() < 0.1:
			o.LowM = 0
		}
		all = append(all, o)
	}
	return all
}

// TestFitsAgreeWithR runs testdata/survreg.R (R, package survival) on 200 random
// censored data sets.
func TestFitsAgreeWithR(t *testing.T) {
	rscript, err := exec.LookPath("Rscript")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("no Rscript: .ci/run installs it")
		}
		t.Skip("no Rscript here")
	}
	chance := rand.New(rand.NewPCG(5, 3))
	var csv bytes.Buffer
	csv.WriteString("set,lower,upper\n")
	var sets [][]Observation
	for len(sets) < 200 {
		all := invented(chance, 4+chance.IntN(30), 0.1+0.4*chance.Float64())
		if _, err := Estimate(Weibull, all); err != nil {
			continue
		}
		for _, o := range all {
			low, high := "NA", "NA"
			if o.LowM > 0 {
				low = fmt.Sprintf("%.17g", o.LowM)
			}
			if o.Failed() {
				high = fmt.Sprintf("%.17g", o.HighM)
			}
			fmt.Fprintf(&csv, "%d,%s,%s\n", len(sets), low, high)
		}
		sets = append(sets, all)
	}
	file := filepath.Join(t.TempDir(), "sets.csv")
	if err := os.WriteFile(file, csv.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(rscript, "--vanilla", "testdata/survreg.R", file).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	compared, better := 0, 0
	for line := range strings.Lines(string(out)) {
		var set int
		var dist string
		var location, scale, ll float64
		if _, err := fmt.Sscan(line, &set, &dist, &location, &scale, &ll); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		f := Weibull
		if dist == "lognormal" {
			f = Lognormal
		}
		fit, err := Estimate(f, sets[set])
		if err != nil {
			t.Errorf("set %d, %s: %v", set, dist, err)
			continue
		}
		compared++
		if fit.LogLik > ll+1e-5 { // survreg stopped below the maximum
			better++
			continue
		}
		near(t, fmt.Sprint("log-likelihood of set ", set, " ", dist), fit.LogLik, ll, 1e-6)
		near(t, fmt.Sprint("location of set ", set, " ", dist), fit.Location, location, 1e-5)
		near(t, fmt.Sprint("scale of set ", set, " ", dist), fit.Scale, scale, 1e-4)
	}
	if compared != 400 || better > 8 {
		t.Errorf("%d fits compared, 400 wanted; in %d ours lies higher", compared, better)
	}
	t.Logf("%d fits compared with R; in %d survreg stopped short of the maximum", compared, better)
}
