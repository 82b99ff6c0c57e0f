package statistics

import (
	"bytes"
	"flag"
	"fmt"
	"go/format"
	"math"
	"math/rand/v2"
	"os"
	"sort"
	"testing"
)

var update = flag.Bool("update", false, "simulate the table of critical values anew (some minutes)")

// roots simulates the signed roots of complete standard samples: for the scale,
// the ratio of two samples, and each tabled share.
func roots(f Family, n, runs int, chance *rand.Rand) [7][]float64 {
	var all [7][]float64
	sample := func() []datum {
		d := make([]datum, n)
		for i := range d {
			z := f.Z(chance.Float64())
			d[i] = datum{low: z, high: z}
		}
		return d
	}
	for range runs {
		fit, err := estimate(f, sample())
		if err != nil {
			continue
		}
		all[scaleTarget] = append(all[scaleTarget], math.Copysign(fit.root(fit.profileScale(1)), fit.Scale-1))
		for k, share := range quantileShares {
			z := f.Z(share)
			seen := fit.Location + fit.Scale*z
			t := quantileTargets + target(k)
			all[t] = append(all[t], math.Copysign(fit.root(fit.profileQuantile(z, z-fit.centre, fit.best.a)), seen-z))
		}
		p, err := newPair(f, sample(), sample())
		if err == nil {
			all[ratioTarget] = append(all[ratioTarget], math.Sqrt(max(0, 2*(p.best.ll-p.at(0)))))
		}
	}
	for _, list := range all {
		sort.Float64s(list)
	}
	return all
}

// ends reads the critical values off sorted roots.
func ends(t target, sorted []float64) criticalEntry {
	at := func(p float64) float64 { return sorted[min(len(sorted)-1, int(p*float64(len(sorted))))] }
	var e criticalEntry
	for k, tail := range tails {
		if t == ratioTarget { // unsigned: both ends are the same
			e.lower[k] = at(1 - 2*tail)
			e.upper[k] = e.lower[k]
			continue
		}
		e.lower[k], e.upper[k] = at(1-tail), -at(tail)
	}
	return e
}

func runsFor(n int) int { return min(100000, 1000000/n) }

// TestCriticalValues simulates some entries of the table again, or with -update
// all of them.
func TestCriticalValues(t *testing.T) {
	if !*update {
		for _, f := range []Family{Weibull, Lognormal} {
			all := roots(f, 5, 4000, rand.New(rand.NewPCG(99, uint64(f))))
			for k := range all {
				got, want := ends(target(k), all[k]), criticalTable[f][k][3]
				for i := range tails {
					if d := math.Abs(got.lower[i] - want.lower[i]); d > 0.15 {
						t.Errorf("%v target %d tail %g: lower %.3f, table %.3f", f, k, tails[i], got.lower[i], want.lower[i])
					}
					if d := math.Abs(got.upper[i] - want.upper[i]); d > 0.15 {
						t.Errorf("%v target %d tail %g: upper %.3f, table %.3f", f, k, tails[i], got.upper[i], want.upper[i])
					}
				}
			}
		}
		return
	}
	var b bytes.Buffer
	b.WriteString("package statistics\n\n// criticalTable holds critical values by family, target (scale, ratio, shares of\n// quantileShares), and number of units (sampleSizes): those of lower and of upper\n// ends at tails. Simulated from complete samples, min(100000, 1000000/n) each:\n// go test ./analysis/statistics -run CriticalValues -update\nvar criticalTable = [2][7][12]criticalEntry{\n")
	for _, f := range []Family{Weibull, Lognormal} {
		var byN [12][7]criticalEntry
		for i, n := range sampleSizes {
			all := roots(f, n, runsFor(n), rand.New(rand.NewPCG(2026, uint64(n)<<8|uint64(f))))
			for k := range all {
				byN[i][k] = ends(target(k), all[k])
			}
		}
		b.WriteString("{\n")
		for k := range 7 {
			b.WriteString("{\n")
			for i, n := range sampleSizes {
				e := byN[i][k]
				fmt.Fprintf(&b, "{[3]float64{%.3f, %.3f, %.3f}, [3]float64{%.3f, %.3f, %.3f}}, // %d\n", e.lower[0], e.lower[1], e.lower[2], e.upper[0], e.upper[1], e.upper[2], n)
			}
			b.WriteString("},\n")
		}
		b.WriteString("},\n")
	}
	b.WriteString("}\n")
	src, err := format.Source(b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("critical_table.go", src, 0o644); err != nil {
		t.Fatal(err)
	}
}
