package analysis

import (
	"math"
	"math/rand/v2"
	"testing"

	"proofpot/profiles"
)

// pulsedRamp is a chamber whose inlet opens for 0.4 s in each second and brings
// 1 kPa each time, while the gas gives back a little of it; less is what is
// missing at a time.
func pulsedRamp(seed uint64, less func(t float64) float64) *analysis {
	r := rand.New(rand.NewPCG(seed, 5))
	s := &signal{dt: 0.5, noise: 40}
	x := &table{endS: 60}
	for k := range 60 {
		x.fill = append(x.fill, interval{float64(k) + 0.1, float64(k) + 0.5})
	}
	clock := newInletClock(x.fill)
	for i := range 120 {
		t := float64(i) / 2
		open, _ := clock.at(t)
		s.t = append(s.t, t)
		s.p = append(s.p, 101_300+2500*open-100*t-less(t)+40*r.NormFloat64())
		s.spike = append(s.spike, false)
	}
	x.spans = []span{{kind: "ramp", start: 0, end: 60}}
	return &analysis{s: s, x: x, sealed: 101_300, stages: []*stage{{ramp: interval{0, 60}, settle: never, hold: never}}}
}

// TestALossFellBetweenTheReadingsThatShowIt: a witness inside says within two
// seconds when a unit lost volume, the chamber says between which two readings,
// also where the inlet pulses.
func TestALossFellBetweenTheReadingsThatShowIt(t *testing.T) {
	column, err := profiles.NewColumn(profiles.Water{Model: profiles.EN13319})
	if err != nil {
		t.Fatal(err)
	}
	right, held := 0, 0
	for seed := range uint64(20) {
		at := 30 + 0.1*float64(seed%20)
		a := pulsedRamp(seed, func(t float64) float64 {
			if t > at {
				return 500
			}
			return 0
		})
		a.column = column
		p := a.placeStep(29.9, 32, 1e4, nil)
		if p == nil {
			t.Fatal("no place")
		}
		if g := p.best(); g.t0 <= at && at <= g.t1 {
			right++
		}
		f := &failure{}
		a.putStep(f, p)
		open, _ := newInletClock(a.x.fill).at(at)
		truth := a.depth(101_300 + 2500*open - 100*at)
		if f.depthLow <= truth && truth <= f.depthUp {
			held++
		}
		if f.depthUp-f.depthLow > 0.3 {
			t.Errorf("seed %d: the interval from %.2f to %.2f m is wider than the two seconds of the witness", seed, f.depthLow, f.depthUp)
		}
	}
	if right < 18 || held < 18 {
		t.Errorf("%d of 20 between the right readings, %d of 20 intervals hold the depth", right, held)
	}
}

// TestAToppingUpWhileTheGasSettlesIsNoLoss: a regulator that lets in a little just
// after a ramp, while the gas cools fast, takes no volume from a unit.
func TestAToppingUpWhileTheGasSettlesIsNoLoss(t *testing.T) {
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 6))
		s := &signal{dt: 1, noise: 25}
		x := &table{endS: 400, fill: []interval{{0, 12}, {21, 22.5}, {61, 62.5}}}
		clock := newInletClock(x.fill)
		warm, last := 0.0, 0.0
		for i := range 400 {
			at := float64(i)
			open, _ := clock.at(at)
			in := 2600 * (open - last)
			if at > 12.5 {
				in *= 0.5
			}
			last = open
			warm = warm*math.Exp(-1/20.) + 0.1*in
			base := 101_300 + 2300*min(open, 12) + 1200*max(open-12, 0)
			s.t, s.p, s.spike = append(s.t, at), append(s.p, base+warm+25*r.NormFloat64()), append(s.spike, false)
		}
		a := &analysis{s: s, x: x, sealed: 101_300, stages: []*stage{{ramp: interval{0, 12}, settle: interval{12, 132}, hold: interval{132, 400}}}}
		a.pulsedSteps()
		if len(a.steps) > 0 {
			t.Errorf("seed %d: %+v", seed, a.steps)
		}
	}
}

func TestALossThatTheRampMakesGoodIsNoSpike(t *testing.T) {
	for what, p := range map[string][]float64{
		"four readings before it is vented":           {178_300, 179_400, 180_500, 181_610, 182_740, 184_030, 185_110, 185_040, 186_120, 187_090, 188_180, 186_740, 185_170, 183_640},
		"the next reading as high as the last before": {181_800, 182_900, 184_050, 185_160, 186_250, 187_460, 186_520, 187_620, 188_810, 189_930, 191_050, 192_160},
	} {
		at := make([]float64, len(p))
		for i := range at {
			at[i] = float64(i) / 2
		}
		for i, s := range findSpikes(at, p, 45, even(0.5)) {
			if s {
				t.Errorf("%s: reading %d marked a spike", what, i)
			}
		}
	}
}

