package analysis

import (
	"math"
	"math/rand/v2"
	"testing"

	"proofpot/profiles/water"
)

// TestALeakDoesNotFeignThatTheVapourIsInThePressureInside: a leak brings vapour just
// as it begins to press the air together. What the pressure inside carries of the
// vapour is judged by the time before it, else holds long before the leak seemed to
// lose what they did not.
func TestALeakDoesNotFeignThatTheVapourIsInThePressureInside(t *testing.T) {
	const free, room, onset = 500.0, 1e5, 1650.0
	pressure := func(at float64) float64 {
		switch {
		case at < 100:
			return room + 3e4*at/100
		case at < 1500:
			return room + 3e4
		case at < 1700:
			return room + 3e4 + 3e5*(at-1500)/200
		}
		return room + 3.3e5
	}
	stages := []*stage{{ramp: interval{0, 100}, settle: interval{100, 160}, hold: interval{160, 1500}},
		{order: 1, ramp: interval{1500, 1700}, settle: interval{1700, 1800}, hold: interval{1800, 2600}}}
	for seed := range uint64(8) {
		r := rand.New(rand.NewPCG(seed, 8))
		var celsius series
		v := &void{freeML: free, share: 0.5, shareU: 0.5, dt: 2, noise: free * 5 / room}
		in := 0.0
		for at := 0.0; at < 2600; at += 2 {
			celsius.add(at, 15+0.02*r.NormFloat64())
			if at > onset {
				in += 60 * (pressure(at) - room) / 1e5 / 3600 * 2
			}
			e := 0.5*water.SaturationPa(15) + 60*(1-math.Exp(-at/600)) + 300*(1-math.Exp(-math.Max(at-onset, 0)/60))
			v.t, v.vapour = append(v.t, at), append(v.vapour, e)
			v.pa = append(v.pa, room*free/(free-in)+5*r.NormFloat64())
		}
		v.temp = insideTrack(&celsius)
		v.ml, v.bad = make([]float64, len(v.t)), make([]bool, len(v.t))
		v.lost()
		none := func(float64) float64 { return 0 }
		v.fixShare(stages, 1500, func(at float64) float64 { return pressure(at) - room }, pressure, none)
		e := v.leak(stages[0].hold, pressure, pressure, none, false, yielding{})
		if i := e.interval(); i.Low > 0 || i.High < 0 {
			t.Errorf("seed %d: share %.2f ± %.2f, a tight hold loses or takes in %+v ml/h", seed, v.share, v.shareU, i)
		}
	}
}

// TestABurstIsAWideOpeningAtAnyDepth: what passes for each bar is the size of the
// opening; 200 ml/h at 60 m come through a gap, at 6 m through a hole.
func TestABurstIsAWideOpeningAtAnyDepth(t *testing.T) {
	for _, c := range []struct {
		q, bar float64
		burst  bool
	}{{200, 6, false}, {560, 10, false}, {200, 0.6, true}, {700, 2.6, true}, {60, 0.2, true}, {30, 0.05, false}, {80, 2, false}} {
		if got := wide(c.q, c.q/c.bar); got != c.burst {
			t.Errorf("%g ml/h at %g bar: burst %v", c.q, c.bar, got)
		}
	}
}

// TestHumidityFailsNoUnitInGas: where gas is all around the unit no water comes in to
// evaporate; walls that warm with the gas give off moisture in step with the pressure.
func TestHumidityFailsNoUnitInGas(t *testing.T) {
	for _, gas := range []bool{false, true} {
		a := measured(t)
		a.v.gas = gas
		a.run.Profile.Accept.MoistureMGPerH = 2
		a.damp = &damp{rising: true, gain: 200}
		a.stages[1].damp = bounded(2.1, 3)
		if got := a.dampFails(); got == gas {
			t.Errorf("in gas %v: humidity fails it %v", gas, got)
		}
		want := map[bool]string{false: Fail, true: Inconclusive}[gas]
		if h := a.judgeHold(a.stages[1], nil); h.Verdict != want {
			t.Errorf("in gas %v: %s %v", gas, h.Verdict, h.Reasons)
		}
	}
}
