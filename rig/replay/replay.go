// Package replay feeds a record to the sequencer again, through the same steps
// that drive a bench, and compares what it commands now with what was recorded.
package replay

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/sensors"
)

// Command is something that the sequencer did: a valve, a set-point, a stage.
type Command struct {
	At   time.Duration // since the start of the run
	What string        // as in the record: "valve fill open", "stage hold 2", "setpoint 301325.0"
}

// Result compares a record with its replay.
type Result struct {
	Recorded, Replayed []Command
	Difference         string // the first one, in words; empty: none
}

// Run replays a record. Times may differ by one period of the loop and half of
// one: records of before steps lay on a grid do.
func Run(r *record.Record) (Result, error) {
	p, err := rig.NewPlan(r.Run)
	if err != nil {
		return Result{}, fmt.Errorf("%s cannot be replayed: %w", r.Folder, err)
	}
	tape, res, err := read(r)
	if err != nil {
		return res, err
	}
	if tape.firstStage < 0 {
		return res, fmt.Errorf("%s cannot be replayed: it has no stages", r.Folder)
	}
	tape.begin(p.Period)
	if !tape.ended { // cut off, and nobody has gone on with it yet
		tape.gaps = append(tape.gaps, gap{begins: tape.last})
	}
	log := &recorder{}
	last := make([]time.Duration, len(tape.gaps)) // step before each gap
	play(p, tape, func(now rig.Instant, _ rig.State, out *rig.Output) {
		log.take(p, now.Mono, out)
		for i := range last {
			if now.Mono <= tape.gaps[i].begins {
				last[i] = now.Mono
			}
		}
	})
	res.Recorded = tape.whole(fromFirstStage(res.Recorded), last)
	res.Replayed = tape.kept(res.Recorded, fromFirstStage(log.commands), p.Period)
	res.Difference = difference(res.Recorded, res.Replayed, p.Period*3/2)
	return res, nil
}

// tape is a record as a bench: it gives what was read, when it was read.
type tape struct {
	start      time.Time
	readings   []sensors.Reading
	next       int
	first      time.Duration // step: where the vent was opened to wait, or the first stage entered
	firstStage time.Duration
	surveyed   int // readings before the sequencer's first step
	missed     []missed
	told       told
	steps      []time.Duration // moments that are known for steps of the loop
	asked      []asked
	aborted    bool
	quantities map[string]sensors.Quantity // main quantity of each sensor
	noValve    time.Duration               // when a valve did not answer, or −1
	gaps       []gap
	notes      []string
	last       time.Duration // of the newest line
	ended      bool          // the run came to its end
}

// asked is a command of an operator.
type asked struct {
	at time.Duration
	op rig.Operator
}

// missed are steps that were left out before one.
type missed struct {
	at time.Duration
	n  time.Duration
}

// asks gives what the operator asks for at this moment. His stop stays.
func (t *tape) asks(now time.Duration) (op rig.Operator) {
	for len(t.asked) > 0 && t.asked[0].at <= now {
		next := t.asked[0].op
		t.asked = t.asked[1:]
		t.aborted = t.aborted || next.Abort
		op.Pause, op.Resume = op.Pause || next.Pause, op.Resume || next.Resume
		op.Skip, op.Failed = op.Skip || next.Skip, op.Failed || next.Failed
		op.Ready, op.AcknowledgeLockout = op.Ready || next.Ready, op.AcknowledgeLockout || next.AcknowledgeLockout
	}
	op.Abort = t.aborted
	return op
}

// notes says which command each remark of the record stands for.
var notes = map[string]rig.Operator{
	rig.PausedNote: {Pause: true}, rig.ResumedNote: {Resume: true}, rig.SkippedNote: {Skip: true},
	rig.FailedNote: {Failed: true}, rig.ReadyNote: {Ready: true}, rig.UnlockedNote: {AcknowledgeLockout: true},
}

// until gives what was read up to now since the last call.
func (t *tape) until(now time.Duration) []sensors.Reading {
	from := t.next
	for t.next < len(t.readings) && t.readings[t.next].At <= now {
		t.next++
	}
	return t.readings[from:t.next]
}

