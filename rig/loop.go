package rig

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"proofpot/sensors"
)

// Clock gives the loop its time.
type Clock interface {
	Now() Instant
	// WaitUntil returns when the clock that never jumps has reached t, or early
	// when ctx is done.
	WaitUntil(ctx context.Context, t time.Duration)
}

// Recorder keeps what happens. record.Writer is one.
type Recorder interface {
	Readings(rs []sensors.Reading)
	Valve(at time.Duration, valve string, open bool)
	Setpoint(at time.Duration, pressurePa float64)
	Stage(at time.Duration, kind string, index int, name string, depthM, pressurePa float64)
	Fault(at time.Duration, sensor, valve, kind, text string)
	Note(at time.Duration, text string)
	Run(at time.Duration, event, text string)
	Flush(at time.Duration) error
	Sync() error
}

// Prompted is a bench that a person operates; it shows him what to do. The
// prompt is given at each step.
type Prompted interface {
	Prompt(now Instant, p Prompt)
}

// Watched is a bench that a watchdog looks after. Unfed gives why it got no sign of
// life, or nil: then the machine will soon start anew, which the record must say.
type Watched interface {
	Unfed() error
}

// Loop feeds the sequencer from devices and carries out what it asks for. It is
// the same for the simulated bench, a replayed record and hardware.
type Loop struct {
	Plan     *Plan
	Devices  Devices
	Clock    Clock
	Recorder Recorder
	// Operator gives what a person asks for, or nothing. May be nil.
	Operator func() Operator
	// Observe sees each step after it is done. May be nil. It must not keep readings.
	Observe func(now Instant, s *State, out *Output, readings []sensors.Reading)
	// SyncEvery bounds how long a reading may wait for the disk, by the real clock.
	SyncEvery time.Duration

	// Start is the state to begin with: Locked, where the bench is locked out;
	// that of Plan.Resume, where a run goes on.
	Start State

	state    State
	readings []sensors.Reading
	early    []sensors.Reading // read, and of the next step
	missed   int               // steps, before this one
	synced   time.Time
}

// MissedNote is what the record says of steps that were not taken in time: so many
// lie between the one before and this one. A replay goes by it.
const MissedNote = "late: steps missed: "

// ErrDevice marks a run that a device ended.
var ErrDevice = errors.New("the bench failed")

// State gives the sequencer's state, after Run how it ended.
func (l *Loop) State() State { return l.state }

// Run goes through the plan. When ctx is done it aborts: fill cut, vent open,
// and goes on until the pressure is gone. In every case, a panic included, the
// devices are closed, which leaves them safe.
//
// Steps lie on a grid of whole periods. One that the machine takes late is told
// the moment at which it was due and what had been read by then, so that a replay,
// which knows the grid, takes the same steps; one that is late by a period or more
// is left out, and the record says so.
func (l *Loop) Run(ctx context.Context) (err error) {
	defer func() {
		if cerr := l.Devices.Close(); err == nil && cerr != nil {
			err = fmt.Errorf("%w: %w", ErrDevice, cerr)
		}
	}()
	l.synced, l.state = time.Now(), l.Start
	var broken, noValve string
	var unfed bool
	next := l.Clock.Now().Mono
	if l.Start.Now > 0 {
		next = l.Start.Now + l.Plan.Period // a run that goes on
	}
	for ; ; next += l.Plan.Period {
		l.Clock.WaitUntil(context.WithoutCancel(ctx), next)
		now := l.Clock.Now()
		if missed := (now.Mono - next) / l.Plan.Period; missed > 0 {
			next += missed * l.Plan.Period
			l.missed = int(missed)
		}
		in := Input{Now: next, Broken: broken, NoValve: noValve}
		if l.Operator != nil {
			in.Operator = l.Operator()
		}
		in.Operator.Abort = in.Operator.Abort || ctx.Err() != nil
		l.read(Instant{Mono: next, Wall: now.Wall.Add(next - now.Mono)})
		in.Readings = l.readings

		state, out := Step(l.Plan, l.state, in)
		l.state = state
		if p, ok := l.Devices.(Prompted); ok && (l.Plan.Hand || l.Plan.Asks) {
			p.Prompt(now, out.Prompt)
		}
		if l.Plan.Hand {
			// there is nothing to drive
		} else if err := l.Devices.Drive(now, out.Valves); err != nil && noValve == "" {
			noValve = err.Error()
			l.Recorder.Fault(next, "", "", "valve", noValve)
		}
		if w, ok := l.Devices.(Watched); ok && !unfed {
			if err := w.Unfed(); err != nil {
				unfed = true
				l.Recorder.Fault(next, "", "", "watchdog", err.Error())
			}
		}
		if err := l.keep(next, &out); err != nil && broken == "" {
			broken = err.Error()
		}
		if l.Observe != nil {
			l.Observe(now, &l.state, &out, l.readings)
		}
		if l.state.Phase == Done {
			break
		}
	}
	switch {
	case broken != "":
		return fmt.Errorf("%w: %s", ErrDevice, broken)
	case noValve != "":
		return fmt.Errorf("%w: %s", ErrDevice, noValve)
	}
	switch stopped := l.state.Stopped; stopped {
	case NotStopped, ByOperator, UnitWet, WetWithCells, RecordBroken:
		return nil
	default:
		return fmt.Errorf("%w: %s", ErrDevice, stopped)
	}
}

