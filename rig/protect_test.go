package rig

import (
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"proofpot/rig/setup"
	"proofpot/sensors"
)

// guarded is a plan of a bench with a second transducer and switches.
func guarded(t testing.TB, change func(*setup.Run)) *Plan {
	return planned(t, func(r *setup.Run) {
		r.Bench.Sensors = append(r.Bench.Sensors, setup.Sensor{ID: "p2", Measures: "chamber pressure", AccuracyPa: 500},
			setup.Sensor{ID: "u1", Measures: "inside pressure"})
		if change != nil {
			change(r)
		}
	})
}

// dangers brings each thing that is watched about, in the first long hold or on
// the way, by what a bench would show.
var dangers = map[string]struct {
	in     func(p *Plan, c *pot, in *Input, s *State)
	change func(*setup.Run)
}{
	"stop":  {in: thrown(sensors.StopOpen)},
	"lid":   {in: thrown(sensors.LidOpen)},
	"float": {in: thrown(sensors.FloatOpen)},
	"over-pressure": {in: func(p *Plan, c *pot, in *Input, s *State) {
		if in.Now > 90*time.Second && s.Stopped == NotStopped {
			in.Readings[0].Value += 5e5
		}
	}},
	"fill-stuck-open": {in: func(p *Plan, c *pot, in *Input, s *State) {
		if s.Phase == Settle || s.Phase == Hold {
			c.pa += 1200 * p.Period.Seconds()
		}
	}},
	"regulator": {in: func(p *Plan, c *pot, in *Input, s *State) { p.Regulator = true }}, // one that fills at a rate of its own
	"ahead": {in: func(p *Plan, c *pot, in *Input, s *State) {
		p.Regulator, c.fill = true, 1500
		if in.Now == 80*time.Second { // on the way to 25 m
			in.Readings[0].Value += 3e4
		}
	}},
	"vent-stuck": {in: func(p *Plan, c *pot, in *Input, s *State) {
		c.vent = 0
		in.Operator.Abort = in.Now > 2*time.Minute
	}},
	"wet-with-cells": {in: wetAt, change: func(r *setup.Run) { r.Unit.Cells = setup.CellsInside }},
	"wet":            {in: wetAt},
	"hot": {in: func(p *Plan, c *pot, in *Input, s *State) {
		warm := max(0, (in.Now-time.Minute).Minutes()) * 4 // K/min
		in.Readings = append(in.Readings, sensors.Reading{Sensor: "u2", Quantity: sensors.UnitTemperature, Value: 15 + warm, At: in.Now})
	}},
	"warm": {in: func(p *Plan, c *pot, in *Input, s *State) {
		x := 20.0
		if in.Now > time.Minute && in.Now < 2*time.Minute {
			x = 65
		}
		in.Readings = append(in.Readings, sensors.Reading{Sensor: "t1", Quantity: sensors.ChamberGas, Value: x, At: in.Now})
	}},
	"sensor-lost": {in: func(p *Plan, c *pot, in *Input, s *State) {
		if in.Now > 2*time.Minute {
			in.Readings = nil
		}
	}},
	"sensors-disagree": {in: apart(time.Hour)},
	"apart":            {in: apart(8 * time.Second)},
	"valve-lost": {in: func(p *Plan, c *pot, in *Input, s *State) {
		if in.Now > 2*time.Minute {
			in.NoValve = "no answer from the relays"
		}
	}},
	"record": {in: func(p *Plan, c *pot, in *Input, s *State) {
		if in.Now > 2*time.Minute {
			in.Broken = "disk full"
		}
	}},
	"inside-lost": {in: func(p *Plan, c *pot, in *Input, s *State) {}, change: vacuumFirst},
	"no-response": {in: func(p *Plan, c *pot, in *Input, s *State) { c.fill = 0 }},
	"barren":      {in: func(p *Plan, c *pot, in *Input, s *State) { c.fill = 0 }},
	"too-long": {in: func(p *Plan, c *pot, in *Input, s *State) {
		if in.Now == 2*time.Minute {
			p.Longest = 3 * time.Minute
		}
	}},
	"spike": {in: func(p *Plan, c *pot, in *Input, s *State) {
		if in.Now == 90*time.Second {
			in.Readings[0].Value += 4e5
		}
	}},
	"stuck": {in: func(p *Plan, c *pot, in *Input, s *State) {
		in.Readings[0].Value += float64(int(in.Now/p.Period)%5) * 10 // a live sensor
		if in.Now > 80*time.Second && in.Now < 115*time.Second {
			in.Readings[0].Value = s.Pa
		}
	}},
	"coarse": {in: func(p *Plan, c *pot, in *Input, s *State) {
		x := &in.Readings[0].Value
		*x += float64(int(in.Now/p.Period)%5) * 10
		if c.pa > room+6e4 {
			*x = math.Round(*x/1000) * 1000
		}
	}},
	"fall": {in: func(p *Plan, c *pot, in *Input, s *State) {
		if s.Phase == Hold && s.Leg == 1 && in.Now-s.Since == 10*time.Second {
			c.pa -= 60e3
		}
	}},
	"late": {in: func(p *Plan, c *pot, in *Input, s *State) {}},
	"twin-lost": {in: func(p *Plan, c *pot, in *Input, s *State) {
		if in.Now < time.Minute {
			in.Readings = append(in.Readings, sensors.Reading{Sensor: "p2", Quantity: sensors.ChamberPressure, Value: c.pa, At: in.Now})
		}
	}},
	"fill-passes": {in: func(p *Plan, c *pot, in *Input, s *State) {
		if s.Phase == Hold {
			c.pa += 150 * p.Period.Seconds()
		}
	}},
	"falls": {in: func(p *Plan, c *pot, in *Input, s *State) {
		if s.Phase == Hold {
			c.pa -= 200 * p.Period.Seconds()
		}
	}},
}