// begin passes over what was read before the sequencer's first step.
func (t *tape) begin(period time.Duration) {
	if t.next = t.surveyed; t.next == 0 {
		t.until(t.first - period)
	}
}

// step gives the moment of the step that is due at a time: the recorded one
// where the record tells it.
func (t *tape) step(due, period time.Duration) time.Duration {
	for len(t.missed) > 0 && t.missed[0].at < due-period/2 {
		t.missed = t.missed[1:]
	}
	if len(t.missed) > 0 && t.missed[0].at-t.missed[0].n*period <= due+period/2 {
		return t.missed[0].at
	}
	for len(t.steps) > 0 && t.steps[0] <= due-period/2 {
		t.steps = t.steps[1:]
	}
	if len(t.steps) > 0 && t.steps[0] <= due+period/2 {
		return t.steps[0]
	}
	return due
}

// read takes in a record: its readings, and what was commanded.
func read(r *record.Record) (*tape, Result, error) {
	t := &tape{noValve: -1, first: -1, firstStage: -1, quantities: map[string]sensors.Quantity{}}
	for _, s := range r.Run.Bench.Sensors {
		if q, ok := sensors.QuantityNamed(s.Measures); ok {
			t.quantities[s.ID] = q
		}
	}
	var res Result
	var l record.Line
	for {
		err := r.Next(&l)
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, res, err
		}
		if t.start.IsZero() {
			t.start = time.Unix(0, l.TimeNS).UTC()
		}
		at := time.Unix(0, l.TimeNS).Sub(t.start)
		t.take(&l, at)
		t.last = at
		if l.Measurement == record.Stage || l.Measurement == record.Valve && l.Open { // a valve shuts between two steps too
			t.steps = append(t.steps, at)
		}
		if l.Measurement == record.Stage {
			if t.firstStage < 0 {
				t.firstStage = at
			}
			t.told = told{l.Kind, l.Index}
		}
		if t.first < 0 && (l.Measurement == record.Stage || l.Measurement == record.Valve && at > 0) { // at 0 is where the valves stood
			t.first = at
		}
		if c, ok := command(&l, at); ok {
			res.Recorded = append(res.Recorded, c)
		}
	}
	return t, res, nil
}

func (t *tape) take(l *record.Line, at time.Duration) {
	add := func(q sensors.Quantity, v float64) {
		if !math.IsNaN(v) {
			t.readings = append(t.readings, sensors.Reading{Sensor: l.Sensor, Quantity: q, Value: v, At: at})
		}
	}
	switch l.Measurement {
	case record.Chamber:
		add(sensors.ChamberPressure, l.PressurePa)
		add(sensors.ChamberGas, l.GasC)
		add(sensors.ChamberWater, l.WaterC)
		add(sensors.ChamberWall, l.WallC)
	case record.UnitInside:
		add(sensors.UnitPressure, l.PressurePa)
		add(sensors.UnitTemperature, l.TemperatureC)
	case record.Room:
		add(sensors.RoomPressure, l.PressurePa)
	case record.Probe:
		if l.HasWet {
			add(sensors.ProbeWet, oneIf(l.Wet))
		}
	case record.Switch:
		if q, known := record.SwitchQuantity(l.Kind); known && l.HasOpen {
			add(q, oneIf(l.Open))
		}
	case record.Fault:
		if q, known := t.quantities[l.Sensor]; known {
			if s, bad := sensors.StatusNamed(l.Kind); bad && s != sensors.OK {
				t.readings = append(t.readings, sensors.Fault(l.Sensor, q, s, at, l.Text))
			}
		}
		if l.Kind == "valve" && t.noValve < 0 {
			t.noValve = at
		}
	case record.Note:
		if len(t.notes) < 1000 {
			t.notes = append(t.notes, l.Text)
		}
		if t.first < 0 && strings.HasPrefix(l.Text, rig.SurveyNote) {
			t.surveyed = len(t.readings)
		}
		if text, is := strings.CutPrefix(l.Text, rig.MissedNote); is {
			if n, err := strconv.Atoi(text); err == nil && n > 0 {
				t.missed = append(t.missed, missed{at, time.Duration(n)})
			}
		}
		if op, known := notes[l.Text]; known {
			t.asked = append(t.asked, asked{at, op})
		}
	case record.RunEvent:
		switch {
		case l.Event == "abort" && l.Text == rig.ByOperator.String():
			t.asked = append(t.asked, asked{at, rig.Operator{Abort: true}})
		case l.Event == "resume":
			t.gap(l.Text, at)
		case l.Event == "end":
			t.ended = true
		}
	}
}

