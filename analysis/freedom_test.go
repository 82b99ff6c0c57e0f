package analysis

import (
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// freedom is how many degrees of freedom a contribution to a leak's uncertainty has.
// One from many readings has theirs; one that is assumed has those of how well it is
// assumed, ν = ½ (Δu/u)⁻² (JCGM 100:2008, G.4.2): to a quarter, 8; the way in which a
// transducer strays, chosen by the evidence, to a fifth, 12; a blank of an hour, to
// some 15 %, 20.
func freedom(source string, n int) float64 {
	switch {
	case strings.HasPrefix(source, "noise of"):
		return float64(max(n-10, 8))
	case strings.HasPrefix(source, "drift of the pressure"), strings.HasPrefix(source, "noise and drift"):
		return 12
	case strings.Contains(source, "blank"):
		return 20
	}
	return 8
}

// TestTheCoverageFactorIsThatOfItsDegreesOfFreedom: 2.09 is Student's for 20. By Welch
// and Satterthwaite (JCGM 100:2008, G.4.1) the middle of all holds has about as many;
// one in which a single assumption counts has 8, where Student's is a tenth more.
func TestTheCoverageFactorIsThatOfItsDegreesOfFreedom(t *testing.T) {
	folder := corpus()
	dirs, _ := records(t, folder)
	if testing.Short() || dirs == nil { // the records of known truth are not beside the project
		folder = filepath.Join("testdata", "records")
		dirs, _ = records(t, folder)
	}
	var all []float64
	for _, dir := range dirs {
		run, r := load(t, filepath.Join(folder, dir))
		a, err := begin(run, dir, r)
		if err != nil {
			t.Fatal(err)
		}
		a.measure()
		for _, st := range a.stages {
			e := st.both
			if e == nil || !st.hold.real() {
				continue
			}
			whole, sum := 0.0, 0.0
			for _, b := range e.budget {
				whole += b.MLPerH * b.MLPerH
				sum += math.Pow(b.MLPerH, 4) / freedom(b.Source, e.n)
			}
			if whole > 0 {
				all = append(all, whole*whole/sum)
			}
		}
	}
	if len(all) == 0 {
		t.Fatal("no hold")
	}
	slices.Sort(all)
	t.Logf("%d holds: %.0f to %.0f degrees of freedom, %.0f in the middle", len(all), all[0], all[len(all)-1], all[len(all)/2])
	if m := all[len(all)/2]; m < 12 || m > 40 {
		t.Errorf("%.0f degrees of freedom in the middle: not about 20", m)
	}
}
