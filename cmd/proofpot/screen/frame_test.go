package screen

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"proofpot/analysis"
	"proofpot/cmd/proofpot/page"

	"pgregory.net/rapid"
)

func at(v float64) *float64 { return &v }

func holding() *State {
	l := &page.Ladder{Bench: "pot-1", Unit: "KP-01", Variant: "A, one cord seal", Profile: "proof-30m-sea", LeakLimit: 0.5}
	for i, name := range []string{"shallow", "rated", "proof", "return"} {
		l.Rungs = append(l.Rungs, page.Rung{Stage: i, Name: name, DepthM: []float64{3, 30, 37.5, 3}[i], HoldS: 900})
	}
	n := &page.Now{Wall: "2026-03-14T09:15:02Z", Seconds: 4000, Phase: "hold", Leg: 2, LeftS: at(421), EndsS: at(1700), Pa: at(4.779e5), PaAgeS: at(0.2), RoomPa: 1.01e5,
		DepthM: at(37.44), EnergyJ: at(121), Leak: &analysis.Interval{Estimate: 0.03, Low: -0.09, High: 0.14}, Detection: at(0.17), Valves: true,
		InsideRH: at(41.2), InsideC: at(18.4), Sensors: []page.Shown{{Sensor: "p1", Quantity: "chamber pressure", Unit: "Pa", Value: at(4.779e5)}}}
	return &State{Ladder: l, Now: n, Events: []page.Event{{Seconds: 3, Kind: "stage", Text: "ramp shallow"}}}
}

func TestAFrameShowsWhatAPersonAsks(t *testing.T) {
	got := Frame(holding(), 80, 24)
	for _, want := range []string{"UNDER PRESSURE – DO NOT OPEN – 121 J", "3.769 bar gauge", "fresh", "Measuring: proof, 37.5 m   7:01 left", "run ends in 28:20",
		"leak 0.03 ml/h (-0.09 to 0.14), limit 0.50: below the limit", "fill shut · vent shut · all sensors well", "▶proof 37.5 m", "a STOP AND VENT", "09:15:02 UTC"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not in\n%s", want, got)
		}
	}
}

func TestAnOldReadingNeverLooksFresh(t *testing.T) {
	for name, spoil := range map[string]func(*State){
		"nothing came for 4 s":  func(s *State) { s.Age = 4 * time.Second },
		"the sensor is silent":  func(s *State) { s.Now.PaAgeS = at(5) },
		"the core calls it old": func(s *State) { s.Now.Stale = true },
		"it was never read":     func(s *State) { s.Now.Pa, s.Now.PaAgeS, s.Now.DepthM = nil, nil, nil },
	} {
		s := holding()
		spoil(s)
		got := Frame(s, 80, 24)
		if strings.Contains(got, "fresh") || strings.Contains(got, "██") || !strings.Contains(got, "OLD") {
			t.Errorf("%s:\n%s", name, got)
		}
	}
}

func TestTheLidIsSaidToBeSafeOnlyWhenTheRunSaysSo(t *testing.T) {
	s := holding()
	s.Now.Done, s.Now.Phase, s.Now.Pa = true, "done", at(1.01e5)
	if got := Frame(s, 80, 24); !strings.Contains(got, "NOT KNOWN TO BE VENTED – DO NOT OPEN") {
		t.Errorf("not vented:\n%s", got)
	}
	s.Now.MayOpen = true
	if got := Frame(s, 80, 24); strings.Contains(got, "DO NOT OPEN") || !strings.Contains(got, "look at the gauge, then open") {
		t.Errorf("vented:\n%s", got)
	}
}

func TestAPromptAndASickSensorAreSeen(t *testing.T) {
	s := holding()
	s.Now.Prompt = &page.Wish{Text: "STOP pumping and shut the supply valve", TargetPa: 4.78e5, DepthM: 37.5, RatePaS: 1678, Answer: true}
	s.Now.Sensors = append(s.Now.Sensors, page.Shown{Sensor: "u1", Quantity: "inside humidity", Fault: "no-reading", AgeS: 12}, page.Shown{Sensor: "w1", Quantity: "wet probe", TwoState: true, Value: at(1)})
	got := Frame(s, 80, 24)
	for _, want := range []string{">>> STOP PUMPING AND SHUT THE SUPPLY VALVE: to 3.77 bar gauge", "u1 inside humidity no-reading, 12 s", "w1 WET", "Enter done"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not in\n%s", want, got)
		}
	}
}

// TestEveryFrameFitsItsTerminal: whatever is read and noted, no line is wider, no
// frame higher, nothing steers the terminal, and the key that stops is in sight.
func TestEveryFrameFitsItsTerminal(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := holding()
		number := func(name string) *float64 {
			if rapid.Bool().Draw(rt, name+"?") {
				return nil
			}
			return at(rapid.Float64().Draw(rt, name))
		}
		n := s.Now
		n.Pa, n.DepthM, n.LeftS, n.PaAgeS, n.InsidePa, n.MarginK = number("pa"), number("depth"), number("left"), number("age"), number("inside"), number("margin")
		n.Leak = &analysis.Interval{Estimate: rapid.Float64().Draw(rt, "leak"), Low: rapid.Float64().Draw(rt, "low"), High: rapid.Float64().Draw(rt, "high")}
		n.Leg = rapid.IntRange(0, 9).Draw(rt, "leg")
		n.Phase = rapid.SampledFrom([]string{"ready", "ramp", "settle", "hold", "vent", "done"}).Draw(rt, "phase")
		s.Ladder.Unit = rapid.String().Draw(rt, "unit")
		for range rapid.IntRange(0, 40).Draw(rt, "events") {
			s.Events = append(s.Events, page.Event{Kind: "note", Text: rapid.String().Draw(rt, "text")})
		}
		if rapid.Bool().Draw(rt, "typing") {
			text := rapid.String().Draw(rt, "typed")
			s.Typing = &text
		}
		width, height := rapid.IntRange(1, 200).Draw(rt, "width"), rapid.IntRange(1, 60).Draw(rt, "height")
		got := Frame(s, width, height)
		lines := strings.Split(got, "\n")
		if len(lines) > max(height, 12) {
			rt.Fatalf("%d lines of %d", len(lines), height)
		}
		for _, line := range lines {
			if utf8.RuneCountInString(line) > max(width, 40) {
				rt.Fatalf("%d wide of %d: %q", utf8.RuneCountInString(line), width, line)
			}
			if strings.ContainsAny(line, "\x1b\x07\r\u009b") || !utf8.ValidString(line) {
				rt.Fatalf("steers the terminal: %q", line)
			}
		}
		if s.Typing == nil && !strings.Contains(got, "a STOP AND VENT") {
			rt.Fatalf("the key that stops is not in sight:\n%s", got)
		}
	})
}

func BenchmarkFrame(b *testing.B) {
	s := holding()
	for b.Loop() {
		Frame(s, 80, 24)
	}
}
