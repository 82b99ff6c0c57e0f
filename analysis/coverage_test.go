package analysis_test

import (
	"flag"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"proofpot/analysis"
	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
)

// covered counts how a set of simulated records was judged.
type covered struct {
	records, wrong, open           int // wrong: a leaking unit passed or a tight one failed
	depths, depthsHeld, modesRight int
	holds, holdsHeld               int
}

func (c *covered) add(d covered) {
	c.records += d.records
	c.wrong += d.wrong
	c.open += d.open
	c.depths += d.depths
	c.depthsHeld += d.depthsHeld
	c.modesRight += d.modesRight
	c.holds += d.holds
	c.holdsHeld += d.holdsHeld
}

func percent(a, b int) string {
	if b == 0 {
		return "–"
	}
	return fmt.Sprintf("%d of %d (%.1f %%)", a, b, 100*float64(a)/float64(b))
}

// randomFault draws a fault of a mode: depths over the whole profile, flows over
// what a housing shows, all of them above the limits of the profile.
func randomFault(mode string, topM float64, r *rand.Rand) string {
	depth := 0.5 + r.Float64()*(topM-0.7)
	log := func(from, to float64) float64 { return from * math.Exp(r.Float64()*math.Log(to/from)) }
	switch mode {
	case simbench.Seep:
		return fmt.Sprintf("seep at %.2f m, %.2f ml/h", depth, log(2, 80))
	case simbench.Burst:
		return fmt.Sprintf("burst at %.2f m, %.0f ml/h", depth, log(300, 2000))
	case simbench.Collapse:
		return fmt.Sprintf("collapse at %.2f m, %.1f ml", depth, log(2, 15))
	case simbench.Reseal:
		return fmt.Sprintf("reseal below %.1f m, %.2f ml/h", 3.2+r.Float64(), log(2, 20))
	case simbench.Damp:
		return fmt.Sprintf("damp at %.2f m, %.0f ul/h", depth, log(15, 40))
	}
	return ""
}

// cover simulates one record and judges it.
func cover(t *testing.T, pot, mode string, change func(*setup.Run), seed uint64) covered {
	profile, topM := "proof-10m-sea", 10.0
	if seed%2 == 1 {
		profile, topM = "proof-30m-sea", 30
	}
	fault := randomFault(mode, topM, rand.New(rand.NewPCG(seed, 77)))
	s := simulate(t, profile, fault, seed, change)
	v := s.analyse(t).Verdict
	c := covered{records: 1}
	failed := s.truth.Failed
	switch {
	case v.Verdict == analysis.Inconclusive:
		c.open++
	case (v.Verdict == analysis.Fail) != failed:
		c.wrong++
		t.Logf("%s, seed %d, %q: %s, %v", pot, seed, fault, v.Verdict, v.Reasons)
	}
	if f := v.FirstFailure; f != nil && failed {
		truth := s.plan.DepthM(s.plan.SealedPa + s.truth.OnsetPa)
		c.depths++
		stopped := mode == simbench.Reseal && s.state.Stopped == rig.UnitWet && s.state.Leg == 0
		if f.Mode == mode || stopped && f.Mode == analysis.Seep {
			c.modesRight++
		} else {
			t.Logf("%s, seed %d, %q: called %s", pot, seed, fault, f.Mode)
		}
		if f.DepthLowM <= truth && truth <= f.DepthHighM {
			c.depthsHeld++
		} else {
			t.Logf("%s, seed %d, %q: failed at %.2f m, reported %.2f m (%.2f to %.2f m)", pot, seed, fault, truth, f.DepthM, f.DepthLowM, f.DepthHighM)
		}
	}
	for _, h := range v.Holds {
		if h.LeakMLPerH == nil {
			continue
		}
		c.holds++
		if q := s.between(h.Start, h.End); h.LeakMLPerH.Low <= q && q <= h.LeakMLPerH.High {
			c.holdsHeld++
		}
	}
	return c
}

const (
	coverFrom = "<!-- coverage: written by PROOFPOT_COVERAGE=2100 go test -run Coverage -timeout 1h -update -->\n"
	coverTo   = "<!-- end of coverage -->"
)

// TestCoverageOnSimulatedBenches judges records of every pot and every mode with
// faults drawn at random; PROOFPOT_COVERAGE says how many records in all.
func TestCoverageOnSimulatedBenches(t *testing.T) {
	all := 42
	if n, err := strconv.Atoi(os.Getenv("PROOFPOT_COVERAGE")); err == nil {
		all = n
	} else if testing.Short() {
		t.Skip("the other tests of the simulated bench cover a short run")
	}
	modes := []string{"tight", simbench.Seep, simbench.Burst, simbench.Collapse, simbench.Reseal, simbench.Damp}
	names := slices.Sorted(maps.Keys(pots))
	each := max(1, (all+len(modes)*len(names)-1)/(len(modes)*len(names)))
	byPot, byMode := map[string]*covered{}, map[string]*covered{}
	whole := covered{}
	for i, pot := range names {
		byPot[pot] = &covered{}
		for j, mode := range modes {
			if byMode[mode] == nil {
				byMode[mode] = &covered{}
			}
			if mode == simbench.Damp && pot == "no sensor inside" {
				continue // nothing on that bench can show it
			}
			for k := range each {
				c := cover(t, pot, mode, pots[pot], uint64(1000*i+100_000*j+k))
				byPot[pot].add(c)
				byMode[mode].add(c)
				whole.add(c)
			}
		}
	}
	var b strings.Builder
	b.WriteString("| records | | verdict wrong | inconclusive | depth interval holds | mode right | leak interval of a hold holds |\n|---|---|---|---|---|---|---|\n")
	row := func(name string, c *covered) {
		fmt.Fprintf(&b, "| %s | %d | %d | %s | %s | %s | %s |\n", name, c.records, c.wrong, percent(c.open, c.records),
			percent(c.depthsHeld, c.depths), percent(c.modesRight, c.depths), percent(c.holdsHeld, c.holds))
	}
	for _, m := range modes {
		row(m, byMode[m])
	}
	for _, p := range names {
		row(p, byPot[p])
	}
	row("all", &whole)
	t.Logf("\n%s", b.String())
	if whole.wrong*100 > whole.records {
		t.Errorf("%d of %d verdicts wrong", whole.wrong, whole.records)
	}
	if f := flag.Lookup("update"); f != nil && f.Value.String() == "true" && whole.records >= 2000 {
		analysis.IntoReadme(t, coverFrom, b.String(), coverTo)
	}
}