// TestALossJustAfterTheInletOpenedIsNoSpike: the inlet lets in for two readings,
// then a loss takes that back.
func TestALossJustAfterTheInletOpenedIsNoSpike(t *testing.T) {
	s := &signal{dt: 0.5, noise: 45}
	for i := range 80 {
		p := 131_420.0
		if i > 40 {
			p += 1180 * float64(i-40)
		}
		if i > 42 {
			p -= 3300
		}
		if i > 50 {
			p -= 1500 * float64(i-50) // a vent
		}
		s.t, s.p = append(s.t, float64(i)/2), append(s.p, p)
	}
	s.spike = findSpikes(s.t, s.p, s.noise, s.pace())
	s.keepLetIn([]interval{{20, 40}})
	for i, bad := range s.spike {
		if bad {
			t.Errorf("reading %d marked a spike", i)
		}
	}
}

// TestASpikeJustAfterTheInletOpenedIsNoLoss: too few readings of the ramp went
// before it for a line, but those behind it lead back to the last before it.
func TestASpikeJustAfterTheInletOpenedIsNoLoss(t *testing.T) {
	p := []float64{120_743, 120_699, 120_681, 120_663, 120_700, 120_698, 122_956, 125_160, 112_555, 129_468, 131_563, 133_651, 135_716, 137_747}
	at := make([]float64, len(p))
	for i := range at {
		at[i] = float64(i)
	}
	for i, s := range findSpikes(at, p, 25, even(1)) {
		if s != (i == 8) {
			t.Errorf("reading %d marked a spike: %v", i, s)
		}
	}
}

// TestASlowlyOpeningInletReadSeldomIsNoLoss: its flow finds its rate over the
// first half minute, of which a transducer that is read every two seconds shows
// few readings; what looks missing there is a doubt at most.
func TestASlowlyOpeningInletReadSeldomIsNoLoss(t *testing.T) {
	doubts := 0
	for seed := range uint64(400) {
		r := rand.New(rand.NewPCG(seed, 8))
		s := &signal{dt: 2, noise: 30}
		x := &table{endS: 300, fill: []interval{{60, 200}}}
		tau := 3 + 9*r.Float64()
		for i := range 150 {
			at := float64(i) * 2
			p := 130_000 + 30*r.NormFloat64()
			if open := min(at, 200) - 60; open > 0 {
				p += 2600*(open-tau*(1-math.Exp(-open/tau))) - 1.5*open*open
			}
			s.t, s.p, s.spike = append(s.t, at), append(s.p, p), append(s.spike, false)
		}
		a := &analysis{s: s, x: x, sealed: 101_300, stages: []*stage{{ramp: interval{60, 200}, settle: interval{200, 300}, hold: never}}}
		a.findSteps()
		for _, j := range a.steps {
			if !j.unsure {
				t.Errorf("seed %d: %.0f Pa at %.0f s", seed, j.drop, j.t0)
			}
			doubts++
		}
	}
	t.Logf("%d doubts", doubts)
}

// TestASupplyThatMakesGoodLateMovesNoLoss: after a large loss the inlet lets in more,
// but not at once; the reading that still stood high was read before the loss.
func TestASupplyThatMakesGoodLateMovesNoLoss(t *testing.T) {
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 9))
		at := 40 + float64(seed%5)/10
		s := &signal{dt: 0.5, noise: 40}
		for i := range 160 {
			t := float64(i) / 2
			p := 5e5 + 2500*t
			if since := t - at; since > 0 { // back within some 7 s, by a flow that finds its rate in one
				p -= 16_000 * (7*math.Exp(-since/7) - math.Exp(-since)) / 6
			}
			s.t, s.p, s.spike = append(s.t, t), append(s.p, p+40*r.NormFloat64()), append(s.spike, false)
		}
		a := &analysis{s: s, x: &table{endS: 80, fill: []interval{{0, 80}}}, sealed: 101_300, stages: []*stage{{ramp: interval{0, 80}, settle: never, hold: never}}}
		p := a.placeStep(at-1, at+1, math.Inf(1), nil)
		if p == nil {
			t.Fatal("no place")
		}
		if g := p.best(); g.t0 > at || at > g.t1 || g.w < 0.9 {
			t.Errorf("seed %d, lost at %.1f s: placed between %.1f and %.1f, weight %.2f", seed, at, g.t0, g.t1, g.w)
		}
	}
}
