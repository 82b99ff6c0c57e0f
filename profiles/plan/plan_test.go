package plan

import (
	"math"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
	"proofpot/profiles"
)

var pot = Bench{ID: "pot-1", ChamberML: 10000, CushionML: 300, StiffnessMLPerBar: 1.5, RatedPa: 801325, ReliefPa: 701325,
	LidMM: 200, NoisePa: 50, SampleS: 0.5, BlankSDMLPerHPerBar: 0.012, GasThermometerK: 0.02, WaterThermometerK: 0.004}

var pod = Unit{ID: "KP-01", OuterML: 1400, FreeML: 700, InsidePa: 3, InsideK: 0.01, InsideRH: 0.06}

func load(t testing.TB, name string) profiles.Profile {
	t.Helper()
	p, err := profiles.Load(name)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func planned(t testing.TB, p profiles.Profile, b Bench, u Unit) *Plan {
	t.Helper()
	got, err := New(p, b, u)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func TestEveryProfileCanBePlanned(t *testing.T) {
	strong := pot
	strong.RatedPa, strong.ReliefPa = 3e6, 2.5e6
	names := profiles.BuiltIn()
	files, _ := filepath.Glob("../testdata/*.toml")
	for _, name := range append(names, files...) {
		p := planned(t, load(t, name), strong, pod)
		if p.Refused() {
			t.Errorf("%s: %v", name, p.Findings)
		}
		at, peak := time.Duration(0), 0.0
		for _, l := range p.Legs {
			if l.Start != at || l.Ramp < 0 {
				t.Errorf("%s: leg %s begins at %v, the one before ends at %v", name, l.Name, l.Start, at)
			}
			at = l.End()
			peak = max(peak, l.AbsolutePa)
		}
		if p.Total != at+p.Vent || p.TotalMax < p.Total || (peak != p.PeakPa && peak > p.Bench.RoomPa) {
			t.Errorf("%s: total %v of %v, peak %g of %g", name, p.Total, at, p.PeakPa, peak)
		}
		corners := p.Curve()
		for i := 1; i < len(corners); i++ {
			if corners[i].At < corners[i-1].At {
				t.Errorf("%s: time runs back", name)
			}
		}
		text := p.Text(time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC))
		for _, never := range []string{"safe distance", "NaN", "certified", "guarantee", "%!"} {
			if strings.Contains(text, never) {
				t.Errorf("%s: %q in\n%s", name, never, text)
			}
		}
	}
}

func TestBuiltInProfilesCanProveTheirClaimOnACommonBench(t *testing.T) {
	strong := pot
	strong.RatedPa, strong.ReliefPa = 3e6, 2.5e6
	for _, name := range profiles.BuiltIn() {
		p := planned(t, load(t, name), strong, pod)
		if !p.CanProve() {
			t.Errorf("%s: %v", name, p.Findings)
		}
	}
}

func TestWhatMustNotBeRunIsRefused(t *testing.T) {
	for want, change := range map[string]func(*Bench){
		"the chamber's rating is not given":                            func(b *Bench) { b.RatedPa = 0 },
		"the relief valve's setting is not given":                      func(b *Bench) { b.ReliefPa = 0 },
		"the relief valve is set to 8.00 bar gauge, above":             func(b *Bench) { b.ReliefPa = 901325 },
		"this bench may go to 3.60 bar gauge: 90 % of its rating":      func(b *Bench) { b.RatedPa, b.ReliefPa = 501325, 501325 },
		"this bench may go to 3.78 bar gauge: 90 % of its rating of 7": func(b *Bench) { b.ReliefPa = 101325 + 3.7790e5/0.9 },
	} {
		b := pot
		change(&b)
		p := planned(t, load(t, "proof-30m-sea"), b, pod)
		if !p.Refused() || !strings.Contains(p.Text(time.Time{}), want) {
			t.Errorf("want %q, got %v", want, p.Findings)
		}
	}
	b := pot
	b.ReliefPa = 101325 + 3.7795e5/0.9
	if p := planned(t, load(t, "proof-30m-sea"), b, pod); p.Refused() {
		t.Errorf("just below the limit: %v", p.Findings)
	}
	b.ChamberML = -1
	if _, err := New(load(t, "proof-30m-sea"), b, pod); err == nil {
		t.Error("a chamber of no volume was planned")
	}
	if _, err := New(load(t, "proof-30m-sea"), pot, Unit{OuterML: 20000}); err == nil {
		t.Error("a unit that is larger than its chamber was planned")
	}
	if _, err := New(profiles.Profile{}, pot, pod); err == nil {
		t.Error("an empty profile was planned")
	}
}

func TestTheWallCarriesOnTheBenchWhatItCarriesInTheWater(t *testing.T) {
	p := planned(t, load(t, "proof-30m-sea"), pot, Unit{FreeML: 700, SealedPa: 98000})
	for _, l := range p.Legs {
		if d := p.Column.DepthM(l.AbsolutePa - 98000); math.Abs(d-l.DepthM) > 1e-6 {
			t.Errorf("%s: the wall is loaded as at %g m", l.Name, d)
		}
		if l.GaugePa != l.AbsolutePa-101325 {
			t.Errorf("%s: gauge %g", l.Name, l.GaugePa)
		}
	}
}

func TestASearchEndsAtTheBenchsLimit(t *testing.T) {
	search := load(t, "../builtin/search-60m-sea.toml")
	p := planned(t, search, pot, pod)
	last := p.Legs[len(p.Legs)-1]
	if p.Refused() || last.AbsolutePa > p.LimitPa || p.target(last.DepthM+3) <= p.LimitPa {
		t.Errorf("ends at %g m, %v", last.DepthM, p.Findings)
	}
	strong := pot
	strong.RatedPa, strong.ReliefPa = 3e6, 2.5e6
	p = planned(t, search, strong, pod)
	if d := p.Legs[len(p.Legs)-1].DepthM; d != 58 { // 10, 13 … 58; 61 lies beyond 60
		t.Errorf("ends at %g m", d)
	}
}

func TestCyclesGoUpAndDown(t *testing.T) {
	p := planned(t, load(t, "cycles-50-30m-sea"), pot, pod)
	deep, low := 0, 0
	for _, l := range p.Legs {
		if l.Kind == profiles.KindCycles && l.DepthM == 30 {
			deep++
		}
		if l.Kind == profiles.KindCycles && l.DepthM == 3 {
			low++
		}
	}
	if deep != 50 || low != 49 {
		t.Errorf("%d up, %d down", deep, low)
	}
}

// White noise alone is the textbook's σ√12/(Θ√N) (and the table of the trade's
// figures: 1 mbar at 1 Hz over 10, 30, 60 min gives 0.85, 0.16, 0.06 mbar/h).
func TestTheDoubtOfANoisyLine(t *testing.T) {
	for minutes, printed := range map[float64]float64{10: 0.85, 30: 0.16, 60: 0.06} {
		u, _ := signal{sigma: 1, every: 1, priors: line(), correct: 1}.doubt(60 * minutes)
		same(t, u, slopeDoubt(1, 1, 60*minutes), 2e-3, minutes)
		if math.Abs(u-printed) > 0.006 {
			t.Errorf("%g min: %.3f mbar/h, printed %.2f", minutes, u, printed)
		}
	}
	// A random walk of D per √h leaves D/√Θ: only its ends tell.
	u, _ := signal{sigma: 1e-9, every: 1, wander: 3, priors: line(), correct: 1}.doubt(4 * 3600)
	same(t, u, 1.5, 0.03, "random walk")
}

// A prior adds its own part, and the parts make up the whole.
func TestTheSourcesOfDoubtMakeUpTheWhole(t *testing.T) {
	w := window{pa: 480000, fromPa: 400000, rampS: 45, waitS: 300, holdS: 900}
	u, from := done(pot).chamberSignal(w, unit()).doubt(w.fittedS())
	sum := 0.0
	for _, s := range from {
		sum += s.MLPerH * s.MLPerH
		if s.What == "the bench's own leak" {
			same(t, s.MLPerH, 0.012*(480000-101325)/1e5, 1e-6, "blank")
		}
	}
	same(t, math.Sqrt(sum), u, 1e-9, "sum of squares")
}

// Noise whose neighbours are correlated averages out as slowly as it is said to:
// 2,000 lines through first-order autoregressive noise.
func TestCorrelatedNoiseAveragesOutMoreSlowly(t *testing.T) {
	const n, r = 600, 0.6
	rnd := rand.New(rand.NewPCG(1, 2))
	sum, sq := 0.0, 0.0
	const runs = 2000
	for range runs {
		e, top, bottom := rnd.NormFloat64(), 0.0, 0.0
		for i := range n {
			x := float64(i) - (n-1)/2.0
			top += x * e
			bottom += x * x
			e = r*e + math.Sqrt(1-r*r)*rnd.NormFloat64()
		}
		b := top / bottom
		sum += b
		sq += b * b
	}
	scatter := math.Sqrt(sq/runs-sum*sum/runs/runs) * 3600
	same(t, slopeDoubt(1, 1, n)*Bench{Correlation: r}.inflation(), scatter, 0.06, "scatter of 2,000 slopes")
}

// drawn gives a bench, a unit and a window on it.
func drawn(t *rapid.T) (Bench, Unit, window) {
	b := pot
	b.Gas = rapid.Bool().Draw(t, "gas")
	b.WaterFed = !b.Gas && rapid.Bool().Draw(t, "water fed")
	b.CushionML = rapid.Float64Range(0, 1000).Draw(t, "cushion")
	b.NoisePa = rapid.Float64Range(1, 500).Draw(t, "noise")
	b.BlankSDMLPerHPerBar = rapid.Float64Range(0.001, 0.2).Draw(t, "blank")
	w := window{pa: rapid.Float64Range(120000, 1.2e6).Draw(t, "pa"), fromPa: 101325, rampS: rapid.Float64Range(0, 600).Draw(t, "ramp"),
		waitS: rapid.Float64Range(0, 3600).Draw(t, "wait"), holdS: rapid.Float64Range(120, 36000).Draw(t, "hold")}
	return done(b), unit(), w
}

func done(b Bench) Bench {
	b, err := b.complete()
	if err != nil {
		panic(err)
	}
	return b
}

func unit() Unit {
	u, err := pod.complete(done(pot))
	if err != nil {
		panic(err)
	}
	return u
}

func TestALongerHoldAndAQuieterBenchSeeMore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b, u, w := drawn(t)
		now := limit(b, u, w)
		if !(now > 0) || math.IsInf(now, 1) {
			t.Fatalf("limit %g", now)
		}
		longer := w
		longer.holdS *= 1.5
		if v := limit(b, u, longer); v > now*1.0001 {
			t.Fatalf("a longer hold sees less: %g, %g", v, now)
		}
		noisy := b
		noisy.NoisePa *= 2
		if v := limit(noisy, u, w); v < now*0.9999 {
			t.Fatalf("a noisier bench sees more: %g, %g", v, now)
		}
		doubtful := b
		doubtful.BlankSDMLPerHPerBar *= 2
		if v := limit(doubtful, u, w); v < now*0.9999 {
			t.Fatalf("a less known bench sees more: %g, %g", v, now)
		}
		if v := limit(b, Unit{FreeML: u.FreeML, OuterML: u.OuterML, SealedPa: 101325, SealedC: 20}, w); v < now*0.9999 {
			t.Fatalf("a unit without sensors is seen better: %g, %g", v, now)
		}
	})
}

