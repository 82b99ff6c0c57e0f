package rig

import (
	"math"
	"strings"
	"testing"
	"time"

	"proofpot/profiles"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// TestAReadingThatComesLateLeavesTheMostThatCouldBeOnItsWay: what the open fill
// brings since a reading that was taken before the last step is in flight.
func TestAReadingThatComesLateLeavesTheMostThatCouldBeOnItsWay(t *testing.T) {
	s := State{Now: 10 * time.Second, Valves: Valves{Fill: true}}
	f := flow{OpenS: 4, SeenS: 1}
	for at, want := range map[time.Duration]float64{
		9500 * time.Millisecond:  3.5, // half a second of open valve has come after it
		2 * time.Second:          1,   // older than what was seen already
		10500 * time.Millisecond: 4.5,
	} {
		if got := f.openBy(&s, true, at); got != want {
			t.Errorf("of a reading at %s %g s of open valve are seen, want %g s", at, got, want)
		}
	}
	s.Valves.Pulse = 200 * time.Millisecond
	if got := f.openBy(&s, true, 10500*time.Millisecond); got != 4.2 {
		t.Errorf("a pulse of 0.2 s makes %g s of 4 s", got)
	}
	if got := f.openBy(&s, false, 10500*time.Millisecond); got != 4 {
		t.Errorf("a valve that was shut makes %g s of 4 s", got)
	}
}

func TestATwinIsNotHeldAgainstATransducerThatIsSilent(t *testing.T) {
	p := guarded(t, nil)
	s := drive(t, p, &pot{pa: room, fill: 2500, vent: 9000}, func(in *Input) {
		twin := in.Readings[0]
		twin.Sensor = "p2"
		if silent := in.Now - time.Minute; silent > 0 && silent < 50*time.Second {
			in.Readings = nil
			if silent > staleAfter(p) {
				twin.Value = room // what one reads alone says nothing of the other
			}
		}
		in.Readings = append(in.Readings, twin)
	}, func(in Input, s State, _ Output) {
		if s.Twin.Off > 0 && s.Stale {
			t.Fatalf("%d readings of the twin disagree with a value %s old", s.Twin.Off, in.Now-s.PaAt)
		}
	})
	if s.Stopped != NotStopped {
		t.Errorf("stopped %q", s.Stopped)
	}
}

func TestASwitchWhoseWireBreaksIsOpen(t *testing.T) {
	for status, want := range map[sensors.Status]bool{sensors.Disconnected: true, sensors.Garbled: true, sensors.Restarted: false} {
		c := contact{Known: true}
		c.see(&sensors.Reading{Sensor: "lid", Quantity: sensors.LidOpen, Status: status, At: time.Second})
		if c.Open != want {
			t.Errorf("%s: open %v", status, c.Open)
		}
	}
	var never contact // nobody has ever heard it: the survey before a run sees to that
	never.see(&sensors.Reading{Status: sensors.Disconnected})
	if never.Open || never.Known {
		t.Error("a switch that never spoke is taken for open")
	}
}

func TestAUnitThatHoldsPressureInsideIsNotHandedOverInSilence(t *testing.T) {
	for over, want := range map[float64]bool{insideHighPa / 2: false, 2 * insideHighPa: true} {
		p := guarded(t, nil)
		told := false
		drive(t, p, &pot{pa: room, fill: 2500, vent: 9000}, func(in *Input) {
			in.Readings = append(in.Readings, insideReading(room+over, in.Now))
		}, func(_ Input, _ State, out Output) {
			for _, e := range out.Events() {
				told = told || strings.HasPrefix(e.Text, "the unit holds pressure inside")
			}
		})
		if told != want {
			t.Errorf("%.0f Pa inside: told %v", over, told)
		}
	}
}

func TestAGaugeThatReadsSeveralThingsGivesThePressureInsideToo(t *testing.T) {
	p := planned(t, func(r *setup.Run) {
		r.Bench.Sensors = append(r.Bench.Sensors, setup.Sensor{ID: "u7", Measures: "inside humidity",
			Fields: []setup.Field{{Measures: "inside temperature"}, {Measures: "inside pressure"}}})
	})
	if p.Inside != "u7" {
		t.Errorf("the pressure inside is read from %q", p.Inside)
	}
}

// TestAVacuumSettlesByThePressureInside: while the air in a warm unit cools, its
// settling goes on; the chamber, which stands vented, says nothing of it.
func TestAVacuumSettlesByThePressureInside(t *testing.T) {
	took := func(sagPa float64) (took time.Duration) {
		p := planned(t, func(r *setup.Run) {
			vacuumFirst(r)
			r.Profile.Stages = []profiles.Stage{{Name: "vacuum", Kind: profiles.KindVacuum, VacuumPa: 25000, SettleS: 60, SettleMaxS: 1800, HoldS: 40}}
		})
		inside, began := room, time.Duration(0)
		drive(t, p, &pot{pa: room, fill: 2500, vent: 9000}, func(in *Input) {
			if int(in.Now/p.Period)%4 == 0 { // a slow sensor: most steps have no news of it
				pa := inside
				if began > 0 {
					pa -= sagPa * (1 - math.Exp(-(in.Now-began).Seconds()/150))
				}
				in.Readings = append(in.Readings, insideReading(pa, in.Now))
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
			switch out.Prompt.Kind {
			case DrawDown:
				inside = max(inside-500, room-25000)
			case LetIn:
				inside = min(inside+2000, room)
			}
		})
		return took
	}
	if still := took(0); still < time.Minute || still > 3*time.Minute {
		t.Errorf("with nothing moving it settled for %s", still)
	}
	if moving := took(8000); moving < 5*time.Minute || moving > 30*time.Minute {
		t.Errorf("with 8 kPa of sag it settled for %s", moving)
	}
}

func TestAValveThatIsTooCoarseStopsShortOfItsTargetAndSaysSo(t *testing.T) {
	p := planned(t, nil)
	p.FillMinOn = 300 * time.Millisecond
	c := pot{pa: room, fill: 60000, vent: 9000} // 18 kPa a pulse
	peak, told := 0.0, 0
	s := drive(t, p, &c, nil, func(_ Input, s State, out Output) {
		if s.Leg == 0 {
			peak = max(peak, c.pa)
		}
		for _, e := range out.Events() {
			if strings.HasPrefix(e.Text, "the shortest pulse") {
				told++
			}
		}
	})
	if target := p.Legs[0].TargetPa; s.Stopped != NotStopped || told == 0 || peak > target+coarseShare*overLeastPa {
		t.Errorf("stopped %q, told %d times, %.0f Pa beyond the target of %.0f Pa gauge", s.Stopped, told, peak-target, target-room)
	}
}

func TestMakeUpByAWeakSupplyIsTakenInPulsesOfOnePeriod(t *testing.T) {
	p := planned(t, func(r *setup.Run) {
		r.Profile.Stages = []profiles.Stage{{Name: "kept up", DepthM: 20, SettleS: 20, HoldS: 60, MakeUp: true}}
	})
	c := pot{pa: room, fill: 2500, vent: 9000}
	dropped, whole := false, 0
	drive(t, p, &c, nil, func(in Input, s State, out Output) {
		if s.Phase != Hold {
			return
		}
		if !dropped && in.Now-s.Since > 10*time.Second {
			dropped = true
			c.pa -= 8000
		}
		if out.Valves.Fill && out.Valves.Pulse == p.Period {
			whole++
		}
		if out.Valves.Fill && (out.Valves.Pulse <= 0 || out.Valves.Pulse > p.Period) {
			t.Fatalf("a pulse of %s", out.Valves.Pulse)
		}
	})
	if whole == 0 {
		t.Error("the loss was not made up by whole periods")
	}
}

func TestWhoPumpsInAHoldBeyondWhatIsAllowedIsToldToStop(t *testing.T) {
	p := planned(t, func(r *setup.Run) { r.Bench.HandOperated = true })
	s := State{Phase: Hold, Leg: 1, Known: true, Over: 1, NoFill: true}
	if pr := prompt(p, &s); pr.Kind != StopPumping {
		t.Errorf("asked to %q", pr.Kind)
	}
	s.Over, s.NoFill = 0, true // another alarm: there is nothing to stop
	if pr := prompt(p, &s); pr.Kind != Wait {
		t.Errorf("asked to %q", pr.Kind)
	}
}

func TestWordsThatARecordUses(t *testing.T) {
	if got := strings.Join([]string{Ready.String(), Ramp.String(), Settle.String(), Hold.String(), Vent.String(), Done.String()}, " "); got != "ready ramp settle hold vent done" {
		t.Errorf("the record's kinds of stage are %q", got)
	}
	if !strings.HasPrefix(StopPumping.String(), "STOP") || NoPrompt.String() != "" {
		t.Error("the prompts have moved")
	}
}
