package rig

import (
	"fmt"
	"time"

	"proofpot/rig/setup"
	"proofpot/sensors"
)

// CheckState is how a check before a run stands.
type CheckState string

// The states. A check that waits needs a person, or has not been reached.
const (
	Ticked        CheckState = "ticked"
	Failed        CheckState = "failed"
	Waiting       CheckState = "waiting"
	NotApplicable CheckState = "not-applicable"
)

// Check is one thing that must be so before anything moves.
type Check struct {
	ID    string     `json:"id"`
	Text  string     `json:"text"` // what must be so
	State CheckState `json:"state"`
	Why   string     `json:"why,omitempty"` // what was found
}

// Before is what is known before a run. What has not been looked at yet is left
// out, and its check waits.
type Before struct {
	Run  setup.Run // with the standard atmosphere where no barometer was read yet
	Plan *Plan     // nil: Err says why
	Err  error     // of NewPlan

	Simulated    bool   // no chamber, nobody near it
	Held         bool   // this process controls the bench
	HeldBy       string // who else does
	LockedOut    string // why, or empty
	Acknowledged bool   // the cautions

	Now, Built, LastRecord time.Time // by the wall clock; zero: not known
	FreeBytes              uint64    // where records go
	FreeKnown              bool

	Switches []SwitchProof // the lid switch and the emergency stop that the bench declares
	Surveyed *Surveyed     // nil: not yet
	SurveyEr error
	// How the watchdog relay was seen to take the valves' power; empty: not yet.
	BackstopHow string
	BackstopErr error

	VentHow string // how the vent was seen to open; empty: not yet
	VentErr error
}

// OperatedFor is how long a switch that was seen to work counts as working:
// a day at the bench. (Common practice, no source: guards and stops are tried
// before each day's work.)
const OperatedFor = 12 * time.Hour

// clockFloor is before anything that writes this was made.
var clockFloor = time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)

// clockSlack is how far the wall clock may lie behind the last record's end.
const clockSlack = time.Minute

// Preflight lists what must be so before anything moves. It may go on when no
// check has failed or waits (see Clear).
func Preflight(b *Before) []Check {
	return []Check{
		rating(b), share(b), consistent(b), controller(b), lockout(b), cautioned(b), clockSane(b), space(b),
		health(b), switched(b, sensors.LidOpen, "lid", "the lid switch was seen to open and shut, and the lid is shut"),
		switched(b, sensors.StopOpen, "stop", "the emergency stop was seen to work, and is released"),
		backstop(b), vents(b),
	}
}

// Clear says whether nothing has failed and nothing waits.
func Clear(checks []Check) bool {
	for i := range checks {
		if s := checks[i].State; s != Ticked && s != NotApplicable {
			return false
		}
	}
	return true
}

// tick makes a check that is so, or has failed with why.
func tick(id, text string, so bool, why string) Check {
	c := Check{ID: id, Text: text, State: Failed, Why: why}
	if so {
		c.State = Ticked
	}
	return c
}

func rating(b *Before) Check {
	err := stated(b.Run.Bench, b.Run.Unit)
	room := b.Run.Bench.RoomPa
	why := fmt.Sprintf("rated %.2f, relief %.2f bar gauge", (b.Run.Bench.RatedPa-room)/1e5, (b.Run.Bench.ReliefPa-room)/1e5)
	if err != nil {
		why = err.Error()
	}
	return tick("rating", "the chamber's rating and its relief setting are given", err == nil, why)
}

func share(b *Before) Check {
	const text = "the deepest target is at most 90 % of both"
	if b.Plan == nil {
		return Check{ID: "target", Text: text, State: Waiting, Why: "there is no plan"}
	}
	top := 0.0
	for i := range b.Plan.Legs {
		top = max(top, b.Plan.Legs[i].TargetPa)
	}
	room := b.Plan.RoomPa
	return tick("target", text, top <= b.Plan.LimitPa, fmt.Sprintf("%.2f of at most %.2f bar gauge", (top-room)/1e5, (b.Plan.LimitPa-room)/1e5))
}

func consistent(b *Before) Check {
	why := fmt.Sprintf("%s, unit %s, bench %s", b.Run.Profile.Name, b.Run.Unit.ID, b.Run.Bench.ID)
	if b.Err != nil {
		why = b.Err.Error()
	}
	return tick("consistent", "profile, unit and bench fit each other", b.Err == nil && b.Plan != nil, why)
}

func controller(b *Before) Check {
	const text = "this process alone controls the bench"
	if b.Simulated {
		return Check{ID: "lock", Text: text, State: NotApplicable, Why: "simulated bench"}
	}
	return tick("lock", text, b.Held, b.HeldBy)
}

func lockout(b *Before) Check {
	const text = "the bench is not locked out, and no run was cut off"
	if b.Simulated {
		return Check{ID: "lock-out", Text: text, State: NotApplicable, Why: "simulated bench"}
	}
	return tick("lock-out", text, b.LockedOut == "", b.LockedOut)
}

