package analysis

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"proofpot/profiles/assumed"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

// kept are the records of testdata: see its README.md.
const (
	keptTight  = "20260730T195432Z-HC007"
	keptBurst  = "20261201T230506Z-HC018"
	keptReseal = "20260712T033618Z-HC020"
)

func keptDir(name string) string { return filepath.Join("testdata", "records", name) }

// edited analyses a kept record with its lines changed: change gives the lines to
// stand in place of one, which is at s seconds from the start. Chain lines are
// left out unless chained.
func edited(t *testing.T, name string, chained bool, change func(line string, s float64) []string) *Result {
	t.Helper()
	run, _ := load(t, keptDir(name))
	return analyseText(t, run, name, editedText(t, name, chained, change))
}

func editedText(t *testing.T, name string, chained bool, change func(line string, s float64) []string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(keptDir(name), "readings.lp"))
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	start := int64(0)
	for _, l := range strings.Split(strings.TrimSuffix(string(b), "\n"), "\n") {
		ns, err := strconv.ParseInt(l[strings.LastIndexByte(l, ' ')+1:], 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		if start == 0 {
			start = ns
		}
		if !chained && strings.HasPrefix(l, "chain") {
			continue
		}
		for _, n := range change(l, float64(ns-start)/1e9) {
			fmt.Fprintln(&out, n)
		}
	}
	return out.Bytes()
}

func analyseText(t *testing.T, run setup.Run, name string, text []byte) *Result {
	t.Helper()
	res, err := Analyse(run, name, record.NewReader(bytes.NewReader(text)))
	if err != nil {
		t.Fatal(err)
	}
	return res
}

func same1(line string, _ float64) []string { return []string{line} }

// field changes a float field of a line.
func field(line, name string, f func(float64) float64) string {
	i := strings.Index(line, name+"=")
	if i < 0 {
		return line
	}
	i += len(name) + 1
	j := i + strings.IndexAny(line[i:], ", ")
	v, err := strconv.ParseFloat(line[i:j], 64)
	if err != nil {
		return line
	}
	return line[:i] + strconv.FormatFloat(f(v), 'f', 3, 64) + line[j:]
}

func wantVerdict(t *testing.T, res *Result, want string) {
	t.Helper()
	if got := res.Verdict.Verdict; got != want {
		t.Errorf("verdict %s, want %s: %v", got, want, res.Verdict.Reasons)
	}
}

func TestKeptRecordsAreJudgedRight(t *testing.T) {
	this, _, _ := compare(t, filepath.Join("testdata", "records"))
	if this.passed > 0 || this.failed > 0 || this.undecided > 0 || this.modes != this.modesRight || this.modes != 2 {
		t.Errorf("judged wrong:\n%s", scoreTable(this))
	}
}

func TestATightUnitPassesAndItsDepthIsProved(t *testing.T) {
	res := edited(t, keptTight, true, same1)
	wantVerdict(t, res, Pass)
	v := res.Verdict
	if v.ProvedDepthM != 26 || v.FirstFailure != nil || !v.Integrity.Chained || !v.Integrity.Intact {
		t.Errorf("%+v", v)
	}
	if want := math.Floor(26/1.3*10) / 10; v.RatedDepthM != want && v.RatedDepthM > 26/1.25 {
		t.Errorf("rated depth %g", v.RatedDepthM)
	}
	for _, h := range v.Holds {
		if h.LeakMLPerH.High >= 2 {
			t.Errorf("hold at %g m passed with a bound of %g ml/h", h.DepthM, h.LeakMLPerH.High)
		}
	}
}

func TestAMissingWindowIsNoPass(t *testing.T) {
	res := edited(t, keptTight, false, func(l string, s float64) []string {
		if strings.HasPrefix(l, "chamber") && s > 2000 && s < 2600 { // of 1840 to 2740
			return nil
		}
		return []string{l}
	})
	wantVerdict(t, res, Inconclusive)
	if len(res.Verdict.Integrity.Gaps) == 0 {
		t.Error("the gap is not reported")
	}
}

func TestAHoldCutShortIsNoPass(t *testing.T) {
	res := edited(t, keptTight, false, func(l string, s float64) []string {
		if s > 2300 {
			return nil
		}
		return []string{l}
	})
	wantVerdict(t, res, Inconclusive)
}

