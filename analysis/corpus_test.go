package analysis

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sort"
	"testing"

	"github.com/pelletier/go-toml/v2"

	"proofpot/rig/record"
	"proofpot/rig/setup"
)

type truth struct {
	Kind    string
	Verdict string
	Mode    string
	TimeS   float64 `json:"time_s"`
	Time    float64
	DepthM  float64    `json:"depth_m"`
	Bracket [2]float64 `json:"bracket_m"`
	Holds   []struct {
		Stage int
		Leak  float64 `json:"leak_ml_per_h"`
		Depth float64 `json:"depth_m"`
	}
	Gas    bool `json:"gas_medium"`
	Inside bool
	Hidden bool
	Accept float64
	Record string
}

func corpusDir() string {
	if d := os.Getenv("PROOFPOT_CORPUS"); d != "" {
		return d
	}
	return "../../shared/corpus"
}

func loadTruth(t testing.TB, dir string) map[string]truth {
	b, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	if err != nil {
		t.Skip("no corpus")
	}
	m := map[string]truth{}
	if err := json.Unmarshal(b, &m); err != nil {
		t.Fatal(err)
	}
	return m
}

func openRecord(dir string) (setup.Run, *record.Reader, func(), error) {
	var run setup.Run
	b, err := os.ReadFile(filepath.Join(dir, "run.toml"))
	if err != nil {
		return run, nil, nil, err
	}
	if err := toml.Unmarshal(b, &run); err != nil {
		return run, nil, nil, err
	}
	f, err := os.Open(filepath.Join(dir, "readings.lp"))
	if err != nil {
		return run, nil, nil, err
	}
	return run, record.NewReader(f), func() { f.Close() }, nil
}

func TestExplore(t *testing.T) {
	dir := corpusDir()
	m := loadTruth(t, dir)
	var names []string
	for k := range m {
		names = append(names, k)
	}
	sort.Slice(names, func(i, j int) bool { return names[i][len(names[i])-3:] < names[j][len(names[j])-3:] })
	var zs []float64
	in := 0
	for _, k := range names {
		run, r, done, err := openRecord(filepath.Join(dir, k))
		if err != nil {
			t.Fatal(err)
		}
		a, err := begin(run, k, r)
		done()
		if err != nil {
			t.Fatal(k, err)
		}
		a.measure()
		tr := m[k]
		fmt.Printf("%s %s %s noise %.1f spikes %d second %.1f", k[len(k)-5:], tr.Kind, tr.Mode, a.s.noise, a.s.spikes, a.s.second)
		if a.in != nil {
			fmt.Printf(" share %.3f±%.3f", a.in.share, a.in.shareU)
		}
		if a.damp != nil {
			fmt.Printf(" damp k %.2e±%.2e gain %.0f rising %v onset %.0f tau %.0f total %.1f", a.damp.k, a.damp.u, a.damp.gain, a.damp.rising, a.damp.onset, a.damp.tau, a.damp.totalMG)
		}
		ft := tr.Time - float64(a.x.startNS)/1e9
		fmt.Printf(" truth t %.1f depth %.3f accept %.1f\n", ft, tr.DepthM, tr.Accept)
		for _, j := range a.steps {
			fmt.Printf("   STEP t0 %.1f..%.1f drop %.0f z %.1f depth %.3f fill %v\n", j.t0, j.t1, j.drop, j.z(), a.depth(j.pa), j.inletted)
		}
		for _, st := range a.stages {
			h := math.NaN()
			for _, q := range tr.Holds {
				if q.Stage == st.index {
					h = q.Leak
				}
			}
			fmt.Printf("   st%d %.1f true %.3f", st.index, st.depthM, h)
			if e := st.chamber; e != nil {
				fmt.Printf(" chamber %.3f±%.3f z %.2f tied %v drift %v chi %.2f n %d tau %.0f white %.3f", e.value, e.u, (e.value-h)/e.u, e.tied, e.drift, e.chi2/float64(e.n), e.n, e.tau, e.white)
			}
			if e := st.inside; e != nil {
				fmt.Printf(" inside %.3f±%.3f z %.2f", e.value, e.u, (e.value-h)/e.u)
			}
			if e := st.both; e != nil {
				z := (e.value - h) / e.u
				if !math.IsNaN(z) && !tr.Gas {
					zs = append(zs, z)
					if math.Abs(z) < 1.96 {
						in++
					}
				}
				fmt.Printf(" both %.3f±%.3f z %.2f", e.value, e.u, z)
			}
			if e := st.damp; e != nil {
				fmt.Printf(" damp %.2f±%.2f", e.value, e.u)
			}
			fmt.Printf(" missing %.2f\n", st.missing)
		}
	}
	fmt.Println("coverage", in, len(zs))
}

