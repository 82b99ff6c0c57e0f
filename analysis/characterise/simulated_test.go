package characterise

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"

	"proofpot/analysis"
	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/rig/simbench/inmemory"
)

// made is a record of the simulated bench, whose truth is known.
type made struct {
	run   setup.Run
	cfg   simbench.Config
	bytes []byte
}

func (m made) source() *record.Reader { return record.NewReader(bytes.NewReader(m.bytes)) }

// simulate runs a profile on the simulated bench, without a unit where blank.
func simulate(t *testing.T, profile string, seed uint64, blank bool, edit func(*setup.Bench), faults ...string) made {
	t.Helper()
	run := setup.Run{Format: 1, Bench: simbench.BuiltInBench(), Unit: setup.Unit{ID: "blank"}}
	if !blank {
		run.Unit = simbench.BuiltInUnit()
	}
	if edit != nil {
		edit(&run.Bench)
	}
	if blank {
		run.Bench = WithoutUnit(run.Bench)
	}
	var err error
	if run.Profile, err = profiles.Load(profile); err != nil {
		t.Fatal(err)
	}
	cfg := simbench.Default(run, seed)
	for _, f := range faults {
		if f == "" {
			continue
		}
		fault, err := simbench.ParseBenchFault(f)
		if err != nil {
			t.Fatal(err)
		}
		cfg.BenchFaults = append(cfg.BenchFaults, fault)
	}
	ran, err := inmemory.Run(run, cfg, inmemory.Options{Sealed: true})
	if err == nil {
		err = ran.Ended
	}
	if err != nil {
		t.Fatal(err)
	}
	if ran.State.Stopped != rig.NotStopped {
		t.Logf("the run ended early: %s", ran.State.Stopped)
	}
	return made{ran.Sheet, cfg, ran.Record}
}

// cushions are benches from soft to stiff.
var cushions = map[string]func(*setup.Bench){
	"300 ml cushion":  nil,
	"80 ml cushion":   func(b *setup.Bench) { b.GasCushionML = 80 },
	"1000 ml cushion": func(b *setup.Bench) { b.GasCushionML = 1000 },
	"by hand":         func(b *setup.Bench) { *b = simbench.BuiltInHandBench() },
}

func TestABlankRunFindsTheBenchsOwnLeak(t *testing.T) {
	seeds := uint64(6)
	if testing.Short() {
		seeds = 2
	}
	in, all := 0, 0
	for name, edit := range cushions {
		for seed := uint64(1); seed <= seeds; seed++ {
			m := simulate(t, "blank-30m-sea", seed, true, edit)
			b, err := FitBlank(m.run, "blank", m.source())
			if err != nil {
				t.Fatalf("%s, seed %d: %v", name, seed, err)
			}
			truth := m.cfg.Chamber.Blank * 1e6 * 3600 * 1e5
			off := (b.MLPerHPerBar - truth) / b.SD
			t.Logf("%s, seed %d: truth %.4f, found %s: %.1f standard uncertainties off", name, seed, truth, b, off)
			all++
			if math.Abs(off) <= coverage95 {
				in++
			}
			if math.Abs(off) > 4 {
				t.Errorf("%s, seed %d: truth %.4f ml/h/bar, found %s", name, seed, truth, b)
			}
			if b.LowBar > 0.4 || b.HighBar < 3.5 || !(b.LowC > 10 && b.HighC < 30 && b.LowC < b.HighC) {
				t.Errorf("%s: %s", name, b)
			}
		}
	}
	t.Logf("%d of %d intervals hold the truth", in, all)
	if in*10 < all*8 {
		t.Errorf("only %d of %d intervals hold the truth", in, all)
	}
}

func TestAFillShowsHowMuchFreeGasThereIs(t *testing.T) {
	figure := func(ml float64, seed uint64, fault string) float64 {
		m := simulate(t, "proof-10m-sea", seed, true, func(b *setup.Bench) { b.GasCushionML = ml }, fault)
		f, err := ReadFill(m.run, m.source())
		if err != nil {
			t.Fatal(err)
		}
		return f.SecondsPerBar()
	}
	for _, ml := range []float64{80, 150, 400} {
		for seed := uint64(1); seed <= 3; seed++ {
			usual, again, more := figure(ml, seed, ""), figure(ml, seed, "bare water"), figure(ml, seed, fmt.Sprintf("trapped gas, %g ml", 0.6*ml))
			t.Logf("%g ml, seed %d: %.3g, again %.3g, with 60 %% more %.3g s/bar", ml, seed, usual, again, more)
			if text := Differs(again, 0, usual, 0, "s/bar"); text != "" {
				t.Errorf("%g ml: the same fill: %s", ml, text)
			}
			if text := Differs(more, 0, usual, 0, "s/bar"); !strings.Contains(text, "more free gas than the last") {
				t.Errorf("%g ml: trapped gas goes unnoticed: %.3g, then %.3g", ml, usual, more)
			}
		}
	}
}

func TestAKnownLeakIsRecoveredAndAWrongOneIsNot(t *testing.T) {
	seeds := uint64(4)
	if testing.Short() {
		seeds = 1
	}
	yes, all := 0, 0
	for seed := uint64(1); seed <= seeds; seed++ {
		m := simulate(t, "blank-30m-sea", seed, true, nil, "bench leaks, 2 ml/h")
		res, err := analysis.Analyse(Nowhere(m.run, true), "known", m.source())
		if err != nil {
			t.Fatal(err)
		}
		// A leak of 2 ml/h at 1 bar gauge goes with the pressure: it is known at each hold.
		found, err := Recover(res, func(bar float64) (float64, float64) { return 2 * bar, 0.01 * bar }, m.run)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range found {
			all++
			if r.Yes {
				yes++
			}
			t.Logf("seed %d, %.1f m: %.3f known, %.3f to %.3f found: %v, %s", seed, r.DepthM, r.Known, r.Found.Low, r.Found.High, r.Yes, r.Why)
		}
		wrong, err := Recover(res, func(bar float64) (float64, float64) { return 5 * bar, 0.01 * bar }, m.run)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range wrong {
			if r.Yes {
				t.Errorf("seed %d: a leak two and a half times as large counts as recovered: %+v", seed, r)
			}
		}
	}
	if yes*10 < all*8 {
		t.Errorf("%d of %d holds recover the leak", yes, all)
	}
}
