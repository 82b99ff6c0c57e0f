package characterise

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/rig/simbench/inmemory"
)

// steps is a fill in six steps with waits between, and what the vent then lets out.
func steps(t *testing.T, gasML, mlPerBar float64, seed uint64) (run setup.Run, cfg simbench.Config, file io.Reader, start, end simbench.Truth) {
	t.Helper()
	run = setup.Run{Format: 1, Bench: WithoutUnit(simbench.BuiltInBench()), Unit: setup.Unit{ID: "blank"}}
	run.Bench.Supply, run.Bench.GasCushionML, run.Bench.StiffnessMLPerBar = setup.SupplyWater, gasML, mlPerBar
	run.Bench.ReliefPa, run.Bench.RatedPa = run.Bench.RoomPa+6e5, run.Bench.RoomPa+7e5
	run.Profile = profiles.Profile{Name: "steps", ProofFactor: 1, RampMPerMin: 10, Accept: profiles.Accept{LeakMLPerH: 1},
		Water: profiles.Water{Model: "fresh", TemperatureC: 18, LatitudeDeg: 47}}
	for _, depth := range []float64{3, 8, 14, 21, 29, 38} {
		run.Profile.Stages = append(run.Profile.Stages, profiles.Stage{Name: fmt.Sprintf("%g m", depth), DepthM: depth, SettleS: 180, HoldS: 60})
	}
	cfg = simbench.Default(run, seed)
	ran, err := inmemory.Run(run, cfg, inmemory.Options{Sealed: true})
	if err == nil {
		err = ran.Ended
	}
	if err != nil {
		t.Fatal(err)
	}
	return ran.Sheet, cfg, bytes.NewReader(ran.Record), ran.Before, ran.Truth
}

// TestAFillInStepsShowsStiffnessAndFreeGas against the simulated bench's truth, over
// stiffnesses and cushions: what is told lies within its interval, and what is not
// told is said not to be.
func TestAFillInStepsShowsStiffnessAndFreeGas(t *testing.T) {
	seeds := uint64(4)
	if testing.Short() {
		seeds = 1
	}
	in, all, told := 0, 0, 0
	for _, gas := range []float64{50, 150, 400, 1000} {
		for _, stiffness := range []float64{0.7, 1.5, 4} {
			for seed := uint64(1); seed <= seeds; seed++ {
				run, cfg, file, start, end := steps(t, gas, stiffness, seed)
				curve, err := ReadFillCurve(run, record.NewReader(file))
				if err != nil {
					t.Fatal(err)
				}
				got, err := curve.Fit(run.Bench.RoomPa, cfg.Supply.Pa, end.WaterOutML, 0.3)
				if err != nil {
					t.Fatal(err)
				}
				trueGas := start.CushionML
				trueS := start.ComplianceMLPerBar - start.CushionML/start.ChamberPa*1e5
				why := got.Told()
				t.Logf("gas %.1f, stiffness %.3f: found %s; %v", trueGas, trueS, got, why)
				if why != nil {
					continue
				}
				told++
				for name, off := range map[string]float64{"gas": (got.GasML - trueGas) / got.GasSD, "stiffness": (got.MLPerBar - trueS) / got.SD} {
					all++
					if math.Abs(off) <= 2.776 { // Student's t for 7 − 3 degrees of freedom (JCGM 100:2008, table G.2)
						in++
					}
					if math.Abs(off) > 6 {
						t.Errorf("gas %.1f, stiffness %.3f, seed %d: %s is %.1f standard uncertainties off: %s", trueGas, trueS, seed, name, off, got)
					}
				}
			}
		}
	}
	t.Logf("told %d times; %d of %d intervals hold the truth", told, in, all)
	if told == 0 || in*10 < all*9 {
		t.Errorf("told %d times; only %d of %d intervals hold the truth", told, in, all)
	}
}

// pumped is what a person counts who fills the simulated hand bench to 12 m: the
// water that he brought in, in strokes, to half a stroke.
func pumped(t *testing.T, gasML float64, seed uint64, more float64) Fill {
	t.Helper()
	run := setup.Run{Format: 1, Bench: WithoutUnit(simbench.BuiltInHandBench()), Unit: setup.Unit{ID: "blank"}}
	run.Bench.GasCushionML, run.Unit.SealedPa = gasML, run.Bench.RoomPa
	run.Profile = profiles.Profile{Name: "fill", ProofFactor: 1, RampMPerMin: 10, Accept: profiles.Accept{LeakMLPerH: 1},
		Water: profiles.Water{Model: "fresh", TemperatureC: 18, LatitudeDeg: 47}, Stages: []profiles.Stage{{Name: "hold", DepthM: 12, SettleS: 60, HoldS: 60}}}
	cfg := simbench.Default(run, seed)
	cfg.Chamber.CushionM3 *= more
	cfg.Seed += uint64(100 * more) // another day
	typed := false
	ran, err := inmemory.Run(run, cfg, inmemory.Options{Observe: func(_ rig.Instant, s *rig.State, truth func() simbench.Truth, note func(string)) {
		if s.Phase == rig.Hold && !typed {
			typed = true
			note(fmt.Sprintf("%s%.1f", StrokesNote, math.Round(2*truth().WaterInML/(cfg.Supply.StrokeM3*1e6))/2))
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	if ran.Ended != nil && !typed {
		t.Logf("%g ml, seed %d: %v", gasML*more, seed, ran.Ended) // a pump too large for the gas that is left
		return Fill{}
	}
	f, err := ReadFill(ran.Sheet, record.NewReader(bytes.NewReader(ran.Record)))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestTypedStrokesShowMoreFreeGasAndNoOther(t *testing.T) {
	compared := 0
	for _, gas := range []float64{60, 150, 400} {
		for seed := uint64(1); seed <= 4; seed++ {
			last, sd := pumped(t, gas, seed, 1).GasStrokes()
			for _, c := range []struct {
				more float64
				want string
			}{{1.001, ""}, {1.6, "more free gas"}, {0.5, "less free gas"}} {
				now, nowSD := pumped(t, gas, seed, c.more).GasStrokes()
				if now == 0 {
					continue
				}
				compared++
				t.Logf("%g ml, seed %d: %.1f ± %.1f, with %g of it %.1f strokes", gas, seed, last, 2*sd, c.more, now)
				if text := Differs(now, nowSD, last, sd, "strokes"); (text == "") != (c.want == "") || !strings.Contains(text, c.want) {
					t.Errorf("%g ml, seed %d, %g times: %.1f, then %.1f strokes: %q", gas, seed, c.more, last, now, text)
				}
			}
		}
	}
	if compared < 30 {
		t.Errorf("%d fills were compared", compared)
	}
}
