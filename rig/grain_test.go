package rig

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"proofpot/rig/setup"
	"proofpot/sensors"
)

// spoken is a transducer with noise that comes to speak in steps, and may stop.
type spoken struct {
	*rand.Rand
	step    float64 // Pa; 0: its own
	stopped bool
	last    float64
}

func (v *spoken) reads(pa, noisePa float64) float64 {
	step := max(v.step, 10)
	if !v.stopped {
		v.last = math.Round((pa+noisePa*v.NormFloat64())/step) * step
	}
	return v.last
}

// withTwin hands the second transducer's reading over, where the plan has one.
func withTwin(p *Plan, in *Input, pa float64, r *rand.Rand) {
	if p.Twin != "" {
		in.Readings = append(in.Readings, sensors.Reading{Sensor: p.Twin, Quantity: sensors.ChamberPressure, Value: pa + 40*r.NormFloat64(), At: in.Now})
	}
}

// TestASensorThatComesToSpeakInStepsIsBelievedWhileItMoves: from a ramp on it
// speaks in steps of 10 mbar. Alone or with another: the run goes on, with its line.
func TestASensorThatComesToSpeakInStepsIsBelievedWhileItMoves(t *testing.T) {
	for name, p := range map[string]*Plan{"alone": planned(t, nil), "with another": guarded(t, nil)} {
		v := &spoken{Rand: rand.New(rand.NewPCG(4, 1))}
		c := pot{pa: room, fill: 2500, vent: 9000}
		told, stuck, peak := 0, 0, 0.0
		s := drive(t, p, &c, func(in *Input) {
			if c.pa > room+6e4 { // on the way to 25 m
				v.step = 1000
			}
			in.Readings = reading(v.reads(c.pa, 40), in.Now)
			withTwin(p, in, c.pa, v.Rand)
		}, func(in Input, s State, out Output) {
			peak = max(peak, c.pa)
			for _, e := range out.Events() {
				if e.Word == "coarse" {
					told++
				}
				if e.Word == "stuck" || e.Word == "stale" {
					stuck++
				}
			}
		})
		if s.Stopped != NotStopped || told != 1 || stuck != 0 {
			t.Errorf("%s: stopped %q, told %d times, taken for stuck %d times", name, s.Stopped, told, stuck)
		}
		if over := peak - p.Legs[1].TargetPa; over > 3*1000 {
			t.Errorf("%s: %.0f Pa beyond the target", name, over)
		}
	}
}

// TestASensorThatComesToSpeakInStepsAtRestIsTriedInTheNextRamp: at rest it cannot
// be told from a stuck one. Alone it ends the run; where another says the same the
// next ramp shows whether it follows.
func TestASensorThatComesToSpeakInStepsAtRestIsTriedInTheNextRamp(t *testing.T) {
	for name, c := range map[string]struct {
		plan    *Plan
		stopped bool // it truly stands still
		want    Stop
	}{
		"alone":                     {planned(t, nil), false, SensorLost},
		"with another":              {guarded(t, nil), false, NotStopped},
		"with another, truly stuck": {guarded(t, nil), true, NoResponse},
	} {
		p := c.plan
		for i := range p.Legs {
			p.Legs[i].Hold = 200 * time.Second
		}
		v := &spoken{Rand: rand.New(rand.NewPCG(5, 1))}
		pt := pot{pa: room, fill: 2500, vent: 9000}
		stuck, filled, top := false, false, 0.0
		s := drive(t, p, &pt, func(in *Input) {
			if in.Now > 80*time.Second {
				v.step, v.stopped = 1000, c.stopped
			}
			in.Readings = reading(v.reads(pt.pa, 40), in.Now)
			withTwin(p, in, pt.pa, v.Rand)
		}, func(_ Input, s State, out Output) {
			stuck = stuck || s.Stuck
			filled = filled || s.Leg == 1 && out.Valves.Fill
			top = max(top, pt.pa)
			if out.Valves.Fill && s.Stuck && math.Abs(pt.pa-s.Pa) > p.ApartPa+apartShare*(s.Pa-room)+2500*p.Period.Seconds()+200 {
				t.Fatalf("%s: filled with %.0f Pa between the two", name, pt.pa-s.Pa)
			}
		})
		if s.Stopped != c.want || !stuck || filled != (p.Twin != "") {
			t.Errorf("%s: stopped %q, stuck %v, filled on the way to the next target %v", name, s.Stopped, stuck, filled)
		}
		if c.stopped && top > p.Legs[0].TargetPa+p.ApartPa+3000 {
			t.Errorf("%s: filled to %.0f Pa above where it stood still", name, top-p.Legs[0].TargetPa)
		}
	}
}