func TestABrokenChainIsNoPass(t *testing.T) {
	done := false
	res := edited(t, keptTight, true, func(l string, s float64) []string {
		if !done && s > 1000 && strings.HasPrefix(l, "chamber") {
			done = true
			return []string{field(l, "pressure_pa", func(v float64) float64 { return v + 1 })}
		}
		return []string{l}
	})
	wantVerdict(t, res, Inconclusive)
	if res.Verdict.Integrity.Intact {
		t.Error("an altered reading went unseen")
	}
}

func TestASpikeIsNoCollapse(t *testing.T) {
	n := 0
	res := edited(t, keptTight, false, func(l string, s float64) []string {
		if strings.HasPrefix(l, "chamber") {
			if n++; n%211 == 0 {
				l = field(l, "pressure_pa", func(v float64) float64 { return v + 20000*float64(1-2*(n/211%2)) })
			}
		}
		return []string{l}
	})
	wantVerdict(t, res, Pass)
}

func TestALossOfVolumeIsACollapseWhereverItFalls(t *testing.T) {
	// In a hold, and in the ramp to it, with the supply making it good within seconds.
	for at, back := range map[float64]float64{2400: math.Inf(1), 1645: 6} {
		res := edited(t, keptTight, false, func(l string, s float64) []string {
			if strings.HasPrefix(l, "chamber") && s > at {
				l = field(l, "pressure_pa", func(v float64) float64 { return v - 3700*math.Exp(-(s-at)/back) })
			}
			return []string{l}
		})
		wantVerdict(t, res, Fail)
		ff := res.Verdict.FirstFailure
		if ff == nil || ff.Mode != Collapse {
			t.Errorf("at %g s: %+v", at, ff)
			continue
		}
		start := res.Stages[0].Start
		if d := ff.Time.Sub(start).Seconds() - at; math.Abs(d) > 1.01 {
			t.Errorf("at %g s: found %.2f s off", at, d)
		}
	}
}

func TestACoolingPotIsNotALeak(t *testing.T) {
	// The last hold cools by 1 K an hour, gas and water alike; the pressure follows
	// the gas (p/T stays), as far as the sheet's volumes say.
	const from, rate = 1840.0, 1.0 / 3600
	run, _ := load(t, keptDir(keptTight))
	v := newVessel(run, run.Bench.RoomPa)
	res := edited(t, keptTight, false, func(l string, s float64) []string {
		if strings.HasPrefix(l, "chamber") && s > from {
			dT := rate * (s - from)
			colder := func(c float64) float64 { return c - dT }
			l = field(field(l, "gas_c", colder), "water_c", colder)
			l = field(l, "pressure_pa", func(p float64) float64 {
				v0 := v.volume(p, 0)
				grown := v0 + v.waterML*2.1e-4*dT - assumed.WallGrowth*v.chamberML*dT
				return p - p*(dT/293+(grown-v0)/v0)/(1+v.stiff*p/v0)
			})
		}
		return []string{l}
	})
	wantVerdict(t, res, Pass)
}

func TestALeakIsFoundByItsDecay(t *testing.T) {
	// 8 ml/h from the start of the last stage's settle on.
	const from, leak = 1660.0, 8.0
	run, _ := load(t, keptDir(keptTight))
	v := newVessel(run, run.Bench.RoomPa)
	res := edited(t, keptTight, false, func(l string, s float64) []string {
		if strings.HasPrefix(l, "chamber") && s > from {
			l = field(l, "pressure_pa", func(p float64) float64 { return p - leak*(s-from)/3600/v.compliance(p, 0) })
		}
		return []string{l}
	})
	wantVerdict(t, res, Fail)
	h := res.Verdict.Holds[3]
	if h.LeakMLPerH.Low > leak || h.LeakMLPerH.High < leak || h.LeakMLPerH.High-h.LeakMLPerH.Low > 3 {
		t.Errorf("leak %+v, want about %g ml/h", h.LeakMLPerH, leak)
	}
	if ff := res.Verdict.FirstFailure; ff == nil || ff.Mode != Seep || ff.LastTightDepthM != 18.3 {
		t.Errorf("%+v", ff)
	}
}

