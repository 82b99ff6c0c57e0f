package rig

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"proofpot/profiles"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// vacuumFirst is a plan with a vacuum check, a plunge and a stage under power.
func vacuumFirst(run *setup.Run) {
	run.Bench.Sensors = append(run.Bench.Sensors, setup.Sensor{ID: "u1", Measures: "inside pressure"}, setup.Sensor{ID: "u2", Measures: "inside temperature"}, setup.Sensor{ID: "u3", Measures: "inside humidity"})
	run.Profile.Stages = []profiles.Stage{
		{Name: "vacuum", Kind: profiles.KindVacuum, VacuumPa: 25000, SettleS: 20, HoldS: 40},
		{Name: "plunge", Kind: profiles.KindPlunge, DepthM: 1, WarmerK: 25, SettleS: 20, HoldS: 40},
		{Name: "powered", Kind: profiles.KindPowered, DepthM: 10, WarmerK: 15, SettleS: 20, HoldS: 40},
		{Name: "hold", DepthM: 15, SettleS: 20, HoldS: 40},
	}
}

func insideReading(pa float64, at time.Duration) sensors.Reading {
	return sensors.Reading{Sensor: "u1", Quantity: sensors.UnitPressure, Value: pa, At: at}
}

func TestNothingIsFilledWhileHandsAreAtTheUnit(t *testing.T) {
	p := planned(t, vacuumFirst)
	c := pot{pa: room, fill: 2500, vent: 9000}
	inside, answerAt := room, time.Duration(0)
	var asked []PromptKind
	s := drive(t, p, &c, func(in *Input) {
		in.Readings = append(in.Readings, insideReading(inside, in.Now))
		in.Operator.Ready = answerAt > 0 && in.Now >= answerAt
	}, func(in Input, s State, out Output) {
		k := out.Prompt.Kind
		if len(asked) == 0 || asked[len(asked)-1] != k {
			asked = append(asked, k)
			answerAt = 0
			if k.WantsAnswer() {
				answerAt = in.Now + 20*time.Minute
			}
		}
		switch k {
		case DrawDown:
			inside = max(inside-500, room-25000)
		case LetIn:
			inside = min(inside+2000, room)
		}
		if s.Phase != Ready && s.Phase != Done && p.Legs[s.Leg].vented() && s.Phase != Vent {
			if out.Valves.Fill || !out.Valves.Vent {
				t.Fatalf("%s at %s: valves %+v while hands are at the unit", p.Legs[s.Leg].Name, in.Now, out.Valves)
			}
		}
	})
	if s.Stopped != NotStopped {
		t.Errorf("stopped: %v", s.Stopped)
	}
	var did []PromptKind
	for _, k := range asked {
		if k != NoPrompt && k != Wait {
			did = append(did, k)
		}
	}
	if want := []PromptKind{DrawDown, ShutPort, LetIn, CloseUp, PutIn, SwitchOn, SwitchOff}; !slices.Equal(did, want) {
		t.Errorf("asked %v, want %v", did, want)
	}
}

func TestACloseUpThatNobodyAnswersWaitsVentedForADayAndNoLonger(t *testing.T) {
	p := planned(t, vacuumFirst)
	var s State
	var out Output
	inside := room
	asked := time.Duration(-1)
	for now := time.Duration(0); s.Phase != Done && now < 2*answerMost; now += p.Period {
		if s.Phase == Ramp && p.Legs[s.Leg].Ask == CloseUp {
			if asked < 0 {
				asked, p.Period = now, time.Second
			}
			if now-asked < answerMost && (out.Valves != (Valves{Vent: true}) || !out.Prompt.Kind.WantsAnswer()) {
				t.Fatalf("valves %+v, prompt %q", out.Valves, out.Prompt.Kind)
			}
		}
		s, out = Step(p, s, Input{Now: now, Readings: []sensors.Reading{{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: room, At: now}, insideReading(inside, now)}})
		switch out.Prompt.Kind {
		case DrawDown:
			inside = max(inside-500, room-25000)
		case LetIn:
			inside = min(inside+2000, room)
		}
	}
	if s.Stopped != TooLong || asked < 0 || s.Phase != Done || out.Valves != (Valves{Vent: true}) {
		t.Errorf("asked at %s: %s, stopped %q, valves %+v", asked, s.Phase, s.Stopped, out.Valves)
	}
}