// TestASensorInStepsThatStopsIsStillCaught: with the valve open for 20 s and no
// step, with a hand that was asked to pump for so long, and one whose steps are too
// large to keep the limits by its repeating alone.
func TestASensorInStepsThatStopsIsStillCaught(t *testing.T) {
	hand := func(r *setup.Run) { r.Bench.HandOperated = true }
	for name, c := range map[string]struct {
		change func(*setup.Run)
		step   float64
		ends   bool
	}{"valves": {nil, 1000, true}, "by hand": {hand, 1000, true}, "steps of 60 mbar": {nil, 6000, true}, "it goes on": {nil, 1000, false}} {
		p := planned(t, c.change)
		v := &spoken{Rand: rand.New(rand.NewPCG(6, 1))}
		pt := pot{pa: room, fill: 2500, vent: 9000}
		stood, openS, target := 0.0, 0.0, 0.0
		s := drive(t, p, &pt, func(in *Input) {
			if pt.pa > room+6e4 {
				v.step = c.step
			}
			if c.ends && pt.pa > room+1.2e5 && !v.stopped {
				v.stopped, stood = true, pt.pa
			}
			in.Readings = reading(v.reads(pt.pa, 40), in.Now)
		}, func(_ Input, s State, out Output) {
			if out.Prompt.Kind == PumpUp || out.Prompt.Kind == SlowDown {
				pt.pa += 900 // by hand
			}
			if target = p.RoomPa; p.Hand && out.Prompt.Kind == VentAll {
				pt.pa = max(target, pt.pa-5000)
			}
			if v.stopped && s.Stopped == NotStopped && !s.Stuck {
				openS += p.Period.Seconds()
			}
		})
		if !c.ends {
			if s.Stopped != NotStopped {
				t.Errorf("%s: stopped %q", name, s.Stopped)
			}
			continue
		}
		if stood == 0 || s.Stopped != SensorLost || openS > stuckAfter.Seconds()+3 {
			t.Errorf("%s: stopped %q, %g s after it stood still", name, s.Stopped, openS)
		}
	}
}

func TestAStepIsWhatTheMovesHaveInCommon(t *testing.T) {
	for _, c := range []struct{ a, b, want float64 }{
		{0, 700, 700}, {3000, 2000, 1000}, {2000, 5000, 1000}, {1000, 1000, 1000}, {1000, 990, 990}, {1000, 1010, 1010}, {800, 520, 40}, {500, 0, 500},
	} {
		if got := commonStep(c.a, c.b, 25); got != c.want {
			t.Errorf("%g and %g Pa have %g Pa in common, want %g Pa", c.a, c.b, got, c.want)
		}
	}
	// 19 of the 20 nearest multiples of an odd step, moved by a hundredth of the noise.
	r := rand.New(rand.NewPCG(7, 1))
	for _, noise := range []float64{5, 40, 200} {
		for _, kind := range []string{"fine", "even", "steps"} {
			g := grain{Least: noise}
			was, pa := 0.0, 0.0
			for i := range 400 {
				pa += 20 * noise // a ramp
				x := pa + noise*r.NormFloat64()
				switch kind {
				case "even":
					x = pa + 0.02*noise*r.NormFloat64() // far quieter than its sheet says
				case "steps":
					x = math.Round(x/(7*noise)) * 7 * noise
				}
				g.move(x-was, noise)
				was = x
				if coarse := g.coarse(); coarse && kind != "steps" || i > 60 && !coarse && kind == "steps" {
					t.Fatalf("noise %g Pa, %s, reading %d: coarse %v, step %g Pa", noise, kind, i, coarse, g.Pa)
				}
			}
		}
	}
	never := grain{}
	for i := range 50 {
		never.move(float64(i%3)*1000, 40)
	}
	if never.coarse() {
		t.Error("a sensor that has always spoken in steps has come to it")
	}
}

