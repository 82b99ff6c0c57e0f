package rig

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"proofpot/profiles"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

const room = 101325.0

func sheet() setup.Run {
	return setup.Run{
		Format: 1,
		Unit:   setup.Unit{ID: "KP-01", FreeVolumeML: 500, SealedPa: room},
		Bench: setup.Bench{ID: "club pot", Medium: setup.MediumWater, Supply: setup.SupplyGas, ChamberVolumeML: 8000,
			GasCushionML: 300, StiffnessMLPerBar: 1.5, RatedPa: room + 10e5, ReliefPa: room + 8e5, RoomPa: room,
			Sensors: []setup.Sensor{{ID: "p1", Measures: "chamber pressure", NoisePa: 50}}},
		Profile: profiles.Profile{Accept: profiles.Accept{LeakMLPerH: 1}, Name: "two steps", ProofFactor: 1.25, RampMPerMin: 10,
			Water: profiles.Water{Model: "fresh", TemperatureC: 12, LatitudeDeg: 46},
			Stages: []profiles.Stage{
				{Name: "shallow", DepthM: 3, SettleS: 20, HoldS: 40},
				{Name: "proof", DepthM: 25, SettleS: 20, HoldS: 40, Cycles: 2},
				{Name: "return", DepthM: 3, SettleS: 20, HoldS: 40}}},
	}
}

