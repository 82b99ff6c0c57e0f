package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/certificate"
	"proofpot/analysis/characterise"
	"proofpot/analysis/register"
	"proofpot/cmd/proofpot/screen"
	"proofpot/rig"
	"proofpot/rig/benchstate"
	"proofpot/rig/record"
	"proofpot/rig/record/signing"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/sensors"
	"proofpot/sensors/typed"
)

// running is a run with everything that it needs, from its first step or from
// the one at which it was cut off.
type running struct {
	w         *world
	plan      *rig.Plan
	devices   rig.Devices
	clock     rig.Clock
	rec       rig.Recorder
	watch     *progress
	held      *control
	simulated bool
	fast      bool // simulated, as fast as it goes
	gas       *benchstate.FreeGas
	asked     bool // how many strokes were made
}

// observe is told of each step.
func (r *running) observe(now rig.Instant, s *rig.State, out *rig.Output, readings []sensors.Reading) {
	r.w.alive.step(time.Now())
	r.watch.step(now, s, out, readings)
}

// steer runs the loop to its end and remembers with the bench how that was.
func (r *running) steer(start rig.State, folder string) (rig.Stop, error) {
	defer r.w.alive.end()
	ready := func() bool { return false }
	if sim, ok := r.devices.(*simbench.Bench); ok {
		ready = sim.Answered
	} else {
		if bench, ok := r.devices.(interface{ Typed() []*typed.Driver }); ok {
			r.watch.answers.typing.gauges = bench.Typed()
		}
		if r.plan.Asks || r.plan.Hand && !r.w.screen || len(r.watch.answers.typing.gauges) > 0 {
			go r.watch.answers.listen(r.w.in)
			ready = r.watch.answers.ready
		}
	}
	loop := &rig.Loop{Plan: r.plan, Devices: r.devices, Clock: r.clock, Recorder: r.rec, Observe: r.observe, SyncEvery: time.Second, Start: start,
		Operator: func() rig.Operator {
			return rig.Operator{Failed: r.watch.live.Failed(), Ready: ready(), Note: r.remark()}
		}}
	if on := r.w.console; on != nil {
		loop.Observe = func(now rig.Instant, s *rig.State, out *rig.Output, readings []sensors.Reading) {
			r.observe(now, s, out, readings)
			on.Step(now, s, out, readings)
		}
		loop.Operator = func() rig.Operator {
			op := on.Operator()
			op.Failed, op.Ready = r.watch.live.Failed(), op.Ready || ready()
			if op.Note == "" {
				op.Note = r.remark()
			}
			return op
		}
	}
	if r.simulated && r.fast {
		loop.SyncEvery = 5 * time.Second // nothing that a power cut could not make again
	}
	gone := func() {}
	if r.w.screen {
		quiet := *r.w
		quiet.errs, quiet.errTTY = io.Discard, false
		r.watch.w = &quiet
		gone = screen.Show(r.w.console, r.w.in, r.w.errs)
	}
	err := loop.Run(r.w.ctx)
	gone()
	r.watch.close()
	stopped := loop.State().Stopped
	if herr := r.held.end(stopped, folder, r.gas); herr != nil {
		err = errors.Join(err, herr)
	}
	if trips(stopped) && r.held != nil {
		fmt.Fprintf(r.w.errs, "bench %s is locked out: proofpot acknowledge BENCH.TOML\n", r.held.bench)
	}
	if stopped != rig.NotStopped {
		fmt.Fprintf(r.w.errs, "%s\n", stopped)
	}
	return stopped, err
}

// remark gives the next remark for the record, or nothing.
func (r *running) remark() string {
	if note := r.watch.answers.typing.note(); note != "" {
		return note
	}
	return r.filled()
}

// filledPa gauge: a fill says something of the free gas from one bar on.
const filledPa = 1e5

// filled compares a fill by valve with the last one of the bench, once it has
// reached its first stage beyond a bar, and gives the remark for the record:
// how much free gas it shows, and a warning where that is another.
func (r *running) filled() string {
	p := r.watch
	if r.held == nil || p.filling == nil || p.plan.Legs[p.leg].TargetPa < r.plan.RoomPa+filledPa {
		return ""
	}
	if r.plan.Hand {
		return r.pumped()
	}
	if p.phase != rig.Settle {
		return ""
	}
	fill, ok := p.filling.Fill()
	p.filling = nil
	if !ok {
		return ""
	}
	now := fill.SecondsPerBar()
	text := fmt.Sprintf("free gas by this fill: %.3g s/bar of open fill valve", now)
	if last := r.held.state.FreeGas; last != nil && last.SPerBar > 0 {
		text += fmt.Sprintf(", %.2f of what the last showed", now/last.SPerBar)
		if differs := characterise.Differs(now, 0, last.SPerBar, 0, "s/bar of open fill valve"); differs != "" {
			text = differs
		}
	}
	r.gas = &benchstate.FreeGas{At: time.Now().UTC().Truncate(time.Second), SPerBar: now} // kept at the end: the loop waits for no disk
	return text
}

