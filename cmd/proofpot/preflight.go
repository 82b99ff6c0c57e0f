package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"proofpot/rig"
	"proofpot/rig/benchstate"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/sensors"
)

type preflightCmd struct {
	setting
	stateFlag
	Records     string        `help:"Folder for records, whose disk must have room." default:"records"`
	Acknowledge bool          `help:"The cautions have been read (a script's answer to the question)."`
	Wait        time.Duration `help:"How long to wait for the lid switch and the emergency stop to be operated." default:"2m"`
	JSON        bool          `help:"Print the list as JSON."`
}

// Help is shown by proofpot preflight --help.
func (preflightCmd) Help() string {
	return `Goes through what must be so before anything moves, and prints the list. proofpot run does the same before each run on a
real bench. The lid switch and the emergency stop must be seen to work: operate each once when asked; that counts for
twelve hours. The vent is shown to open with a puff of 0.1 bar at the end.

Example: proofpot preflight --bench bench.toml --unit unit.toml proof-30m-sea`
}

// Run goes through the list. Something that is not so is the answer no.
func (c *preflightCmd) Run(w *world) error {
	sheet, err := c.sheet()
	if err != nil {
		return err
	}
	f := flight{w: w, run: sheet, records: c.Records, wait: c.Wait, quiet: c.JSON}
	if c.Bench != "" {
		held, err := c.take(sheet.Bench.ID, "preflight")
		var busy *benchstate.HeldError
		switch {
		case errors.As(err, &busy):
			f.before.HeldBy = busy.Error()
		case err != nil:
			return err
		default:
			defer held.release()
			f.held = held
		}
		if f.before.Acknowledged = c.Acknowledge; !c.Acknowledge {
			fmt.Fprint(w.errs, cautions(sheet))
			f.before.Acknowledged = w.inTTY && confirmed(w, "Type yes when all of this is so: ")
		}
	}
	opener := runCmd{setting: c.setting, simFlags: simFlags{Seed: 1}}
	ferr := f.look(func() (rig.Devices, rig.Clock, error) { return opener.devices(sheet) })
	if f.devices != nil {
		ferr = errors.Join(ferr, f.devices.Close())
	}
	if err := f.print(c.JSON); err != nil {
		return err
	}
	if ferr != nil {
		return coded{exitBench, ferr}
	}
	if !rig.Clear(f.checks()) {
		return answer(exitNo)
	}
	return nil
}

// flight goes through the checks before a run on one bench.
type flight struct {
	w       *world
	run     setup.Run
	held    *control // nil: simulated, or somebody else's
	records string
	wait    time.Duration
	quiet   bool
	show    func([]rig.Check) // sees the list as it is gone through; may be nil

	before   rig.Before
	unopened error // why the bench could not be opened
	devices  rig.Devices
	clock    rig.Clock
}

func (f *flight) checks() []rig.Check { return rig.Preflight(&f.before) }

// look looks at everything that can be looked at without the bench, and then, if
// nothing has failed so far, at the bench: sensors, switches, vent. The error is
// that of the operator's stop.
func (f *flight) look(open func() (rig.Devices, rig.Clock, error)) error {
	b := &f.before
	b.Run, b.Simulated = supposed(f.run), f.run.Bench.Sensors[0].Driver == simbench.Driver
	b.Plan, b.Err = rig.NewPlan(b.Run)
	b.Now, b.Built = time.Now(), built()
	if f.held != nil {
		b.Held, b.LastRecord = true, f.held.state.LastRecord
		if err := f.held.free(); err != nil {
			b.LockedOut = err.Error()
		}
	}
	var err error
	if b.FreeBytes, err = freeBytes(f.records); err == nil {
		b.FreeKnown = true
	}
	b.Switches = rig.Switches(f.run.Bench)
	if failed(f.checks()) || !b.Acknowledged && !b.Simulated {
		return nil
	}
	if f.devices, f.clock, err = open(); err != nil {
		b.SurveyEr, f.unopened = err, err
		return nil //nolint:nilerr // is in the list
	}
	return f.atBench()
}

