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
