package rig

import (
	"context"
	"errors"
	"fmt"
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
	synced   time.Time
}

// ErrDevice marks a run that a device ended.
var ErrDevice = errors.New("the bench failed")

// State gives the sequencer's state, after Run how it ended.
func (l *Loop) State() State { return l.state }

// Run goes through the plan. When ctx is done it aborts: fill cut, vent open,
// and goes on until the pressure is gone. In every case, a panic included, the
// devices are closed, which leaves them safe.
func (l *Loop) Run(ctx context.Context) (err error) {
	defer func() {
		if cerr := l.Devices.Close(); err == nil && cerr != nil {
			err = fmt.Errorf("%w: %w", ErrDevice, cerr)
		}
	}()
	l.synced, l.state = time.Now(), l.Start
	var broken, noValve string
	for next := l.Clock.Now().Mono; ; next += l.Plan.Period {
		l.Clock.WaitUntil(context.WithoutCancel(ctx), next)
		now := l.Clock.Now()
		if behind := now.Mono - next; behind > l.Plan.Period {
			next = now.Mono // ticks were missed: go on from here, not in a burst
		}
		in := Input{Now: now.Mono, Broken: broken, NoValve: noValve}
		if l.Operator != nil {
			in.Operator = l.Operator()
		}
		in.Operator.Abort = in.Operator.Abort || ctx.Err() != nil
		l.readings = l.Devices.Read(now, l.readings[:0])
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
			l.Recorder.Fault(now.Mono, "", "", "valve", noValve)
		}
		if err := l.keep(now.Mono, &out); err != nil && broken == "" {
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

// keep records a step: what was read, then what was done about it.
func (l *Loop) keep(at time.Duration, out *Output) error {
	l.before(at, out)
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