// atBench reads the bench, waits for its switches and proves its vent.
func (f *flight) atBench() error {
	b := &f.before
	if f.run.Bench.HandOperated && !b.Simulated {
		f.say("Open the vent and leave it open: the sensors are read first.")
	}
	surveyed, err := rig.Survey(f.w.ctx, f.devices, f.clock, rig.DefaultPeriod, f.run.Bench)
	if f.w.ctx.Err() != nil {
		return f.w.ctx.Err()
	}
	if err != nil {
		b.SurveyEr = err
		return nil //nolint:nilerr // is in the list
	}
	b.Surveyed = &surveyed
	b.Run.Bench.RoomPa = surveyed.RoomPa
	if f.run.Unit.SealedPa == 0 {
		b.Run.Unit.SealedPa = surveyed.RoomPa
	}
	if b.Plan, b.Err = rig.NewPlan(b.Run); b.Err != nil {
		return nil //nolint:nilerr // is in the list
	}
	if err := f.operate(); err != nil {
		return err
	}
	if !onlyWaits(f.checks(), "watchdog", "vent") || f.run.Bench.HandOperated {
		return nil
	}
	if !b.Simulated && f.run.Bench.Backstop() == setup.ByRelay {
		f.say("The watchdog relay is tried: the heartbeat stops for some seconds.")
		b.BackstopHow, b.BackstopErr = rig.ProveBackstop(f.w.ctx, f.devices, f.clock, b.Plan, f.run.Bench.OnPowerLoss)
		if err := f.w.ctx.Err(); err != nil || b.BackstopErr != nil {
			return err
		}
	}
	b.VentHow, b.VentErr = rig.ProveVent(f.w.ctx, f.devices, f.clock, b.Plan)
	return f.w.ctx.Err()
}

// operate asks for each switch that was not operated of late, and waits until
// the bench has seen it. What was seen is remembered with the bench.
func (f *flight) operate() error {
	b := &f.before
	for i := range b.Switches {
		p := &b.Switches[i]
		if f.held != nil {
			p.Operated = f.held.state.Operated[p.Quantity.String()]
		}
		for _, r := range b.Surveyed.Readings {
			p.See(&r, b.Now)
		}
	}
	asked := ""
	var readings []sensors.Reading
	for start := f.clock.Now().Mono; f.clock.Now().Mono-start < f.wait; {
		want := f.wanted()
		if want == "" {
			break
		}
		if want != asked {
			asked = want
			f.say(want)
		}
		f.clock.WaitUntil(f.w.ctx, f.clock.Now().Mono+rig.DefaultPeriod/5)
		if f.w.ctx.Err() != nil {
			return f.w.ctx.Err()
		}
		readings = f.devices.Read(f.clock.Now(), readings[:0])
		b.Now = time.Now()
		for i := range readings {
			for j := range b.Switches {
				b.Switches[j].See(&readings[i], b.Now)
			}
		}
	}
	if f.held == nil || len(b.Switches) == 0 {
		return nil
	}
	return f.held.update(func(s *benchstate.State) {
		if s.Operated == nil {
			s.Operated = map[string]time.Time{}
		}
		for i := range b.Switches {
			if p := &b.Switches[i]; !p.Operated.IsZero() {
				s.Operated[p.Quantity.String()] = p.Operated.UTC().Truncate(time.Second)
			}
		}
	})
}

// wanted says what is to be done to the switches now; empty: nothing.
func (f *flight) wanted() string {
	for _, c := range f.checks() {
		if (c.ID == "lid" || c.ID == "stop") && (c.State == rig.Waiting || c.State == rig.Failed) {
			if c.ID == "lid" {
				return ">>> Open the lid and shut it again: its switch must be seen to work"
			}
			return ">>> Press the emergency stop and release it: it must be seen to work"
		}
	}
	return ""
}

func (f *flight) say(text string) {
	if f.show != nil {
		f.show(f.checks())
	}
	if !f.quiet {
		fmt.Fprintln(f.w.errs, text)
	}
}

// print shows the list.
func (f *flight) print(asJSON bool) error {
	if asJSON {
		data, err := json.MarshalIndent(f.checks(), "", "  ")
		if err == nil {
			_, err = fmt.Fprintln(f.w.out, string(data))
		}
		return err
	}
	_, err := f.w.out.Write([]byte(list(f.checks())))
	return err
}

// list is the checks as text, one a line.
func list(checks []rig.Check) string {
	marks := map[rig.CheckState]string{rig.Ticked: "ok", rig.Failed: "NO", rig.Waiting: "..", rig.NotApplicable: "--"}
	var t strings.Builder
	for _, c := range checks {
		fmt.Fprintf(&t, "%s  %s", marks[c.State], c.Text)
		if c.Why != "" {
			fmt.Fprintf(&t, ": %s", c.Why)
		}
		t.WriteByte('\n')
	}
	return t.String()
}

func failed(checks []rig.Check) bool {
	for _, c := range checks {
		if c.State == rig.Failed {
			return true
		}
	}
	return false
}

// onlyWaits says whether everything is ticked but one that waits.
func onlyWaits(checks []rig.Check, ids ...string) bool {
	for _, c := range checks {
		if c.State == rig.Failed || c.State == rig.Waiting && !slices.Contains(ids, c.ID) {
			return false
		}
	}
	return true
}

// built is when this program's source was committed; zero where it does not say.
func built() time.Time {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return time.Time{}
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.time" {
			t, _ := time.Parse(time.RFC3339, s.Value)
			return t
		}
	}
	return time.Time{}
}