func thrown(q sensors.Quantity) func(*Plan, *pot, *Input, *State) {
	return func(p *Plan, c *pot, in *Input, s *State) {
		in.Readings = append(in.Readings, sensors.Reading{Sensor: "sw", Quantity: q, Value: oneIf(in.Now > 2*time.Minute), At: in.Now})
	}
}

func wetAt(p *Plan, c *pot, in *Input, s *State) {
	in.Readings = append(in.Readings, sensors.Reading{Sensor: "w1", Quantity: sensors.ProbeWet, Value: oneIf(in.Now > 2*time.Minute), At: in.Now})
}

func apart(last time.Duration) func(*Plan, *pot, *Input, *State) {
	return func(p *Plan, c *pot, in *Input, s *State) {
		x := c.pa
		if in.Now > time.Minute && in.Now < time.Minute+last {
			x -= 30e3
		}
		in.Readings = append(in.Readings, sensors.Reading{Sensor: "p2", Quantity: sensors.ChamberPressure, Value: x, At: in.Now})
	}
}

// TestEachDangerIsMetByItsClass: the record gets its line; nothing is filled from
// that step on while it holds; what ends the run ends it in that step with its
// own reason, and what trips locks out until it is acknowledged.
func TestEachDangerIsMetByItsClass(t *testing.T) {
	for i := range protections {
		a := &protections[i]
		t.Run(a.Word, func(t *testing.T) {
			danger, ok := dangers[a.Word]
			if !ok {
				t.Fatal("nothing brings it about")
			}
			p := guarded(t, danger.change)
			c := pot{pa: room, fill: 2500, vent: 9000}
			seen, lines := false, 0
			var s State
			var out Output
			now := time.Duration(0)
			for step := 0; s.Phase != Done; step++ {
				if now += p.Period; a.Word == "late" && step == 60 {
					now += 10 * time.Second
				}
				if now > 3*time.Hour {
					t.Fatal("no end")
				}
				c.after(p.Period)
				in := Input{Now: now, Readings: reading(c.pa, now)}
				danger.in(p, &c, &in, &s)
				s, out = Step(p, s, in)
				c.valves = out.Valves
				active := s.Alarms&(1<<i) != 0 && s.Phase != Done
				for _, e := range out.Events() {
					if e.Kind == FaultEvent && e.Word == a.Word {
						lines++
						seen = true
						if a.Class >= Release && (s.Stopped != a.Stop && a.Word != "vent-stuck" || !out.Valves.Vent || out.Valves.Fill) {
							t.Fatalf("stopped %q, valves %+v", s.Stopped, out.Valves)
						}
						if locked := s.Locked == a.Stop; a.Class == Trip && !locked {
							t.Fatalf("not locked out")
						}
					}
				}
				if active && a.Class >= NoMore && out.Valves.Fill {
					t.Fatalf("filled while it holds, at %s", now)
				}
			}
			if !seen || lines > 4 {
				t.Fatalf("%d lines in the record", lines)
			}
			if a.Class < Release && s.Stopped != NotStopped && a.Word != "barren" {
				t.Errorf("it ended the run: %s", s.Stopped)
			}
			if locked := s.Locked != NotStopped; locked != (a.Class == Trip) {
				t.Fatalf("locked out: %v", locked)
			}
			if a.Class != Trip {
				return
			}
			s, out = Step(p, s, Input{Now: now + time.Second})
			if s.Locked == NotStopped || !out.Valves.Vent {
				t.Fatal("the lock-out was left by itself")
			}
			s, _ = Step(p, s, Input{Now: now + 2*time.Second, Operator: Operator{AcknowledgeLockout: true}})
			if s.Locked != NotStopped {
				t.Fatal("the lock-out cannot be acknowledged")
			}
		})
	}
}