// read takes in what has arrived up to the moment of a step.
func (l *Loop) read(due Instant) {
	all := l.Devices.Read(due, append(l.readings[:0], l.early...))
	l.early = l.early[:0]
	l.readings = all[:0]
	for i := range all {
		if all[i].At > due.Mono {
			l.early = append(l.early, all[i])
		} else {
			l.readings = append(l.readings, all[i])
		}
	}
}

// keep records a step: what was read, then what was done about it.
func (l *Loop) keep(at time.Duration, out *Output) error {
	l.before(at, out)
	if l.missed > 0 {
		l.Recorder.Note(at, MissedNote+strconv.Itoa(l.missed))
		l.missed = 0
	}
	critical := false
	for i := range out.Events() {
		e := &out.events[i]
		critical = critical || e.Critical
		switch e.Kind {
		case StageEvent:
			leg := &l.Plan.Legs[e.Leg]
			depth, pa := leg.DepthM, leg.TargetPa
			if e.Phase == Vent {
				depth, pa = 0, l.Plan.RoomPa
			}
			l.Recorder.Stage(at, e.Phase.String(), leg.Stage, leg.Name, depth, pa)
		case SetpointEvent:
			l.Recorder.Setpoint(at, e.Pa)
		case ValveEvent:
			if e.At == 0 || e.At >= at {
				l.Recorder.Valve(at, e.Valve, e.Open)
			}
		case FaultEvent:
			l.Recorder.Fault(at, e.Sensor, e.Valve, e.Word, e.Text)
		case NoteEvent:
			l.Recorder.Note(at, e.Text)
		case RunEvent:
			l.Recorder.Run(at, e.Word, e.Text)
		}
	}
	if err := l.Recorder.Flush(at); err != nil {
		return err
	}
	if critical || time.Since(l.synced) >= l.SyncEvery {
		l.synced = time.Now()
		return l.Recorder.Sync()
	}
	return nil
}

// before records what came before this step, in order of time: the readings, and
// the valves whose pulse has ended.
func (l *Loop) before(at time.Duration, out *Output) {
	rs := l.readings
	for i := range out.Events() {
		e := &out.events[i]
		if e.Kind != ValveEvent || e.At == 0 || e.At >= at {
			continue
		}
		n := 0
		for n < len(rs) && rs[n].At <= e.At {
			n++
		}
		l.Recorder.Readings(rs[:n])
		rs = rs[n:]
		l.Recorder.Valve(e.At, e.Valve, e.Open)
	}
	l.Recorder.Readings(rs)
}