func TestAStoppedVacuumCheckAsksForTheAirBack(t *testing.T) {
	p := planned(t, vacuumFirst)
	var s State
	inside, asked := room, false
	for now := time.Duration(0); s.Phase != Done; now += p.Period {
		if now > time.Hour {
			t.Fatal("no end")
		}
		in := Input{Now: now, Readings: []sensors.Reading{{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: room, At: now}, insideReading(inside, now)}}
		in.Operator.Abort = now > 3*time.Minute
		var out Output
		s, out = Step(p, s, in)
		switch {
		case s.Phase == Vent && out.Prompt.Kind == LetIn:
			asked = true
			inside = min(inside+200, room)
		case out.Prompt.Kind == DrawDown:
			inside = max(inside-500, room-25000)
		}
	}
	if !asked || inside < room-3000 || s.Stopped != ByOperator {
		t.Errorf("asked %v, inside %.0f Pa below the room, stopped %v", asked, room-inside, s.Stopped)
	}
}

func TestAVacuumCheckWithoutItsSensorStops(t *testing.T) {
	p := planned(t, vacuumFirst)
	c := pot{pa: room, fill: 2500, vent: 9000}
	s := drive(t, p, &c, func(in *Input) {
		if in.Now < 20*time.Second {
			in.Readings = append(in.Readings, insideReading(room-10000, in.Now))
		}
	}, nil)
	if s.Stopped != InsideLost {
		t.Errorf("stopped: %v", s.Stopped)
	}
}

func TestAStageByHandThatTheBenchCannotJudgeIsRefused(t *testing.T) {
	for want, change := range map[string]func(*setup.Run){
		`measures "inside pressure" and "inside temperature"; add one`: func(r *setup.Run) {
			vacuumFirst(r)
			r.Bench.Sensors = r.Bench.Sensors[:1]
		},
		`is done with the lid open; put it before stage "deep"`: func(r *setup.Run) {
			vacuumFirst(r)
			r.Profile.Stages = append([]profiles.Stage{{Name: "deep", DepthM: 10, SettleS: 20, HoldS: 40}}, r.Profile.Stages[0])
		},
		"the unit is closed anew at the room's": func(r *setup.Run) {
			vacuumFirst(r)
			r.Unit.SealedPa = room - 20000
		},
	} {
		run := sheet()
		change(&run)
		if _, err := NewPlan(run); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want a refusal with %q, got %v", want, err)
		}
	}
}

// Whatever a person, the sensors and the chamber do, nothing is filled while
// hands are at the unit, and the run ends vented.
func TestWorkOnTheUnitIsNeverUnderPressure(t *testing.T) {
	p := planned(t, vacuumFirst)
	rapid.Check(t, func(t *rapid.T) {
		chance := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		silent, mute := rapid.Float64Range(0, 0.2).Draw(t, "silent"), rapid.Float64Range(0, 0.8).Draw(t, "mute inside")
		var s State
		pa, inside := room, room
		for now := time.Duration(0); now < 90*time.Minute && s.Phase != Done; now += p.Period {
			in := Input{Now: now}
			if chance.Float64() > silent {
				in.Readings = append(in.Readings, sensors.Reading{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: pa, At: now})
			}
			if chance.Float64() > mute {
				in.Readings = append(in.Readings, insideReading(inside, now))
			}
			roll := chance.IntN(1000)
			in.Operator.Ready = roll > 700
			in.Operator.Abort = roll == 0 && chance.IntN(10) == 0
			in.Operator.Skip = roll == 1
			var out Output
			s, out = Step(p, s, in)
			if s.Phase != Ready && s.Phase != Done && p.Legs[s.Leg].Ask != NoPrompt && out.Valves.Fill {
				t.Fatalf("filled at %s in %s of %s", now, s.Phase, p.Legs[s.Leg].Name)
			}
			if out.Valves.Fill {
				pa += 1500
			}
			if out.Valves.Vent {
				pa = max(room, pa-4500)
			}
			switch {
			case out.Prompt.Kind == DrawDown && roll > 200:
				inside = max(inside-float64(roll), 60000)
			case out.Prompt.Kind == LetIn && roll > 200:
				inside = min(inside+float64(roll), room)
			}
		}
		if s.Phase == Done && !s.Valves.Vent {
			t.Fatal("ended with the vent shut")
		}
	})
}

