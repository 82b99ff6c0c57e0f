package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"time"

	"proofpot/rig"
	"proofpot/rig/benchstate"
	"proofpot/rig/record"
	"proofpot/rig/replay"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/rig/wiring"
	"proofpot/sensors"
)

type resumeCmd struct {
	Record string `arg:"" help:"Folder of the record whose run was cut off." placeholder:"RECORD"`
	stateFlag
	paperwork
	Acknowledge bool          `help:"The cautions have been read (a script's answer to the question)."`
	GoOnWet     bool          `help:"Go on when a wet probe is wet, as the run did."`
	Gap         time.Duration `help:"Simulated bench: how long the power was away." default:"10m"`
	PowerLoss   string        `help:"Simulated bench: what became of the pressure meanwhile, hold or vent." enum:"hold,vent" default:"vent"`
	Register    string        `help:"Enter the test in the register of this folder when the run ends." placeholder:"DIR"`
	Pace        float64       `help:"Simulated bench: simulated seconds a second; 0 is as fast as it goes." default:"0"`

	unattended bool // nobody is there: only what was held goes on
}

// errNotBegun: the bench could not be looked at; the run can be gone on with when it can.
var errNotBegun = errors.New("the run did not go on")

// errNotHeld: a person must look first.
var errNotHeld = errors.New("the pressure is not known to have been held, and nobody is there")

// Help is shown by proofpot resume --help.
func (resumeCmd) Help() string {
	return `A run that a power cut, a crash or a kill cut off goes on in the same record. The chamber is looked at first: where
the pressure was held, by what it was before and by the temperatures on both sides, the hold goes on and lasts as much
longer as the gap was; where it was lost, or nobody can tell, the stage is begun again. The record says so, and the
verdict what it costs.

Example: proofpot resume records/20260314T081502Z-KP-01`
}

// Run goes on with a run that was cut off, to its verdict.
func (c *resumeCmd) Run(w *world) error {
	defer sparing()()
	papers, err := c.prepare()
	if err != nil {
		return err
	}
	papers.register = c.Register
	stopped, err := c.perform(w)
	if err != nil && stopped == rig.NotStopped && !errors.Is(err, rig.ErrDevice) {
		return err
	}
	return papers.conclude(w, c.Record, stopped, err)
}

// perform takes the bench and goes on with the run to its end.
func (c *resumeCmd) perform(w *world) (rig.Stop, error) {
	r, err := record.Open(c.Record)
	if err != nil {
		return 0, err
	}
	run, bench := r.Run, r.Run.Bench
	r.Close()
	simulated := len(bench.Sensors) > 0 && bench.Sensors[0].Driver == simbench.Driver
	var held *control
	if !simulated {
		if held, err = c.take(bench.ID, "resume"); err != nil {
			return 0, err
		}
		defer held.release()
		if err := c.mine(held); err != nil {
			return 0, err
		}
		if err := acknowledge(w, run, c.Acknowledge); err != nil {
			return 0, err
		}
		w.tell = tellerAgain(w, held.state.Running.Bench, run)
	}
	return c.goOn(w, run, held, simulated)
}

// mine says what forbids that this run goes on.
func (c *resumeCmd) mine(held *control) error {
	if l := held.state.Lockout; l != nil {
		return coded{exitBench, fmt.Errorf("bench %s is locked out: %s; find out why, then: proofpot acknowledge BENCH.TOML", held.bench, l.Reason)}
	}
	abs, err := filepath.Abs(c.Record)
	if err != nil {
		return err
	}
	if is := held.state.Running; is == nil || is.Record != abs {
		other := "none"
		if is != nil {
			other = is.Record
		}
		return coded{exitBench, fmt.Errorf("the run of this bench that was cut off is %s, not %s", other, c.Record)}
	}
	return nil
}

