// Package register knows what happened to each unit (closed, tested, opened,
// dived) and says from that whether its last test still holds, and for which
// dives. It is pure: events and the time come in, an answer goes out. Below it
// are the files that keep the events, and the reader of dive logs.
package register

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"proofpot/profiles"
)

// Kind is what happened to a unit.
type Kind string

// The kinds of event. All but Tested, Dived and Noted end the validity of the
// test before them.
const (
	Closed   Kind = "closed"   // shut, with its seals; a new closure begins
	Tested   Kind = "tested"   // a test on the bench
	Dived    Kind = "dived"    // one dive
	Opened   Kind = "opened"   // a seal was parted
	Replaced Kind = "replaced" // a seal, window or penetrator is another one
	Repaired Kind = "repaired" // anything mended
	Struck   Kind = "struck"   // an impact, a fall
	Wetted   Kind = "wetted"   // water was found inside
	Noted    Kind = "noted"    // anything else; changes nothing
)

// Kinds lists the kinds that a person may log.
func Kinds() []Kind {
	return []Kind{Closed, Opened, Replaced, Repaired, Struck, Wetted, Noted, Dived, Tested}
}

// Event is one thing that happened to a unit.
type Event struct {
	Unit    string    `toml:"unit"`
	Kind    Kind      `toml:"kind"`
	At      time.Time `toml:"at"`
	By      string    `toml:"by,omitempty"`
	Text    string    `toml:"text,omitempty"`
	Closure *Closure  `toml:"closure,omitempty"` // with Closed
	Test    *Test     `toml:"test,omitempty"`    // with Tested
	Dive    *Dive     `toml:"dive,omitempty"`    // with Dived
}

// Closure is how a unit was shut.
type Closure struct {
	Seals     string  `toml:"seals,omitempty"`
	Lubricant string  `toml:"lubricant,omitempty"`
	Torque    string  `toml:"torque,omitempty"`
	SealedPa  float64 `toml:"sealed_pa,omitempty"` // Pa absolute, 0: not stated
	SealedC   float64 `toml:"sealed_c,omitempty"`  // °C
}

// Test is what a record on the bench showed.
type Test struct {
	Record      string         `toml:"record"`           // name of its folder
	Fingerprint string         `toml:"sha256,omitempty"` // of its readings, hex
	Variant     string         `toml:"variant,omitempty"`
	Profile     string         `toml:"profile,omitempty"`
	Verdict     string         `toml:"verdict"`
	ProvedM     float64        `toml:"proved_depth_m"`
	RatedM      float64        `toml:"rated_depth_m"`
	Water       profiles.Water `toml:"water"`                 // in which the depths are meant
	SealedPa    float64        `toml:"sealed_pa,omitempty"`   // Pa absolute, 0: not stated
	WaterMinC   float64        `toml:"water_min_c,omitempty"` // °C during the test; both 0: not measured
	WaterMaxC   float64        `toml:"water_max_c,omitempty"`
	HoldS       float64        `toml:"hold_s,omitempty"`        // s, longest hold at the proved depth
	Cycles      int            `toml:"cycles,omitempty"`        // times it went down to the rated depth
	LeakMLPerH  float64        `toml:"leak_ml_per_h,omitempty"` // upper 95 % bound at the proved depth
	Mode        string         `toml:"mode,omitempty"`          // of a failure
	FailedM     float64        `toml:"failed_depth_m,omitempty"`
	Cycling     []Cycling      `toml:"cycling,omitempty"` // of its stages that go down again and again
}

// Dive is one dive of a unit.
type Dive struct {
	DepthM   float64 `toml:"depth_m"`           // m of water
	Minutes  float64 `toml:"minutes,omitempty"` // 0: not stated
	WaterC   float64 `toml:"water_c,omitempty"` // °C, lowest where a log has it
	HasWater bool    `toml:"has_water_c,omitempty"`
	Descents int     `toml:"descents,omitempty"` // how often it was let down in it; 0: once
	Source   string  `toml:"source,omitempty"`   // the file of a dive log, or empty: logged by hand
}

// Check says what is wrong with an event, in one line.
func (e *Event) Check() error {
	if strings.TrimSpace(e.Unit) == "" {
		return fmt.Errorf("unit: an event belongs to a unit; give its id")
	}
	if !slices.Contains(Kinds(), e.Kind) {
		return fmt.Errorf("kind: %q is none; use one of %v", e.Kind, Kinds())
	}
	if e.At.IsZero() {
		return fmt.Errorf("at: the time of the event is missing; write it as 2026-03-14T08:15:00Z")
	}
	for _, part := range []struct {
		kind Kind
		has  bool
	}{{Closed, e.Closure != nil}, {Tested, e.Test != nil}, {Dived, e.Dive != nil}} {
		if part.has && e.Kind != part.kind {
			return fmt.Errorf("kind: %q cannot carry what belongs to %q", e.Kind, part.kind)
		}
		if !part.has && e.Kind == part.kind && part.kind != Closed {
			return fmt.Errorf("kind: %q needs its table [%s]", e.Kind, map[Kind]string{Tested: "test", Dived: "dive"}[part.kind])
		}
	}
	if d := e.Dive; d != nil {
		switch {
		case !(d.DepthM > 0 && d.DepthM <= 1200):
			return fmt.Errorf("dive.depth_m: %g is no depth of a dive; 0 to 1200 m is", d.DepthM)
		case !(d.Minutes >= 0 && d.Minutes <= 1e6):
			return fmt.Errorf("dive.minutes: %g is no duration; give minutes, or leave it out", d.Minutes)
		case d.Descents < 0 || d.Descents > 10000:
			return fmt.Errorf("dive.descents: %d must be 1 to 10000, or left out", d.Descents)
		case !(d.WaterC >= -3 && d.WaterC <= 60):
			return fmt.Errorf("dive.water_c: %g °C is no water to dive in; -3 to 60 °C is", d.WaterC)
		}
	}
	if t := e.Test; t != nil {
		switch {
		case t.Record == "":
			return fmt.Errorf("test.record: the name of the record's folder is missing")
		case !slices.Contains([]string{"pass", "fail", "inconclusive"}, t.Verdict):
			return fmt.Errorf("test.verdict: %q is none; pass, fail or inconclusive is", t.Verdict)
		case math.IsNaN(t.ProvedM) || t.ProvedM < 0 || math.IsNaN(t.RatedM) || t.RatedM < 0 || t.RatedM > t.ProvedM:
			return fmt.Errorf("test.rated_depth_m: %g m must lie between 0 and the proved depth of %g m", t.RatedM, t.ProvedM)
		}
	}
	for _, c := range testCycling(e.Test) {
		if !(c.DepthM > 0) || c.Stood < 0 || c.FailedBy < 0 || c.FailedBy > 0 && c.FailedBy <= c.Stood {
			return fmt.Errorf("test.cycling: %d cycles stood and failed by the %dth to %g m cannot be; a cycle stood is one before the failure", c.Stood, c.FailedBy, c.DepthM)
		}
	}
	return nil
}

func testCycling(t *Test) []Cycling {
	if t == nil {
		return nil
	}
	return t.Cycling
}

// inOrder gives the events of a unit until a moment, sorted by time; what happened
// at one moment stands as it came.
func inOrder(unit string, until time.Time, events []Event) []Event {
	var own []Event
	for i := range events {
		if e := &events[i]; e.Unit == unit && !e.At.After(until) {
			own = append(own, *e)
		}
	}
	slices.SortStableFunc(own, func(a, b Event) int { return a.At.Compare(b.At) })
	return own
}