// underPower runs the stages by hand to the powered one, whose inside then warms at a
// rate, and gives why the run stopped.
func underPower(t *testing.T, kelvinPerMinute, mostK float64) Stop {
	t.Helper()
	p := planned(t, func(r *setup.Run) {
		vacuumFirst(r)
		r.Profile.Stages = []profiles.Stage{{Name: "powered", Kind: profiles.KindPowered, DepthM: 10, WarmerK: 15, SettleS: 1200, HoldS: 600}}
	})
	c := pot{pa: room, fill: 2500, vent: 9000}
	warm := 0.0
	s := drive(t, p, &c, func(in *Input) {
		in.Readings = append(in.Readings, insideReading(room, in.Now),
			sensors.Reading{Sensor: "u2", Quantity: sensors.UnitTemperature, Value: 18 + warm, At: in.Now})
	}, func(in Input, s State, out Output) {
		if s.Phase != Ready && s.Phase != Vent && s.Phase != Done && p.Legs[s.Leg].Warms {
			warm = min(warm+kelvinPerMinute/60*p.Period.Seconds(), mostK)
		}
	})
	return s.Stopped
}

func TestAUnitUnderPowerMayWarmAsMuchAsItIsAskedTo(t *testing.T) {
	if stop := underPower(t, 5, 17); stop != NotStopped {
		t.Errorf("stopped: %v", stop)
	}
	if stop := underPower(t, 5, 32); stop != TooHot {
		t.Errorf("32 K where 15 K are asked for: %v", stop)
	}
}

func TestTheWayUpEndsThoughTheWeatherHasChanged(t *testing.T) {
	for _, hand := range []bool{false, true} {
		p := planned(t, func(r *setup.Run) {
			r.Bench.HandOperated = hand
			r.Profile.Stages = []profiles.Stage{
				{Name: "deep", DepthM: 20, SettleS: 20, HoldS: 40},
				{Name: "up", Kind: profiles.KindDepressurise, RampMPerMin: 2, Pauses: []profiles.Pause{{DepthM: 5, HoldS: 60}}},
				{Name: "rest", Kind: profiles.KindConditioning, HoldS: 60},
			}
		})
		const higher = 900.0 // Pa, of the room since the start
		c := pot{pa: room, fill: 2500, vent: 9000}
		fastest, from := 0.0, math.NaN()
		s := drive(t, p, &c, func(in *Input) {
			c.pa = max(c.pa, room+higher)
			in.Readings[0].Value = c.pa
		}, func(in Input, s State, out Output) {
			if hand { // a person does as he is asked
				c.valves = Valves{Fill: out.Prompt.Kind == PumpUp, Vent: out.Prompt.Kind == LetOff || out.Prompt.Kind == VentAll}
			}
			if s.Phase == Ramp && p.Legs[s.Leg].Name == "up" && c.pa > room+lastPa+2*aheadPa {
				if !math.IsNaN(from) && s.Since == in.Now {
					from = math.NaN()
				}
				if math.IsNaN(from) {
					from = c.pa
				}
				if d := (in.Now - s.Since).Seconds(); d > 60 {
					fastest = max(fastest, (from-c.pa)/d)
				}
			} else {
				from = math.NaN()
			}
		})
		if s.Stopped != NotStopped {
			t.Errorf("by hand %v: stopped: %v", hand, s.Stopped)
		}
		if limit := 1.6 * p.Legs[len(p.Legs)-2].RatePaS; !hand && fastest > limit {
			t.Errorf("let off at %.0f Pa/s, %.0f Pa/s are asked for", fastest, limit/1.6)
		}
	}
}

func TestAnAnswerWhileTheLidIsOpenMustBeGivenAgain(t *testing.T) {
	p := planned(t, func(r *setup.Run) {
		vacuumFirst(r)
		r.Bench.Sensors = append(r.Bench.Sensors, setup.Sensor{ID: "l1", Measures: "lid switch"})
		r.Profile.Stages = r.Profile.Stages[1:2]
	})
	c := pot{pa: room, fill: 2500, vent: 9000}
	openAt, shutAt, again := time.Minute, 3*time.Minute, 5*time.Minute
	told := false
	drive(t, p, &c, func(in *Input) {
		open := 0.0
		if in.Now >= openAt && in.Now < shutAt {
			open = 1
		}
		in.Readings = append(in.Readings, insideReading(room, in.Now), sensors.Reading{Sensor: "l1", Quantity: sensors.LidOpen, Value: open, At: in.Now})
		in.Operator.Ready = in.Now == 2*time.Minute || in.Now == again
	}, func(in Input, s State, out Output) {
		for _, e := range out.Events() {
			told = told || strings.HasPrefix(e.Text, "not yet: the lid is open")
			if e.Text == ReadyNote && in.Now < again {
				t.Fatalf("taken at %s for an answer that was given with the lid open", in.Now)
			}
		}
		if out.Valves.Fill && in.Now < again {
			t.Fatalf("filled at %s", in.Now)
		}
	})
	if !told {
		t.Error("nobody was told")
	}
}