// goOn recovers the state, opens the record and the bench, judges the gap and
// runs to the end.
func (c *resumeCmd) goOn(w *world, run setup.Run, held *control, simulated bool) (rig.Stop, error) {
	cut, sim, err := c.recover(run, simulated)
	if err != nil {
		return 0, err
	}
	now := time.Now().UTC()
	if simulated {
		now = cut.Start.Add(cut.End + c.Gap)
	}
	writer, found, err := record.Resume(c.Record, now)
	if err != nil {
		return 0, err
	}
	offset := found.From.Sub(cut.Start)
	writer.Since(cut.Start)
	devices, clock, err := c.openAgain(run, sim, cut.Start, offset)
	if err != nil {
		writer.Fault(offset, "", "", "not-opened", err.Error())
		return 0, coded{exitUsage, errors.Join(fmt.Errorf("%w: %w", errNotBegun, err), writer.Close())}
	}
	stopped, err := c.lookAndRun(w, run, held, cut, found, devices, clock, writer)
	if cerr := writer.Close(); err == nil && cerr != nil {
		err = cerr
	}
	return stopped, err
}

// recover steps through the record; a simulated bench follows.
func (c *resumeCmd) recover(run setup.Run, simulated bool) (replay.Cut, *simbench.Bench, error) {
	r, err := record.Open(c.Record)
	if err != nil {
		return replay.Cut{}, nil, err
	}
	defer r.Close()
	cut, err := replay.Recover(r, nil)
	if err != nil || !simulated {
		return cut, nil, err
	}
	flags, err := simOf(cut.Notes)
	if err != nil {
		return cut, nil, err
	}
	sim, err := flags.simulated(run, cut.Start)
	if err != nil {
		return cut, nil, err
	}
	again, err := record.Open(c.Record)
	if err != nil {
		return cut, nil, err
	}
	defer again.Close()
	var sink []sensors.Reading
	cut, err = replay.Recover(again, func(now rig.Instant, out *rig.Output) {
		sink = sim.Read(now, sink[:0])
		if cut.Plan.Hand || cut.Plan.Asks {
			sim.Prompt(now, out.Prompt)
		}
		_ = sim.Drive(now, out.Valves) // a bench without valves, or whose relays did not answer then either
	})
	return cut, sim, err
}

// openAgain opens the bench as it stands now.
func (c *resumeCmd) openAgain(run setup.Run, sim *simbench.Bench, start time.Time, offset time.Duration) (rig.Devices, rig.Clock, error) {
	if sim == nil {
		clock := &offsetClock{rig.NewRealClock(), offset}
		d, err := wiring.OpenAsItStands(run.Bench, clock)
		return d, clock, err
	}
	clock := rig.NewSimClock(start, c.Pace)
	cutAt := rig.Instant{Mono: offset - c.Gap, Wall: start.Add(offset - c.Gap)}
	if err := sim.Drive(cutAt, rig.Valves{Vent: c.PowerLoss == "vent"}); err != nil && !errors.Is(err, simbench.ErrDrive) {
		return nil, nil, err
	}
	clock.WaitUntil(alreadyDone(), offset)
	sim.Read(clock.Now(), nil) // what was said meanwhile, nobody heard
	return sim, clock, nil
}

// alreadyDone is for a wait that takes no real time.
func alreadyDone() context.Context {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	return ctx
}

