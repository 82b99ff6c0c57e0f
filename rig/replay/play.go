package replay

import (
	"fmt"
	"math"
	"sort"
	"strings"
	"time"

	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/sensors"
)

// GapText begins the line with which a run went on after a gap that was judged:
// `run,event=resume text="gap held: …"`.
const GapText = "gap "

// gap is a time in which a run was cut off, as its record tells it.
type gap struct {
	begins time.Duration // last line before it
	ends   time.Duration // it was judged, and the run went on
	held   bool
	judged bool
	told   told // by the record, before it
}

// told is the last stage that a record tells of.
type told struct {
	kind  string
	stage int
}

// is tells whether the record has the line of the stage that a state is in.
func (t told) is(s *rig.State, p *rig.Plan) bool {
	return t == told{s.Phase.String(), p.Legs[s.Leg].Stage}
}

// gap takes in a resume line: the first is where the record was opened again,
// the second says what became of the pressure. Where nobody came to say so the gap
// goes on: what was read meanwhile is no look at the time before it.
func (t *tape) gap(text string, at time.Duration) {
	word, is := strings.CutPrefix(text, GapText)
	if n := len(t.gaps); is && n > 0 && !t.gaps[n-1].judged {
		g := &t.gaps[n-1]
		g.ends, g.judged, g.held = at, true, strings.HasPrefix(word, rig.GapHeld.String())
		return
	}
	if n := len(t.gaps); n > 0 && !t.gaps[n-1].judged {
		t.gaps[n-1].ends = at
		return
	}
	t.gaps = append(t.gaps, gap{begins: t.last, ends: at, told: t.told})
}

// play steps through a record from its first stage on. See sees each step: the
// state after it, and what it asked for.
func play(p *rig.Plan, t *tape, see func(now rig.Instant, s rig.State, out *rig.Output)) rig.State {
	var s rig.State
	gaps := t.gaps
	for now := t.first; now <= t.last; now = t.step(now+p.Period, p.Period) {
		if len(gaps) > 0 && now > gaps[0].begins {
			g := gaps[0]
			gaps = gaps[1:]
			if !g.judged {
				break // cut off again before it went on
			}
			t.until(g.ends) // seen by whoever looked at the bench, not by the sequencer
			s = p.Resume(s, g.ends, t.paAt(p, g.ends), g.held, g.told.is(&s, p))
			now = g.ends
			continue // to its first step, unless it was cut off again before that
		}
		in := rig.Input{Now: now, Readings: t.until(now), Operator: t.asks(now)}
		if t.noValve >= 0 && now-p.Period >= t.noValve {
			in.NoValve = "a valve did not answer"
		}
		var out rig.Output
		s, out = rig.Step(p, s, in)
		see(rig.Instant{Mono: now, Wall: t.start.Add(now)}, s, &out)
		if s.Phase == rig.Done {
			break
		}
	}
	return s
}

// paAt is the mean of the chamber pressures of the last seconds before a moment,
// which is what a run goes on with.
func (t *tape) paAt(p *rig.Plan, at time.Duration) float64 {
	var side rig.Side
	for i := len(t.readings) - 1; i >= 0 && t.readings[i].At > at-LookTime; i-- {
		if t.readings[i].At <= at {
			side.See(&t.readings[i], p.Chamber)
		}
	}
	return side.Ends().Pa
}

// LookTime is how long a bench is looked at before a run goes on.
const LookTime = 5 * time.Second

// Cut is a run that was cut off, as its record tells it.
type Cut struct {
	Plan   *rig.Plan
	State  rig.State     // after the last step that the record tells of
	Start  time.Time     // of the run, by the wall clock
	Last   time.Duration // of the last line before the gap
	End    time.Duration // of the last line: of a try to go on that came to nothing, or Last
	Before rig.Side      // the chamber in the last minutes before the end, valves shut
	Phase  rig.Phase
	Told   bool     // the record has the line of the stage that State is in
	Notes  []string // of the record, for what they say of the bench
}

// sideTime is how much of the readings before a gap tells what went before.
const sideTime = 10 * time.Minute

// Recover brings back the state of a run that was cut off, by stepping through
// its record. Follow sees each command, for a simulated bench to follow; may be nil.
func Recover(r *record.Record, follow func(now rig.Instant, out *rig.Output)) (Cut, error) {
	p, err := rig.NewPlan(r.Run)
	if err != nil {
		return Cut{}, fmt.Errorf("%s cannot be resumed: %w", r.Folder, err)
	}
	t, _, err := read(r)
	if err != nil {
		return Cut{}, err
	}
	if t.firstStage < 0 {
		return Cut{}, fmt.Errorf("%s cannot be resumed: nothing had been pressurised; run the test anew", r.Folder)
	}
	t.begin(p.Period)
	open := t.first
	c := Cut{Plan: p, Start: t.start, Last: t.last, End: t.last, Notes: t.notes}
	readings, gaps := t.readings, t.gaps
	if n := len(gaps); n > 0 && !gaps[n-1].judged {
		c.Last, gaps = gaps[n-1].begins, gaps[:n-1]
		readings = readings[:sort.Search(len(readings), func(i int) bool { return readings[i].At > c.Last })]
	}
	c.State = play(p, t, func(now rig.Instant, s rig.State, out *rig.Output) {
		if s.Valves.Fill || s.Valves.Vent {
			open = now.Mono
		}
		if follow != nil {
			follow(now, out)
		}
	})
	c.Phase, c.Told = c.State.Phase, t.told.is(&c.State, p)
	from := max(open+10*time.Second, c.Last-sideTime)
	if n := len(gaps); n > 0 {
		from = max(from, gaps[n-1].ends)
	}
	for i := range readings {
		if readings[i].At >= from {
			c.Before.See(&readings[i], p.Chamber)
		}
	}
	if !c.Before.Known() { // a valve stood open to the end: the last value has to do
		for i := range readings {
			if readings[i].At >= c.Last-LookTime {
				c.Before.See(&readings[i], p.Chamber)
			}
		}
	}
	if !c.Before.Known() && !math.IsNaN(c.State.Pa) {
		c.Before.See(&sensors.Reading{Sensor: p.Chamber, Quantity: sensors.ChamberPressure, Value: c.State.Pa, At: c.State.PaAt}, p.Chamber)
	}
	return c, nil
}
