package analysis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"proofpot/rig/setup"
)

// regulatedPot is a hand-made record of a tight unit in a water-filled pot whose inlet
// tops the pressure up: 350 ml of gas at the room's pressure, rigid walls, water
// and room that stay at 20 °C, gas that settles with a time constant and is warmed
// by its compression.
func regulatedPot(tauS float64, leakMLPerH float64, seed uint64) (setup.Run, []byte) {
	const room, cushion, target, dt = 1e5, 350.0, 5.1e5, 0.5
	r := rand.New(rand.NewPCG(seed, 3))
	var b strings.Builder
	start := int64(1_790_000_000_000_000_000)
	put := func(t float64, format string, args ...any) {
		fmt.Fprintf(&b, format+" %d\n", append(args, start+int64(t*1e9))...)
	}
	gas, kelvin, volume := room*cushion/293.15, 293.15, cushion
	p, t, open, rise := room, 0.0, true, 2500.0 // Pa/s
	put(0, `run,event=start text="start"`)
	put(0, "valve,valve=vent open=false")
	put(0, "valve,valve=fill open=true")
	put(0, `stage,kind=ramp index=0i,name="one",depth_m=40.0,pressure_pa=%.0f`, target)
	phase, since := "ramp", 0.0
	for phase != "end" {
		t += dt
		if open {
			gas += rise * dt * volume / kelvin
		}
		volume += leakMLPerH / 3600 * dt * (p - room) / (target - room)
		// Two short steps: compression without exchange, then exchange.
		next := gas * kelvin / volume
		kelvin *= math.Pow(next/p, 0.286)
		kelvin = 293.15 + (kelvin-293.15)*math.Exp(-dt/tauS)
		p = gas * kelvin / volume
		put(t, "chamber,sensor=p1 pressure_pa=%.0f,water_c=%.3f", p+40*r.NormFloat64(), 20+0.01*r.NormFloat64())
		if int(t/dt)%20 == 0 {
			put(t, "room,sensor=r1 pressure_pa=%.0f,temperature_c=20.0", room)
		}
		switch {
		case phase == "ramp" && p >= target:
			put(t, "valve,valve=fill open=false")
			put(t, `stage,kind=settle index=0i,name="one",depth_m=40.0,pressure_pa=%.0f`, target)
			open, phase, since, rise = false, "settle", t, 500
		case !open && p < target-1500:
			put(t, "valve,valve=fill open=true")
			open = true
		case open && phase != "ramp" && p >= target:
			put(t, "valve,valve=fill open=false")
			open = false
		}
		if phase == "settle" && t-since >= 60 {
			put(t, `stage,kind=hold index=0i,name="one",depth_m=40.0,pressure_pa=%.0f`, target)
			phase, since = "hold", t
		} else if phase == "hold" && t-since >= 300 {
			put(t, `stage,kind=vent index=0i,name="end",depth_m=0.0,pressure_pa=%.0f`, room)
			put(t, "valve,valve=vent open=true")
			put(t, `run,event=end text="end"`)
			phase = "end"
		}
	}
	run := nightRun()
	run.Unit.OuterVolumeML, run.Unit.FreeVolumeML = 900, 500
	run.Bench.ChamberVolumeML, run.Bench.GasCushionML, run.Bench.StiffnessMLPerBar = 9000, cushion, 0.01
	run.Bench.BlankLeakMLPerHPerBar, run.Bench.BlankLeakSDMLPerHPerBar = 0, 0.012
	run.Bench.RoomPa = room
	return run, []byte(b.String())
}

// TestGasThatStillSettlesBetweenTopUpsIsNoLeak: without a gas thermometer, in a
// pot whose inlet opens every few seconds while the gas cools, a fit that gave each
// closed time a warmth of its own took the cooling for tens of ml/h, with a claim
// of a tenth of that.
func TestGasThatStillSettlesBetweenTopUpsIsNoLeak(t *testing.T) {
	for _, c := range []struct{ tauS, leak float64 }{{60, 0}, {70, 0}, {90, 0}, {70, 60}} {
		for seed := range uint64(4) {
			run, text := regulatedPot(c.tauS, c.leak, seed)
			res := analyseText(t, run, "20260101T000000Z-KP-01", text)
			h := res.Verdict.Holds[0].LeakMLPerH
			if h == nil || c.leak < h.Low || c.leak > h.High {
				t.Errorf("settling in %g s, seed %d: %g ml/h is measured as %+v", c.tauS, seed, c.leak, h)
			}
			if c.leak == 0 && res.Verdict.Verdict == Fail {
				t.Errorf("settling in %g s, seed %d: a tight unit fails: %v", c.tauS, seed, res.Verdict.Reasons)
			}
		}
	}
}

// TestTheTemperatureInsideIsFollowedAsFastAsItBends: in a gas-filled pot the gas is
// warm after a ramp, and the unit follows it within minutes; smoothed as slow water
// is, its air seemed to lose or gain what it did not.
func TestTheTemperatureInsideIsFollowedAsFastAsItBends(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	for name, c := range map[string]struct {
		celsius func(t float64) float64
		smooth  bool
	}{
		"gas-filled pot": {func(t float64) float64 {
			return 20 + 4*(math.Exp(-math.Max(t-600, 0)/900)-math.Exp(-math.Max(t-600, 0)/60))
		}, false},
		"water": {func(t float64) float64 { return 20 + 0.3*math.Exp(-t/700) }, true},
	} {
		var s series
		for i := range 1500 {
			at := float64(2 * i)
			s.add(at, c.celsius(at)+0.02*r.NormFloat64())
		}
		k := insideTrack(&s)
		if (k.half == 300) != c.smooth {
			t.Errorf("%s: smoothed over ±%g s", name, k.half)
		}
		worst := 0.0
		for at := 300.0; at < 2700; at++ {
			worst = max(worst, math.Abs(k.at(at)-c.celsius(at)))
		}
		if worst > 0.25 {
			t.Errorf("%s: off by up to %.3f K", name, worst)
		}
	}
}

// TestSettlingIsSharedByTheStages: what one stage knows of the time in which the
// gas settles the others are told, and no stage is told its own.
func TestSettlingIsSharedByTheStages(t *testing.T) {
	n := len(settlingTimes)
	sharp := make([]float64, n)
	for i := range sharp {
		sharp[i] = -8 * math.Abs(float64(i-9))
	}
	a := &analysis{s: &signal{t: []float64{0, 50, 150}, p: []float64{2e5, 2e5, 2e5}, spike: make([]bool, 3)}, v: vessel{roomPa: 1e5}}
	a.stages = []*stage{{settle: interval{0, 100}, hold: never, settles: sharp}, {settle: interval{100, 200}, hold: never}}
	a.shareSettling()
	if a.stages[0].settlesLike != nil {
		t.Error("a stage is told what only itself knows")
	}
	like := a.stages[1].settlesLike
	if like == nil || slices.Index(like, slices.Max(like)) != 9 {
		t.Errorf("%v", like)
	}
}