func TestALockedOutBenchDoesNotBegin(t *testing.T) {
	p := planned(t, nil)
	s := State{Locked: OverPressure}
	var out Output
	for now := time.Duration(0); now < time.Minute; now += p.Period {
		s, out = Step(p, s, Input{Now: now, Readings: reading(room, now)})
		if s.Phase != Ready || out.Valves != (Valves{Vent: true}) || out.Locked != OverPressure {
			t.Fatalf("in %s, valves %+v", s.Phase, out.Valves)
		}
	}
	s, _ = Step(p, s, Input{Now: time.Minute, Readings: reading(room, time.Minute), Operator: Operator{AcknowledgeLockout: true}})
	if s.Phase != Ramp {
		t.Errorf("acknowledged, it stays in %s", s.Phase)
	}
}

func TestAPauseStopsTheClockAndTheFill(t *testing.T) {
	p := planned(t, nil)
	held := time.Duration(0)
	var s State
	drive(t, p, &pot{pa: room, fill: 2500, vent: 9000}, func(in *Input) {
		in.Operator.Pause = in.Now == 30*time.Second || s.Phase == Hold && s.Leg == 0 && in.Now-s.Since == 10*time.Second && held < 11*time.Second
		in.Operator.Resume = in.Now == 60*time.Second || s.Paused && in.Now > 60*time.Second && in.Now%(4*time.Minute) == 0
		in.Operator.Note = ""
	}, func(in Input, after State, out Output) {
		if after.Paused && out.Valves.Fill {
			t.Fatal("filled in a pause")
		}
		if after.Phase == Hold && after.Leg == 0 && !after.Paused {
			held += p.Period
		}
		s = after
	})
	if held < 40*time.Second || held > 41*time.Second || s.Stopped != NotStopped {
		t.Errorf("a hold of 40 s with a pause was held for %s; stopped %q", held, s.Stopped)
	}
}