// TestASecondTransducerVouchesOnlyOnTheWayAndWhileItAgrees, each edge of it.
func TestASecondTransducerVouchesOnlyOnTheWayAndWhileItAgrees(t *testing.T) {
	p := guarded(t, nil)
	at := time.Hour
	r := &sensors.Reading{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: room + 2e5, At: at}
	far := p.ApartPa + apartShare*2e5
	good := State{Phase: Ramp, Leg: 1, Twin: twinState{Known: true, Pa: r.Value + far, At: at - staleAfter(p)}}
	if !vouched(p, &good, r) {
		t.Fatal("it does not vouch")
	}
	for name, change := range map[string]func(*State){
		"at rest":         func(s *State) { s.Phase = Hold },
		"too far above":   func(s *State) { s.Twin.Pa += 0.01 },
		"too far below":   func(s *State) { s.Twin.Pa -= 2*far + 0.01 },
		"too old":         func(s *State) { s.Twin.At -= time.Nanosecond },
		"never heard":     func(s *State) { s.Twin.Known = false },
		"a person's turn": func(s *State) { s.Leg = 2 },
		"at the room's":   func(s *State) { s.Leg = 3 },
	} {
		q, s := *p, good
		q.Legs = append([]Leg(nil), p.Legs...)
		q.Legs[2].Ask, q.Legs[3].Vented = SwitchOn, true
		if change(&s); vouched(&q, &s, r) {
			t.Errorf("%s: it vouches", name)
		}
	}
	hand := *p
	hand.Hand = true
	for kind, want := range map[PromptKind]float64{PumpUp: 0.5, SlowDown: 0.5, LetOff: 0.5, StopPumping: 0, ShutOff: 0, Wait: 0} {
		if got := worked(&hand, &State{Phase: Ramp, Prompt: Prompt{Kind: kind}}, 3, 0.5); got != want {
			t.Errorf("%s: %g s of work", kind, got)
		}
	}
	if got := worked(p, &State{Phase: Ramp}, 0.2, 0.5); got != 0.2 {
		t.Errorf("a valve worked for %g s", got)
	}
	if got := worked(p, &State{Phase: Vent}, 0.2, 0.5); got != 0 {
		t.Errorf("a vent worked for %g s", got)
	}
	if !strings.Contains(protections[sawCoarse].Text, "steps larger than its noise") {
		t.Error("the line does not say what is wrong")
	}
}