func cautioned(b *Before) Check {
	const text = "the cautions are acknowledged"
	switch {
	case b.Simulated:
		return Check{ID: "cautions", Text: text, State: NotApplicable, Why: "simulated bench"}
	case !b.Acknowledged:
		return Check{ID: "cautions", Text: text, State: Waiting, Why: "read them and say so"}
	}
	return Check{ID: "cautions", Text: text, State: Ticked}
}

func clockSane(b *Before) Check {
	floor, of := clockFloor, "1 January 2025"
	if b.Built.After(floor) {
		floor, of = b.Built, "this program was built"
	}
	if last := b.LastRecord.Add(-clockSlack); last.After(floor) {
		floor, of = last, "the end of the last record on this bench"
	}
	why := b.Now.UTC().Format(time.RFC3339)
	if b.Now.Before(floor) {
		why += fmt.Sprintf(" lies before %s (%s); set the clock", of, floor.UTC().Format(time.RFC3339))
	}
	return tick("clock", "the wall clock is sane", !b.Now.Before(floor), why)
}

func space(b *Before) Check {
	const text = "the disk has room for the record, twice"
	if !b.FreeKnown || b.Plan == nil {
		return Check{ID: "disk", Text: text, State: Waiting, Why: "not known"}
	}
	need := 2 * RecordBytes(b.Run, b.Plan.Total())
	return tick("disk", text, b.FreeBytes >= need, fmt.Sprintf("%.1f MB free, %.1f MB wanted", float64(b.FreeBytes)/1e6, float64(need)/1e6))
}

const (
	lineBytes  = 110      // of a line of readings.lp with its part of the chain, at most: measured on records, rounded up
	fixedBytes = 16 << 20 // verdict, certificate and its pictures, a core file's worth of luck
)

// RecordBytes is how much disk a run of some length takes at most.
func RecordBytes(run setup.Run, total time.Duration) uint64 {
	perS := 0.0
	for _, s := range run.Bench.Sensors {
		every := s.Interval().Seconds()
		for _, f := range s.Fields {
			if f.IntervalS > 0 {
				every = min(every, f.IntervalS)
			}
		}
		perS += max(1, float64(len(s.Fields))) / every
	}
	return uint64(perS*total.Seconds()*lineBytes) + fixedBytes
}

func health(b *Before) Check {
	const text = "the sensors answer, and the chamber reads the room's pressure at open vent"
	switch {
	case b.SurveyEr != nil:
		return tick("sensors", text, false, b.SurveyEr.Error())
	case b.Surveyed == nil:
		return Check{ID: "sensors", Text: text, State: Waiting, Why: "not read yet"}
	}
	seen := map[string]bool{}
	for i := range b.Surveyed.Readings {
		if r := &b.Surveyed.Readings[i]; r.Status == sensors.OK {
			seen[r.Sensor] = true
		}
	}
	for _, s := range b.Run.Bench.Sensors {
		if !seen[s.ID] && s.Interval() <= surveyTime {
			return tick("sensors", text, false, fmt.Sprintf("sensor %q gave nothing in %s", s.ID, surveyTime))
		}
	}
	return tick("sensors", text, true, fmt.Sprintf("chamber %.0f, room %.0f Pa absolute (%s)", b.Surveyed.ChamberPa, b.Surveyed.RoomPa, b.Surveyed.RoomFrom))
}

func switched(b *Before, q sensors.Quantity, id, text string) Check {
	for i := range b.Switches {
		p := &b.Switches[i]
		if p.Quantity != q {
			continue
		}
		switch {
		case p.Known && p.Open:
			return tick(id, text, false, fmt.Sprintf("%s, sensor %q, says that it is open: shut the lid, release the stop", q, p.Sensor))
		case !p.Known:
			return Check{ID: id, Text: text, State: Waiting, Why: fmt.Sprintf("sensor %q has said nothing yet", p.Sensor)}
		case p.Operated.IsZero() || b.Now.Sub(p.Operated) > OperatedFor || p.Operated.After(b.Now.Add(clockSlack)):
			return Check{ID: id, Text: text, State: Waiting, Why: fmt.Sprintf("operate it once: sensor %q must open and shut again", p.Sensor)}
		}
		return tick(id, text, true, "operated "+p.Operated.Local().Format(time.DateTime))
	}
	return Check{ID: id, Text: text, State: NotApplicable, Why: "the bench has no such switch"}
}

func vents(b *Before) Check {
	const text = "the vent was seen to open"
	switch {
	case b.Run.Bench.HandOperated:
		return Check{ID: "vent", Text: text, State: NotApplicable, Why: "a hand opens it; the chamber was read at open vent"}
	case b.VentErr != nil:
		return tick("vent", text, false, b.VentErr.Error())
	case b.VentHow == "":
		return Check{ID: "vent", Text: text, State: Waiting, Why: "comes last"}
	}
	return tick("vent", text, true, b.VentHow)
}