func TestAnAbortIsTakenBeforeAnythingElse(t *testing.T) {
	p := planned(t, nil)
	s, _ := Step(p, State{}, Input{Now: time.Second, Readings: reading(room, time.Second)})
	s, out := Step(p, s, Input{Now: 2 * time.Second, Readings: reading(room, 2*time.Second), NoValve: "x", Broken: "y",
		Operator: Operator{Abort: true, Pause: true, Skip: true, Resume: true, Note: "hold on"}})
	if s.Stopped != ByOperator || s.Paused || out.Valves != (Valves{Vent: true}) {
		t.Errorf("stopped %q, paused %v, valves %+v", s.Stopped, s.Paused, out.Valves)
	}
}

// TestTheLidStaysShutUntilTwoSignsAgree: one transducer that reads the room's
// pressure is one sign. It must have been seen to fall, or another must agree.
func TestTheLidStaysShutUntilTwoSignsAgree(t *testing.T) {
	for name, c := range map[string]struct {
		reads func(pa float64, venting bool) float64
		twin  func(pa float64) float64 // nil: none
		safe  bool
	}{
		"it is seen to fall":             {func(pa float64, _ bool) float64 { return pa }, nil, true},
		"it jumps to nothing":            {func(pa float64, v bool) float64 { return map[bool]float64{false: pa, true: room}[v] }, nil, true}, // as a full pot does
		"its line is blocked":            {func(pa float64, v bool) float64 { return map[bool]float64{false: pa, true: room + 3e5}[v] }, nil, false},
		"it reads less than the room":    {func(pa float64, v bool) float64 { return map[bool]float64{false: pa, true: 0}[v] }, nil, false},
		"another agrees":                 {func(pa float64, _ bool) float64 { return pa }, func(pa float64) float64 { return pa }, true},
		"another still reads a pressure": {func(pa float64, _ bool) float64 { return pa }, func(float64) float64 { return room + 1e5 }, false},
	} {
		p := guarded(t, nil)
		pt := pot{pa: room, fill: 2500, vent: 9000}
		var out Output
		s := drive(t, p, &pt, func(in *Input) {
			venting := out.Valves == Valves{Vent: true} && in.Now > 4*time.Minute
			in.Operator.Abort = in.Now == 4*time.Minute
			in.Readings = reading(c.reads(pt.pa, venting), in.Now)
			if c.twin != nil {
				x := pt.pa
				if venting {
					x = c.twin(pt.pa)
				}
				in.Readings = append(in.Readings, sensors.Reading{Sensor: "p2", Quantity: sensors.ChamberPressure, Value: x, At: in.Now})
			}
		}, func(_ Input, s State, o Output) { out = o })
		if s.OpenSafe != c.safe || out.OpenSafe != c.safe {
			t.Errorf("%s: safe to open: %v, want %v", name, s.OpenSafe, c.safe)
		}
		end := out.Events()[len(out.Events())-1]
		for _, e := range out.Events() {
			if e.Kind == RunEvent && e.Word == "end" {
				end = e
			}
		}
		if strings.Contains(end.Text, "DO NOT OPEN") == c.safe {
			t.Errorf("%s: the run's last line says %q", name, end.Text)
		}
	}
}

// TestTheTableOfProtectionsIsWhole compares the table that people read with what
// the core does.
func TestTheTableOfProtectionsIsWhole(t *testing.T) {
	text, err := os.ReadFile("PROTECTION.md")
	if err != nil {
		t.Fatal(err)
	}
	for i := range protections {
		a := &protections[i]
		if !strings.Contains(string(text), "| `"+a.Word+"` | "+a.Class.String()+" |") {
			t.Errorf("PROTECTION.md has no row %q of class %s", a.Word, a.Class)
		}
	}
}

func BenchmarkProtect(b *testing.B) {
	p := guarded(b, nil)
	s := State{Phase: Hold, Leg: 1, Known: true, Pa: p.Legs[1].TargetPa}
	var out Output
	b.ReportAllocs()
	for b.Loop() {
		out.nEvents = 0
		protect(p, &s, time.Second, &out)
	}
}