func TestAWetProbeFailsAUnit(t *testing.T) {
	res := edited(t, keptTight, false, func(l string, s float64) []string {
		if strings.HasPrefix(l, "probe") && s > 2500 {
			l = strings.Replace(l, "wet=false", "wet=true", 1)
		}
		return []string{l}
	})
	wantVerdict(t, res, Fail)
	if ff := res.Verdict.FirstFailure; ff == nil || len(ff.Evidence) == 0 || ff.Evidence[0] != ByWet {
		t.Errorf("%+v", ff)
	}
}

func TestOneWetReadingIsADoubt(t *testing.T) {
	done := false
	res := edited(t, keptTight, false, func(l string, s float64) []string {
		if strings.HasPrefix(l, "probe") && s > 2500 && !done {
			done = true
			l = strings.Replace(l, "wet=false", "wet=true", 1)
		}
		return []string{l}
	})
	wantVerdict(t, res, Inconclusive)
}

func TestAnotherDayChangesNothing(t *testing.T) {
	a := edited(t, keptTight, false, same1)
	b := edited(t, keptTight, false, func(l string, _ float64) []string {
		i := strings.LastIndexByte(l, ' ') + 1
		ns, _ := strconv.ParseInt(l[i:], 10, 64)
		return []string{l[:i] + strconv.FormatInt(ns+86_400_000_000_000*11, 10)}
	})
	for i, h := range a.Verdict.Holds {
		if g := b.Verdict.Holds[i]; math.Abs(g.LeakMLPerH.Estimate-h.LeakMLPerH.Estimate) > 1e-6 {
			t.Errorf("hold %d: %g and %g ml/h", i, h.LeakMLPerH.Estimate, g.LeakMLPerH.Estimate)
		}
	}
}

func TestABenchWithoutABlankIsNotTrusted(t *testing.T) {
	run, _ := load(t, keptDir(keptTight))
	run.Bench.BlankLeakMLPerHPerBar, run.Bench.BlankLeakSDMLPerHPerBar = 0, 0
	wantVerdict(t, analyseText(t, run, keptTight, editedText(t, keptTight, true, same1)), Inconclusive)
}

func TestAWaterThatIsNotKnownIsAnError(t *testing.T) {
	run, r := load(t, keptDir(keptReseal))
	run.Profile.Water.Model = "treacle"
	if _, err := Analyse(run, keptReseal, r); err == nil {
		t.Error("no error")
	}
}

// Whatever stands in a record, the analysis ends with a verdict or an error, and
// never with a pass that a hold does not bear out.
func FuzzAnyRecordEndsInAVerdict(f *testing.F) {
	b, err := os.ReadFile(filepath.Join(keptDir(keptReseal), "readings.lp"))
	if err != nil {
		f.Fatal(err)
	}
	lines := bytes.SplitAfter(b, []byte("\n"))
	f.Add(b)
	f.Add(bytes.Join(lines[:60], nil))
	f.Add([]byte("chamber,sensor=p1 pressure_pa=101325.0 1783827378000000000\n"))
	f.Add([]byte("stage,kind=hold index=0i,depth_m=3.0 1783827378000000000\nchamber,sensor=p1 pressure_pa=0.0 1783827379000000000\nchamber,sensor=p1 pressure_pa=-5.0 1783827380000000000\n"))
	run, _ := load(f, keptDir(keptReseal))
	f.Fuzz(func(t *testing.T, text []byte) {
		res, err := Analyse(run, "fuzz", record.NewReader(bytes.NewReader(text)))
		if err != nil {
			return
		}
		switch v := res.Verdict; v.Verdict {
		case Fail, Inconclusive:
		case Pass:
			for _, h := range v.Holds {
				if h.Verdict != Pass {
					t.Errorf("passed with a hold that is %s", h.Verdict)
				}
			}
		default:
			t.Errorf("verdict %q", v.Verdict)
		}
	})
}

func TestAClockSetRightDuringARunIsNoHang(t *testing.T) {
	first := true
	res := edited(t, keptReseal, false, func(l string, _ float64) []string {
		if first {
			first = false
			i := strings.LastIndexByte(l, ' ') + 1
			return []string{l[:i] + "783827378000000000"} // 1994
		}
		return []string{l}
	})
	if res.Verdict.Verdict == Pass {
		t.Error("passed")
	}
}