// lookAndRun reads the bench for some seconds, judges the gap and goes on.
func (c *resumeCmd) lookAndRun(w *world, run setup.Run, held *control, cut replay.Cut, found record.Resumed, devices rig.Devices, clock rig.Clock, rec *record.Writer) (rig.Stop, error) {
	watch, err := newProgress(w, cut.Plan, run, held == nil && c.Pace == 0)
	if err != nil {
		return 0, errors.Join(err, devices.Close())
	}
	if err := catchUp(watch, c.Record); err != nil {
		return 0, errors.Join(err, devices.Close())
	}
	rec.OnLine = watch.line
	watch.disk(rec.Unsynced)
	rec.Wait = held == nil
	cut.Plan.StopOnWet = !c.GoOnWet
	var after rig.Side
	var readings []sensors.Reading
	at := clock.Now().Mono
	for end := at + replay.LookTime; at < end; {
		clock.WaitUntil(w.ctx, at+cut.Plan.Period)
		if w.ctx.Err() != nil {
			return rig.ByOperator, errors.Join(answer(exitStopped), devices.Close())
		}
		now := clock.Now()
		at = now.Mono
		readings = devices.Read(now, readings[:0])
		rec.Readings(readings)
		for i := range readings {
			after.See(&readings[i], cut.Plan.Chamber)
		}
	}
	if !after.Known() {
		rec.Fault(at, cut.Plan.Chamber, "", "no-reading", "no chamber pressure: the run cannot go on")
		return 0, errors.Join(coded{exitBench, fmt.Errorf("%w: sensor %q gave nothing; it can be resumed when it does", errNotBegun, cut.Plan.Chamber)}, devices.Close())
	}
	gap := c.gap(run, held, found, cut)
	gap.Before, gap.After = cut.Before.Ends(), after.Ends()
	outcome, text := rig.JudgeGap(run, cut.Plan.RoomPa, gap)
	if c.unattended && outcome != rig.GapHeld && cut.Phase != rig.Vent {
		rec.Note(at, "not gone on with by itself: "+text)
		return 0, errors.Join(coded{exitBench, fmt.Errorf("%w: %s", errNotHeld, text)}, devices.Close())
	}
	rec.Run(at, "resume", replay.GapText+text)
	watch.say(at, text)
	if err := rec.Sync(); err != nil {
		return 0, errors.Join(err, devices.Close())
	}
	state := cut.Plan.Resume(cut.State, at, gap.After.Pa, outcome == rig.GapHeld, cut.Told)
	r := running{w: w, plan: cut.Plan, devices: devices, clock: clock, rec: rec, watch: watch, held: held, simulated: held == nil, fast: c.Pace == 0}
	return r.steer(state, c.Record)
}

// rebootLeast: no machine starts anew and comes back in less; a shorter gap over
// a reboot is a clock that stood still.
const rebootLeast = 5 * time.Second

// gap says what is known of how long the gap was.
func (c *resumeCmd) gap(run setup.Run, held *control, found record.Resumed, cut replay.Cut) rig.Gap {
	g := rig.Gap{Length: found.From.Sub(cut.Start.Add(cut.Last)), ClockTrusted: true}
	if held == nil {
		return g
	}
	if v, ok := run.Bench.Valve(setup.VentValve); ok && v.Driver == setup.DriverGPIOLine && v.Rest == setup.RestOpen {
		g.VentOpened = true // the kernel took its line back when the process ended
	}
	boot, up := benchstate.Boot()
	was := held.state.Running
	set := time.Until(found.From) > 0 // the record goes on from its end: the clock lies behind it
	switch {
	case was.Boot == "" || boot == "":
		g.ClockTrusted = !set
		g.Clock = "; the machine does not say whether it was started anew"
	case was.Boot == boot:
		// The run began at UpS by a clock that is never set: how long ago was its last line?
		truth := seconds(up-was.UpS) - cut.Last
		g.Clock = "; the machine went on, the program ended"
		if off := g.Length - truth; off > 10*time.Second || off < -10*time.Second {
			g.Clock = fmt.Sprintf("; the wall clock was set by %s meanwhile", off.Round(time.Second))
			g.Length = truth
		}
	default:
		g.Clock = "; the machine was started anew"
		g.ClockTrusted = !set && g.Length >= rebootLeast
	}
	if set {
		g.Clock += ", and its clock lies before the end of the record"
	}
	return g
}

func seconds(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }

// catchUp shows the live estimate what the record holds already.
func catchUp(watch *progress, folder string) error {
	r, err := record.Open(folder)
	if err != nil {
		return err
	}
	defer r.Close()
	var l record.Line
	for {
		if err := r.Next(&l); err == io.EOF {
			return nil
		} else if err != nil {
			return err
		}
		if l.Measurement != record.Chain {
			watch.line(&l)
		}
	}
}

// offsetClock goes on from where a run was when it is resumed.
type offsetClock struct {
	*rig.RealClock
	offset time.Duration
}

// Now implements rig.Clock.
func (c *offsetClock) Now() rig.Instant {
	now := c.RealClock.Now()
	now.Mono += c.offset
	return now
}

// WaitUntil implements rig.Clock.
func (c *offsetClock) WaitUntil(ctx context.Context, t time.Duration) {
	c.RealClock.WaitUntil(ctx, t-c.offset)
}