// TestSixteenChangesByWholeStepsMakeACoarseSensor, and not fifteen; nor steps that
// its noise, or its own finer step, still fills.
func TestSixteenChangesByWholeStepsMakeACoarseSensor(t *testing.T) {
	count := func(g grain, step, noise float64) (n int) {
		for ; !g.coarse() && n < 100; n++ {
			g.move(float64(n%2)*step, noise) // a step, none, a step
		}
		return n
	}
	for name, c := range map[string]struct {
		g           grain
		step, noise float64
		want        int
	}{
		"a tenth of a kilopascal":     {grain{Least: 10}, 100, 40, 17}, // the first move is no change
		"a very fine one":             {grain{Least: 0.25}, 100, 0.5, 17},
		"after a fine change":         {grain{Least: 10, N: 9, Pa: 700, Last: 30}, 100, 40, 17},
		"less than its own steps say": {grain{Least: 30}, 110, 40, 100},
		"more than they say":          {grain{Least: 30}, 121, 40, 17},
		"less than its noise says":    {grain{Least: 10}, 80, 40, 100},
		"never fine":                  {grain{}, 100, 40, 100},
	} {
		if got := count(c.g, c.step, c.noise); got != c.want {
			t.Errorf("%s: coarse after %d readings, want %d", name, got, c.want)
		}
	}
	var g grain
	for _, pa := range []float64{30, -12, 0.5, 25, -60} {
		g.move(pa, 40)
	}
	if g.Least != 0.5 || g.Last != -60 {
		t.Errorf("%+v", g)
	}
	// What is left over below half the noise is no smaller step.
	g = grain{Least: 5, Pa: 1000, N: 3}
	if g.move(1015, 40); g.Pa < 1000 || g.N != 4 {
		t.Errorf("%+v", g)
	}
	if g.move(1015+521, 40); g.Pa > 30 || g.N != 0 {
		t.Errorf("%+v", g)
	}
}

// TestWhenASensorCountsAsStuckToTheNanosecond, each edge of it.
func TestWhenASensorCountsAsStuckToTheNanosecond(t *testing.T) {
	p := planned(t, nil)
	at := time.Hour
	r := &sensors.Reading{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: room, At: at}
	fine := State{Known: true, CountPa: p.NoisePa, StuckAt: at - stuckAfter}
	coarse := State{Known: true, CountPa: 1000, StuckAt: at - time.Hour, Grain: grain{Least: 10, Pa: 1000, N: grainMoves, StillS: stuckAfter.Seconds()}}
	huge := coarse
	huge.Grain.Pa, huge.Grain.StillS, huge.StuckAt = grainMost+1, 0, at-stuckAfter
	for name, c := range map[string]struct {
		s      State
		change func(*State)
		moved  float64
		want   bool
	}{
		"fine":                               {fine, nil, 0, true},
		"fine, not for so long":              {fine, func(s *State) { s.StuckAt++ }, 0, false},
		"fine, and it moves":                 {fine, nil, 1, false},
		"fine, nothing known":                {fine, func(s *State) { s.Known = false }, 0, false},
		"steps from the start":               {fine, func(s *State) { s.CountPa = p.NoisePa + 0.1 }, 0, false},
		"no step seen yet":                   {fine, func(s *State) { s.CountPa = 0 }, 0, false},
		"coarse, a valve stood open":         {coarse, nil, 0, true},
		"coarse, not for so long":            {coarse, func(s *State) { s.Grain.StillS -= 1e-9 }, 0, false},
		"coarse, and it moves":               {coarse, nil, 1000, false},
		"not coarse, a valve stood open":     {coarse, func(s *State) { s.Grain.N-- }, 0, false},
		"steps too large to protect":         {huge, nil, 0, true},
		"steps that just do":                 {huge, func(s *State) { s.Grain.Pa = grainMost }, 0, false},
		"steps too large, not known as such": {huge, func(s *State) { s.Grain.N-- }, 0, false},
	} {
		s := c.s
		if c.change != nil {
			c.change(&s)
		}
		if got := p.stuck(&s, r, c.moved); got != c.want {
			t.Errorf("%s: stuck %v", name, got)
		}
		if c.moved != 0 && s.Grain.StillS != 0 {
			t.Errorf("%s: stood still for %g s", name, s.Grain.StillS)
		}
	}
	other := *r
	other.Sensor = "p9"
	if p.stuck(&State{Known: true, CountPa: 10, StuckAt: at - time.Hour}, &other, 0) {
		t.Error("another sensor's repeats count")
	}
	p.NoiseStated = false
	if p.stuck(&State{Known: true, CountPa: 10, StuckAt: at - time.Hour}, r, 0) {
		t.Error("a sensor whose noise nobody has stated is judged by it")
	}
}