// pumped is filled for a hand pump: its strokes are asked for at the first rest
// beyond a bar, and compared when they were typed.
func (r *running) pumped() string {
	p := r.watch
	fill, ok := p.filling.Fill()
	switch {
	case p.phase != rig.Settle && p.phase != rig.Hold:
		if r.asked {
			p.filling = nil
			return "free gas: not shown by this fill, no strokes were typed"
		}
		return ""
	case !ok && !r.asked:
		r.asked = true
		return "the free gas shows in the strokes: note how many full ones you have made since the vent was shut, \"strokes 14.5\" say"
	case !ok:
		return ""
	}
	p.filling = nil
	now, sd := fill.GasStrokes()
	text := fmt.Sprintf("free gas by this fill: worth %.1f ± %.1f strokes of the pump", now, 2*sd)
	if last := r.held.state.FreeGas; last != nil && last.Strokes > 0 {
		text += fmt.Sprintf(", %.2f of what the last showed", now/last.Strokes)
		if differs := characterise.Differs(now, sd, last.Strokes, sd, "strokes"); differs != "" {
			text = differs
		}
	}
	r.gas = &benchstate.FreeGas{At: time.Now().UTC().Truncate(time.Second), Strokes: now}
	return text
}

// paperwork is what a verdict is printed and signed with.
type paperwork struct {
	house
	keyFlag
}

// papers is the paperwork, read.
type papers struct {
	opts     certificate.Options
	key      *signing.Key
	register string // folder of the register that the test is entered in, or empty
}

func (p *paperwork) prepare() (papers, error) {
	opts, err := p.options()
	if err != nil {
		return papers{}, err
	}
	key, err := p.load()
	return papers{opts: opts, key: key}, err
}

// derive analyses a run that has ended, with err, and writes and signs what comes
// of it.
func (p papers) derive(w *world, folder string, err error) (*analysis.Result, error) {
	res, run, aerr := analyse(folder)
	if aerr != nil {
		return nil, coded{exitBench, errors.Join(err, aerr)}
	}
	if werr := writeVerdict(folder, res); werr != nil {
		return nil, coded{exitBench, werr}
	}
	if werr := writeCertificate(folder, run, res, p.opts); werr != nil {
		return nil, coded{exitBench, werr}
	}
	if serr := signRecord(folder, p.key); serr != nil {
		return nil, coded{exitBench, serr}
	}
	if rerr := p.enter(w, folder, run, res); rerr != nil {
		return nil, coded{exitBench, rerr}
	}
	w.tell.end(folder, res)
	return res, nil
}

// enter puts the test into the register, where one was named.
func (p papers) enter(w *world, folder string, run setup.Run, res *analysis.Result) error {
	if p.register == "" {
		return nil
	}
	sum, err := record.Fingerprint(folder)
	if err != nil {
		return err
	}
	quiet := *w
	quiet.out = io.Discard // the last line that a run prints is its record's folder
	if err := (registered{p.register}).add(&quiet, register.TestOf(run, res, sum)); err != nil {
		return fmt.Errorf("the test is whole in %s, but the register has no entry of it: %w; proofpot unit tests %s enters it", folder, err, folder)
	}
	return nil
}

// conclude derives what comes of a run that has ended, with err, and prints it.
func (p papers) conclude(w *world, folder string, stopped rig.Stop, err error) error {
	res, derr := p.derive(w, folder, err)
	if derr != nil {
		return derr
	}
	report(w.out, res)
	fmt.Fprintf(w.out, "certificate: %s\n%s\n", filepath.Join(folder, certificateFile), folder)
	switch {
	case stopped == rig.ByOperator:
		return answer(exitStopped)
	case err != nil && res.Verdict.Verdict != analysis.Fail:
		return coded{exitBench, err}
	case res.Verdict.Verdict != analysis.Pass:
		return answer(exitNo)
	}
	return nil
}