func oneIf(x bool) float64 {
	if x {
		return 1
	}
	return 0
}

func command(l *record.Line, at time.Duration) (Command, bool) {
	switch l.Measurement {
	case record.Valve:
		return Command{at, valveWords(l.Valve, l.Open)}, true
	case record.Setpoint:
		return Command{at, setpointWords(l.PressurePa)}, true
	case record.Stage:
		return Command{at, stageWords(l.Kind, l.Index)}, true
	}
	return Command{}, false
}

func valveWords(valve string, open bool) string {
	if open {
		return "valve " + valve + " open"
	}
	return "valve " + valve + " shut"
}
func setpointWords(pa float64) string          { return fmt.Sprintf("setpoint %.1f", pa) }
func stageWords(kind string, index int) string { return fmt.Sprintf("stage %s %d", kind, index) }
func (c Command) String() string               { return fmt.Sprintf("%s at %s", c.What, c.At) }

// fromFirstStage leaves out the valves' places at the start, which nobody commanded.
func fromFirstStage(cs []Command) []Command {
	for i, c := range cs {
		if strings.HasPrefix(c.What, "stage ") {
			return cs[i:]
		}
	}
	return nil
}

// whole leaves out of the recorded commands the ends of pulses that the record tells
// of and whose step a power cut took from it: they are written before the step's own
// lines, and with the moment at which they were.
func (t *tape) whole(recorded []Command, last []time.Duration) []Command {
	for i, g := range t.gaps {
		recorded = slices.DeleteFunc(recorded, func(c Command) bool {
			return c.At > last[i] && c.At <= g.begins && (c.What == valveWords("fill", false) || c.What == valveWords("vent", false))
		})
	}
	return recorded
}

// kept leaves out of the replayed commands those of the last step before a gap
// that a power cut took from the record.
func (t *tape) kept(recorded, replayed []Command, period time.Duration) []Command {
	for _, g := range t.gaps {
		before := func(cs []Command) (n int) {
			for n < len(cs) && cs[n].At <= g.begins {
				n++
			}
			return n
		}
		from, to := before(recorded), before(replayed)
		for from < to && replayed[from].At <= g.begins-period {
			from++
		}
		if from < to {
			replayed = slices.Delete(replayed, from, to)
		}
	}
	return replayed
}

func difference(a, b []Command, within time.Duration) string {
	for i := range min(len(a), len(b)) {
		if off := a[i].At - b[i].At; a[i].What != b[i].What || off > within || off < -within {
			return fmt.Sprintf("command %d: recorded %s, replayed %s", i, a[i], b[i])
		}
	}
	if len(a) != len(b) {
		return fmt.Sprintf("recorded %d commands, replayed %d", len(a), len(b))
	}
	return ""
}

// recorder keeps the commands of the replay, as the record would.
type recorder struct{ commands []Command }

func (r *recorder) take(p *rig.Plan, at time.Duration, out *rig.Output) {
	add := func(at time.Duration, what string) { r.commands = append(r.commands, Command{at, what}) }
	events := out.Events()
	for i := range events { // a pulse that ended before this step
		if e := &events[i]; e.Kind == rig.ValveEvent && e.At != 0 && e.At < at {
			add(e.At, valveWords(e.Valve, e.Open))
		}
	}
	for i := range events {
		switch e := &events[i]; e.Kind {
		case rig.StageEvent:
			add(at, stageWords(e.Phase.String(), p.Legs[e.Leg].Stage))
		case rig.SetpointEvent:
			add(at, setpointWords(e.Pa))
		case rig.ValveEvent:
			if e.At == 0 || e.At >= at {
				add(at, valveWords(e.Valve, e.Open))
			}
		}
	}
}