func planned(t testing.TB, change func(*setup.Run)) *Plan {
	t.Helper()
	run := sheet()
	if change != nil {
		change(&run)
	}
	p, err := NewPlan(run)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// pot is the simplest chamber that the sequencer can drive: a fill and a vent
// of constant flow, no temperature, no leak.
type pot struct {
	pa     float64
	valves Valves
	fill   float64 // Pa/s
	vent   float64
}

func (c *pot) after(d time.Duration) {
	open := d
	if c.valves.Pulse > 0 {
		open = min(open, c.valves.Pulse)
	}
	if c.valves.Fill {
		c.pa += c.fill * open.Seconds()
	}
	if c.valves.Vent {
		c.pa = max(room, c.pa-c.vent*open.Seconds())
	}
}

func reading(pa float64, at time.Duration) []sensors.Reading {
	return []sensors.Reading{{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: pa, At: at}}
}

// drive runs a plan on a pot to its end and hands each step to look.
func drive(t testing.TB, p *Plan, c *pot, input func(*Input), look func(Input, State, Output)) State {
	t.Helper()
	var s State
	for now := time.Duration(0); s.Phase != Done; now += p.Period {
		if now > 6*time.Hour {
			t.Fatalf("no end after %s: %s of leg %d at %.0f Pa", now, s.Phase, s.Leg, s.Pa)
		}
		c.after(p.Period)
		in := Input{Now: now, Readings: reading(c.pa, now)}
		if input != nil {
			input(&in)
		}
		var out Output
		s, out = Step(p, s, in)
		c.valves = out.Valves
		if look != nil {
			look(in, s, out)
		}
	}
	return s
}

func TestAProfileIsRunStageByStage(t *testing.T) {
	p := planned(t, nil)
	var kinds []Phase
	var legs []int
	var peak float64
	holdStart := time.Duration(0)
	c := pot{pa: room, fill: 2500, vent: 9000}
	s := drive(t, p, &c, nil, func(in Input, s State, out Output) {
		peak = max(peak, c.pa)
		for _, e := range out.Events() {
			if e.Kind != StageEvent {
				continue
			}
			kinds, legs = append(kinds, e.Phase), append(legs, p.Legs[e.Leg].Stage)
			switch e.Phase {
			case Settle:
				want := p.Legs[e.Leg].TargetPa
				if math.Abs(c.pa-want) > 0.01*(want-room)+1500 {
					t.Errorf("stage %d settles at %.0f Pa, its target is %.0f Pa", e.Leg, c.pa, want)
				}
			case Hold:
				holdStart = in.Now
			case Ramp, Vent:
				if holdStart > 0 && kinds[len(kinds)-2] == Hold && in.Now-holdStart != 40*time.Second {
					t.Errorf("a hold of 40 s lasted %s", in.Now-holdStart)
				}
			}
		}
		if s.Phase == Hold && (out.Valves.Fill || out.Valves.Vent) {
			t.Fatal("a valve moved in a measuring window")
		}
	})
	wantKinds := []Phase{Ramp, Settle, Hold, Ramp, Settle, Hold, Ramp, Ramp, Settle, Hold, Ramp, Settle, Hold, Vent}
	wantLegs := []int{0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 2, 2, 2, 2}
	if len(kinds) != len(wantKinds) {
		t.Fatalf("stages %v, want %v", kinds, wantKinds)
	}
	for i := range kinds {
		if kinds[i] != wantKinds[i] || legs[i] != wantLegs[i] {
			t.Fatalf("stages %v of %v, want %v of %v", kinds, legs, wantKinds, wantLegs)
		}
	}
	if s.Stopped != NotStopped || c.pa != room {
		t.Errorf("ended %q at %.0f Pa", s.Stopped, c.pa)
	}
	if over := peak - p.Legs[1].TargetPa; over > 1500 {
		t.Errorf("overshot by %.0f Pa", over)
	}
}

func TestARampKeepsItsRate(t *testing.T) {
	p := planned(t, nil)
	var began time.Duration
	drive(t, p, &pot{pa: room, fill: 9000, vent: 9000}, nil, func(in Input, s State, out Output) {
		for _, e := range out.Events() {
			if e.Kind == StageEvent && e.Leg == 1 && e.Phase == Ramp {
				began = in.Now
			}
			if e.Kind == StageEvent && e.Leg == 1 && e.Phase == Settle {
				took, want := in.Now-began-quietTime, p.Legs[1].Ramp
				if math.Abs((took - want).Seconds()) > 0.1*want.Seconds() {
					t.Errorf("22 m at 10 m/min took %s, want %s", took, want)
				}
			}
		}
	})
}

// TestASettlingByRuleWaitsForTheTransient lets the pressure sag exponentially
// after a ramp: the settling must last until little of the sag is left, and no
// longer; without a sag it ends at its floor, with one that never ends at its
// ceiling. A steady leak does not hold it up.
func TestASettlingByRuleWaitsForTheTransient(t *testing.T) {
	p := planned(t, func(r *setup.Run) {
		r.Profile.Stages = []profiles.Stage{{Name: "proof", DepthM: 25, SettleS: 120, SettleMaxS: 1200, HoldS: 60}}
	})
	p.NoisePa = 5
	for name, c := range map[string]struct {
		sagPa, tauS, leakPaS float64
		least, most          time.Duration
	}{
		"no sag":         {0, 1, 0, 120 * time.Second, 181 * time.Second},
		"a steady leak":  {0, 1, 3, 120 * time.Second, 181 * time.Second},
		"a sag":          {4000, 120, 0, 5 * time.Minute, 19 * time.Minute},
		"an endless sag": {4e5, 1800, 0, 20 * time.Minute, 20 * time.Minute},
	} {
		var began, took time.Duration
		c0 := pot{pa: room, fill: 2500, vent: 9000}
		drive(t, p, &c0, func(in *Input) {
			if s := (in.Now - began).Seconds(); began > 0 && took == 0 {
				in.Readings = reading(p.Legs[0].TargetPa-c.sagPa*(1-math.Exp(-s/c.tauS))-c.leakPaS*s, in.Now)
			}
		}, func(in Input, s State, out Output) {
			for _, e := range out.Events() {
				if e.Kind == StageEvent && e.Phase == Settle {
					began = in.Now
				}
				if e.Kind == StageEvent && e.Phase == Hold {
					took = in.Now - began
				}
			}
		})
		if took < c.least || took > c.most {
			t.Errorf("%s: settled for %s, want %s to %s", name, took, c.least, c.most)
		}
	}
}

func TestAbortVentsAtOnceAndStaysVented(t *testing.T) {
	p := planned(t, nil)
	c := pot{pa: room, fill: 2500, vent: 9000}
	var asked bool
	var aborts, ends int
	s := drive(t, p, &c, func(in *Input) {
		in.Operator.Abort = in.Now == 3*time.Minute // given once
		asked = asked || in.Operator.Abort
	}, func(in Input, s State, out Output) {
		if asked && (out.Valves.Fill || !out.Valves.Vent) {
			t.Fatalf("after the abort: %+v", out.Valves)
		}
		for _, e := range out.Events() {
			if e.Kind == RunEvent && e.Word == "abort" {
				aborts++
			}
			if e.Kind == RunEvent && e.Word == "end" {
				ends++
			}
		}
	})
	if s.Stopped != ByOperator || aborts != 1 || ends != 1 || c.pa != room {
		t.Fatalf("stopped %q, %d aborts, %d ends, %.0f Pa", s.Stopped, aborts, ends, c.pa)
	}
}

func TestASensorThatFallsSilentStopsTheFillAndThenVents(t *testing.T) {
	p := planned(t, nil)
	c := pot{pa: room, fill: 2500, vent: 9000}
	silent := 40 * time.Second
	var stopped time.Duration
	s := drive(t, p, &c, func(in *Input) {
		if in.Now > silent {
			in.Readings = nil
		}
		if in.Now > silent+20*time.Minute { // the cable is back
			in.Readings = reading(c.pa, in.Now)
		}
	}, func(in Input, s State, out Output) {
		if in.Now > silent+staleAfter(p) && out.Valves.Fill {
			t.Fatal("filled without knowing the pressure")
		}
		if s.Stopped != NotStopped && stopped == 0 {
			stopped = in.Now
		}
	})
	if s.Stopped != SensorLost || stopped > silent+lostAfter+time.Second {
		t.Fatalf("stopped %q after %s", s.Stopped, stopped-silent)
	}
}

func TestAShortSilenceCostsAGapAndNotTheRun(t *testing.T) {
	p := planned(t, nil)
	s := drive(t, p, &pot{pa: room, fill: 2500, vent: 9000}, func(in *Input) {
		if in.Now > 40*time.Second && in.Now < 70*time.Second {
			in.Readings = nil
		}
	}, nil)
	if s.Stopped != NotStopped {
		t.Fatalf("stopped %q", s.Stopped)
	}
}

func TestAFillValveThatDoesNotShutTrips(t *testing.T) {
	p := planned(t, nil)
	c := pot{pa: room, fill: 2500, vent: 9000}
	var peak float64
	s := drive(t, p, &c, func(in *Input) {
		if !c.valves.Vent && in.Now > time.Minute {
			c.pa += 1500 * p.Period.Seconds()
			peak = max(peak, c.pa)
		}
	}, nil)
	if s.Stopped != FillStuckOpen || peak > p.LimitPa {
		t.Fatalf("stopped %q, peak %.0f Pa, limit %.0f Pa", s.Stopped, peak, p.LimitPa)
	}
}

func TestAnEmptySupplyIsGivenUp(t *testing.T) {
	p := planned(t, nil)
	s := drive(t, p, &pot{pa: room, fill: 0, vent: 9000}, nil, nil)
	if s.Stopped != NoResponse {
		t.Fatalf("stopped %q", s.Stopped)
	}
}

func TestAWetProbeStopsTheRun(t *testing.T) {
	p := planned(t, nil)
	s := drive(t, p, &pot{pa: room, fill: 2500, vent: 9000}, func(in *Input) {
		if in.Now > 2*time.Minute {
			in.Readings = append(in.Readings, sensors.Reading{Sensor: "w1", Quantity: sensors.ProbeWet, Value: 1, At: in.Now})
		}
	}, nil)
	if s.Stopped != UnitWet {
		t.Fatalf("stopped %q", s.Stopped)
	}
}

func TestOneSpikeIsNotOverPressure(t *testing.T) {
	p := planned(t, nil)
	s := drive(t, p, &pot{pa: room, fill: 2500, vent: 9000}, func(in *Input) {
		if in.Now%(30*time.Second) == 0 {
			in.Readings = reading(in.Readings[0].Value+4e5, in.Now)
		}
	}, func(in Input, s State, out Output) {
		if s.Over > 0 && out.Valves.Fill {
			t.Fatal("filled on a reading above what is allowed")
		}
	})
	if s.Stopped != NotStopped {
		t.Fatalf("stopped %q", s.Stopped)
	}
}

// TestWhateverComesInTheValvesAreSafe feeds random readings, faults, clocks and
// commands, and checks at each step what must never be otherwise.
func TestWhateverComesInTheValvesAreSafe(t *testing.T) {
	valves, hand := planned(t, nil), planned(t, func(r *setup.Run) { r.Bench.HandOperated = true })
	rapid.Check(t, func(t *rapid.T) {
		p := valves
		if rapid.Bool().Draw(t, "by hand") {
			p = hand
		}
		var s State
		var now time.Duration
		pa := room
		for range rapid.IntRange(1, 400).Draw(t, "steps") {
			now += time.Duration(rapid.IntRange(0, 5000).Draw(t, "ms")) * time.Millisecond
			in := Input{Now: now}
			switch rapid.IntRange(0, 9).Draw(t, "what") {
			case 0: // nothing
			case 1:
				in.Readings = append(in.Readings, sensors.Fault("p1", sensors.ChamberPressure, sensors.NoReading, now, "x"))
			case 2:
				pa = rapid.Float64Range(0, 2e6).Draw(t, "any")
				in.Readings = reading(pa, now)
			default:
				pa = max(room, pa+rapid.Float64Range(-2e4, 2e4).Draw(t, "step"))
				in.Readings = reading(pa, now)
			}
			if rapid.IntRange(0, 60).Draw(t, "operator") == 0 {
				in.Operator = Operator{Abort: rapid.Bool().Draw(t, "abort"), Skip: rapid.Bool().Draw(t, "skip")}
			}
			if rapid.IntRange(0, 300).Draw(t, "disk") == 0 {
				in.Broken = "disk full"
			}
			was := s
			var out Output
			s, out = Step(p, s, in)
			v := out.Valves
			if v.Fill && v.Vent {
				t.Fatal("fill and vent open together")
			}
			if v.Fill && (s.Pa >= p.LimitPa || now-s.PaAt > staleAfter(p) || s.Phase != Ramp || s.Stopped != NotStopped) {
				t.Fatalf("filling in %s at %.0f Pa, reading %s old, %q", s.Phase, s.Pa, now-s.PaAt, s.Stopped)
			}
			vented := v.Vent
			if p.Hand {
				if v != (Valves{}) {
					t.Fatal("a valve was driven that is not there")
				}
				vented = out.Prompt.Kind == VentAll
			}
			if (in.Operator.Abort || in.Broken != "") && was.Phase != Done && (!vented || s.Stopped == NotStopped) {
				t.Fatalf("abort did not vent: %+v, %q", v, s.Stopped)
			}
			if was.Stopped != NotStopped && (s.Stopped != was.Stopped || !vented || s.Phase < Vent) {
				t.Fatal("a stop was left without being asked")
			}
			if s.Phase == Done && !vented {
				t.Fatal("done, and the vent is shut")
			}
			if len(out.Events()) == maxEvents {
				t.Fatal("a step said more than the record can hold")
			}
			if s.Phase == Done {
				return
			}
		}
	})
}

func TestABenchIsRefusedThatMustNotRunTheProfile(t *testing.T) {
	for name, change := range map[string]func(*setup.Run){
		"no rating":                  func(r *setup.Run) { r.Bench.RatedPa = 0 },
		"no relief":                  func(r *setup.Run) { r.Bench.ReliefPa = 0 },
		"relief above rating":        func(r *setup.Run) { r.Bench.ReliefPa = r.Bench.RatedPa + 1 },
		"deeper than 90 % of relief": func(r *setup.Run) { r.Profile.Stages[1].DepthM = 74 },
		"no chamber sensor":          func(r *setup.Run) { r.Bench.Sensors = nil },
		"room not known":             func(r *setup.Run) { r.Bench.RoomPa = 0 },
		"no such water":              func(r *setup.Run) { r.Profile.Water.Model = "heavy" },
	} {
		run := sheet()
		change(&run)
		if _, err := NewPlan(run); err == nil {
			t.Errorf("%s: planned", name)
		}
	}
	run := sheet()
	run.Profile.Stages[1].DepthM = 73 // 0.9 × 8 bar is 73.5 m of fresh water
	if _, err := NewPlan(run); err != nil {
		t.Error(err)
	}
}

func TestTheOperatorIsLedThroughEachStage(t *testing.T) {
	p := planned(t, func(r *setup.Run) { r.Bench.HandOperated = true })
	var s State
	c := pot{pa: room, fill: 3000, vent: 3000}
	seen := map[PromptKind]int{}
	for now := time.Duration(0); s.Phase != Done && now < 3*time.Hour; now += p.Period {
		c.after(p.Period)
		var out Output
		s, out = Step(p, s, Input{Now: now, Readings: reading(c.pa, now)})
		if out.Valves.Fill {
			t.Fatal("asked for a fill valve that is not there")
		}
		seen[out.Prompt.Kind]++
		k := out.Prompt.Kind
		c.valves = Valves{Fill: k == PumpUp, Vent: k == LetOff || k == VentAll && s.Phase >= Vent}
	}
	if s.Phase != Done || s.Stopped != NotStopped {
		t.Fatalf("%s, %q", s.Phase, s.Stopped)
	}
	for _, k := range []PromptKind{PumpUp, ShutOff, Wait, LetOff, VentAll} {
		if seen[k] == 0 {
			t.Errorf("never prompted %q", k)
		}
	}
}

func BenchmarkStep(b *testing.B) {
	p := planned(b, nil)
	p.Legs[1].Hold = 1 << 62
	var s State
	rs := reading(p.Legs[1].TargetPa, 0)
	for _, phase := range []Phase{Ramp, Hold} {
		b.Run(phase.String(), func(b *testing.B) {
			s = State{Phase: phase, Leg: 1, StartPa: room}
			b.ReportAllocs()
			now := time.Duration(0)
			for b.Loop() {
				now += p.Period
				// A live sensor, at a time that never ends.
				rs[0].At, rs[0].Value = now, p.Legs[1].TargetPa-2e4+float64(now/p.Period%3)*20
				s.Since, s.Reached, s.Idle = now, false, now
				s, _ = Step(p, s, Input{Now: now, Readings: rs})
			}
		})
	}
}