func TestScore(t *testing.T) {
	dir := corpusDir()
	m := loadTruth(t, dir)
	var names []string
	for k := range m {
		names = append(names, k)
	}
	sort.Slice(names, func(i, j int) bool { return names[i][len(names[i])-3:] < names[j][len(names[j])-3:] })
	var sudden, slowIn, slowOut, wide []float64
	var inDepth, nDepth, inHold, nHold, modes, modesOK, leakPassed, leakN, tightFailed, tightN, incon int
	byMode := map[string][2]int{}
	for _, k := range names {
		run, r, done, err := openRecord(filepath.Join(dir, k))
		if err != nil {
			t.Fatal(err)
		}
		res, err := Analyse(run, k, r)
		done()
		if err != nil {
			t.Fatal(k, err)
		}
		tr := m[k]
		v := res.Verdict
		mode, extra := "-", ""
		if tr.Hidden {
			continue
		}
		switch tr.Verdict {
		case "fail":
			leakN++
			if v.Verdict == Pass {
				leakPassed++
				extra += " LEAK PASSED"
			}
			if v.Verdict == Inconclusive {
				incon++
				extra += " INCONCLUSIVE"
			}
		case "pass":
			tightN++
			if v.Verdict == Fail {
				tightFailed++
				extra += " TIGHT FAILED"
			}
			if v.Verdict == Inconclusive {
				incon++
				extra += " INCONCLUSIVE"
			}
		default:
			if v.Verdict != Inconclusive {
				extra += " GAP NOT HELD BACK"
			}
		}
		if ff := v.FirstFailure; ff != nil && tr.Verdict == "fail" {
			mode = ff.Mode
			modes++
			want := tr.Mode
			if want == "reseal" {
				n := 0
				for _, h := range v.Holds {
					if h.Stage > 0 {
						n++
					}
				}
				if n == 0 {
					want = "seep"
				}
			}
			if mode == want {
				modesOK++
			} else {
				extra += " MODE"
			}
			e := math.Abs(ff.DepthM - tr.DepthM)
			w := tr.Bracket[1] - tr.Bracket[0]
			hold := tr.DepthM >= ff.DepthLowM && tr.DepthM <= ff.DepthHighM
			nDepth++
			c := byMode[tr.Mode]
			c[1]++
			if hold {
				inDepth++
				c[0]++
			}
			byMode[tr.Mode] = c
			wide = append(wide, (ff.DepthHighM-ff.DepthLowM)/w)
			switch tr.Mode {
			case "burst", "collapse":
				sudden = append(sudden, e)
			case "seep", "reseal":
				if tr.Inside {
					slowIn = append(slowIn, e/w)
				} else {
					slowOut = append(slowOut, e/w)
				}
			}
			extra += fmt.Sprintf(" depth %.3f (%.3f…%.3f) truth %.3f err %.3f share %.3f holds %v t %.1f truth %.1f ev %v", ff.DepthM, ff.DepthLowM, ff.DepthHighM, tr.DepthM, ff.DepthM-tr.DepthM, e/w, hold, float64(ff.Time.UnixNano())/1e9-tr.Time+tr.TimeS, tr.TimeS, ff.Evidence)
		}
		if !tr.Gas {
			for _, h := range v.Holds {
				for _, q := range tr.Holds {
					if q.Stage == h.Stage && h.LeakMLPerH != nil {
						nHold++
						if q.Leak >= h.LeakMLPerH.Low && q.Leak <= h.LeakMLPerH.High {
							inHold++
						} else if os.Getenv("HOLDS") != "" {
							fmt.Printf("   HOLD %s st%d true %.3f est %.3f (%.3f…%.3f) kind %s inside %v\n", k[len(k)-5:], q.Stage, q.Leak, h.LeakMLPerH.Estimate, h.LeakMLPerH.Low, h.LeakMLPerH.High, tr.Kind, tr.Inside)
						}
					}
				}
			}
		}
		why := ""
		if v.Verdict == Inconclusive || v.Verdict == Fail && tr.Verdict != "fail" {
			why = fmt.Sprint(v.Reasons)
		}
		fmt.Printf("%s %-9s gas %-5v in %-5v %-12s → %-12s %-8s%s %s\n", k[len(k)-5:], tr.Kind, tr.Gas, tr.Inside, tr.Verdict, v.Verdict, mode, extra, why)
	}
	q := func(v []float64, p float64) float64 {
		if len(v) == 0 {
			return math.NaN()
		}
		sort.Float64s(v)
		return v[min(int(p*float64(len(v))), len(v)-1)]
	}
	fmt.Printf("leaking passed %d/%d, tight failed %d/%d, inconclusive %d, mode %d/%d\n", leakPassed, leakN, tightFailed, tightN, incon, modesOK, modes)
	fmt.Printf("sudden n %d median %.3f p90 %.3f m\n", len(sudden), q(sudden, .5), q(sudden, .9))
	fmt.Printf("slow inside n %d median %.3f p90 %.3f; outside n %d median %.3f p90 %.3f\n", len(slowIn), q(slowIn, .5), q(slowIn, .9), len(slowOut), q(slowOut, .5), q(slowOut, .9))
	fmt.Printf("depth interval holds %d/%d %v median width %.3f; hold interval %d/%d\n", inDepth, nDepth, byMode, q(wide, .5), inHold, nHold)
}