func TestTheHoldThatALimitNeeds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b, u, w := drawn(t)
		want := limit(b, u, w) * rapid.Float64Range(0.5, 2).Draw(t, "share")
		need := needed(b, u, w, want)
		at := func(d time.Duration) float64 { v := w; v.holdS = d.Seconds(); return limit(b, u, v) }
		if need == 0 {
			if at(longestHold) < 0.9999*want {
				t.Fatalf("72 h see %g, wanted %g", at(longestHold), want)
			}
			return
		}
		if at(need) > want*1.0001 || (need > time.Minute && at(need-time.Minute) < want*0.9999) {
			t.Fatalf("%v sees %g, a minute less %g, wanted %g", need, at(need), at(need-time.Minute), want)
		}
	})
}

func TestAProfileThatCannotProveItsClaimSaysSo(t *testing.T) {
	poor := Bench{ID: "pot-2", ChamberML: 10000, CushionML: 1000, StiffnessMLPerBar: 1.5, RatedPa: 801325, ReliefPa: 701325}
	p := planned(t, load(t, "proof-30m-sea"), poor, Unit{FreeML: 700})
	if p.CanProve() {
		t.Fatal("a litre of gas without a thermometer proves nothing in ten minutes")
	}
	text := p.Text(time.Time{})
	for _, want := range []string{"doubt: stage 1 (shallow): can tell", "most would help", "the limit is 0.5 ml/h"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	for _, q := range p.Proofs {
		for i := 1; i < len(q.Changes); i++ {
			if q.Changes[i].MLPerH < q.Changes[i-1].MLPerH {
				t.Errorf("%s: changes are not in order: %v", q.Leg.Name, q.Changes)
			}
		}
		if len(q.Changes) == 0 || q.Changes[0].MLPerH >= q.DetectMLPerH {
			t.Errorf("%s: no change helps: %v", q.Leg.Name, q.Changes)
		}
	}
}

func TestLessGasSeesMore(t *testing.T) {
	last := math.Inf(1)
	for _, cushion := range []float64{1000, 300, 50} {
		b := pot
		b.CushionML = cushion
		p := planned(t, load(t, "proof-30m-sea"), b, Unit{FreeML: 700})
		now := p.Proofs[5].DetectMLPerH
		if now >= last {
			t.Errorf("a cushion of %g ml detects %g, a larger one %g", cushion, now, last)
		}
		last = now
	}
}

func TestLoadsOfADiveAndOfTheWayThere(t *testing.T) {
	p := planned(t, load(t, "proof-30m-sea"), pot, Unit{FreeML: 700, SealedC: 22})
	for _, l := range p.Loads {
		switch {
		case strings.HasPrefix(l.Where, "in the dive"):
			// 10 K colder than it was closed: 101,325 × 10/295.15 = 3,433 Pa more than the water's.
			same(t, l.Pa, p.Column.GaugePa(30)+101325*10/295.15, 1e-9, l)
		case strings.HasPrefix(l.Where, "in the sun"):
			same(t, l.Pa, -101325*38/295.15, 1e-9, l)
		case strings.HasPrefix(l.Where, "in a cabin"):
			same(t, l.Pa, 74692-101325, 1e-4, l) // USSA 1976: 746.92 hPa at 2,500 m
		}
	}
	if len(p.Loads) != 6 {
		t.Errorf("%d loads", len(p.Loads))
	}
	warm := planned(t, load(t, "../testdata/every-kind.toml"), pot, Unit{FreeML: 700, SealedC: 30})
	found := 0
	for _, l := range warm.Loads {
		switch {
		case strings.Contains(l.Where, "plunge"):
			same(t, l.Pa, warm.Column.GaugePa(1)+101325*27/303.15, 1e-9, l)
			found++
		case strings.Contains(l.Where, "powered"):
			same(t, l.Pa, warm.Column.GaugePa(20)-101325*15/303.15, 1e-9, l)
			found++
		}
	}
	if found != 2 {
		t.Errorf("%d of plunge and powered in %v", found, warm.Loads)
	}
}

func TestADrawingIsAsWideAsAsked(t *testing.T) {
	p := planned(t, load(t, "proof-30m-sea"), pot, pod)
	text := p.Draw(60, 10)
	lines := strings.Split(strings.TrimRight(text, "\n"), "\n")
	if len(lines) != 13 {
		t.Fatalf("%d lines\n%s", len(lines), text)
	}
	for _, l := range lines {
		if n := len([]rune(l)); n > 18+60 {
			t.Errorf("%d wide: %s", n, l)
		}
	}
	if !strings.Contains(text, "█") || !strings.Contains(text, "37.5") || !strings.Contains(text, "2 h 16 min") {
		t.Error(text)
	}
	vacuum := planned(t, load(t, "vacuum-check"), pot, pod)
	if got := vacuum.Draw(60, 10); got != "nothing is pressurised\n" {
		t.Error(got)
	}
}

func BenchmarkPlan(b *testing.B) {
	p := load(b, "proof-30m-sea")
	for b.Loop() {
		if _, err := New(p, pot, pod); err != nil {
			b.Fatal(err)
		}
	}
}

func TestTheDiveIsComparedWithTheBenchAsTheUnitWasClosed(t *testing.T) {
	p := load(t, "proof-10m-sea")
	cool := planned(t, p, pot, Unit{FreeML: 700, SealedC: p.Water.TemperatureC})
	same(t, cool.SealIn(), 1.25, 2e-3, "closed as cold as the water")
	// Closed at 45 °C the air of 12 °C water sucks by a tenth of a bar, a tenth of 10 m.
	hot := planned(t, p, pot, Unit{FreeML: 700, SealedC: 45})
	want := 1.25 / (1 + 101325*(1-285.15/318.15)/hot.Column.GaugePa(10))
	same(t, hot.SealIn(), want, 2e-3, "closed hot")
	if text := hot.Text(time.Time{}); !strings.Contains(text, "its air sucks in the cold") || strings.Contains(cool.Text(time.Time{}), "sucks in the cold") {
		t.Error(text)
	}
	// In a lake at 2,500 m the same gauge pressure less what the air is thinner by.
	lake := load(t, "proof-10m-fresh")
	lake.Water.AltitudeM = 2500
	high := planned(t, lake, pot, Unit{FreeML: 700, SealedC: lake.Water.TemperatureC})
	same(t, high.SealIn(), high.Column.GaugePa(12.5)/(high.Column.GaugePa(10)-26633), 2e-3, "a high lake")
}

// TestAPotOfGasNeedsASensorInside: a unit that fills with the chamber is as still as a
// tight one.
func TestAPotOfGasNeedsASensorInside(t *testing.T) {
	b := pot
	b.Gas, b.CushionML = true, 0
	p := load(t, "proof-30m-sea")
	p.Accept.LeakMLPerH = 1e3
	if seen := planned(t, p, b, pod); !seen.CanProve() {
		t.Errorf("with one: %s", seen.Proofs[0].Why())
	}
	blind := pod
	blind.InsidePa = 0
	if q := planned(t, p, b, blind).Proofs[0]; q.Enough || !strings.Contains(q.Why(), "gross leak") {
		t.Errorf("without one: enough %v, %s", q.Enough, q.Why())
	}
}
