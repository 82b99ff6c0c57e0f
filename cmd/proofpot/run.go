package main

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"

	"proofpot/cmd/proofpot/page"
	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/rig/wiring"
	"proofpot/sensors"
)

// setting is the profile, bench and unit of a run.
type setting struct {
	Profile string `arg:"" help:"A built-in profile (proofpot profiles lists them) or a profile file."`
	Bench   string `help:"File that describes the bench; without it, the simulated bench." placeholder:"BENCH.TOML"`
	Unit    string `help:"File that describes the unit; without it, the simulated bench's." placeholder:"UNIT.TOML"`
	ByHand  bool   `help:"Simulated bench: with a hand pump and a simulated operator instead of valves."`

	measured  setup.Measured // of a real bench
	asWritten setup.Bench    // without it
	warnings  []string       // what of it is not used
	notices   []setup.Notice // of the bench file
}

// warm looks at what was measured of the bench again, now that the water's
// temperature is known, NaN for not known, and gives what is not used of it.
func (c *setting) warm(b *setup.Bench, waterC float64) []string {
	if c.Bench == "" {
		return nil
	}
	b.BlankLeakMLPerHPerBar, b.BlankLeakSDMLPerHPerBar = c.asWritten.BlankLeakMLPerHPerBar, c.asWritten.BlankLeakSDMLPerHPerBar
	as := c.asWritten // its settings are those of the file, whatever the barometer says
	warnings := c.measured.Apply(&as, time.Now(), waterC)
	b.BlankLeakMLPerHPerBar, b.BlankLeakSDMLPerHPerBar = as.BlankLeakMLPerHPerBar, as.BlankLeakSDMLPerHPerBar
	b.Measured = as.Measured
	return warnings
}

// waterOf is the mean temperature of the chamber's water in some readings; NaN
// where nothing shows it.
func waterOf(rs []sensors.Reading) float64 {
	sum, n := 0.0, 0.0
	for i := range rs {
		if rs[i].Status == sensors.OK && rs[i].Quantity == sensors.ChamberWater {
			sum += rs[i].Value
			n++
		}
	}
	return sum / n
}

type runCmd struct {
	setting
	stateFlag
	simFlags
	paperwork
	Records            string        `help:"Folder for records." default:"records"`
	Acknowledge        bool          `help:"The cautions have been read (a script's answer to the question)."`
	Wait               time.Duration `help:"How long to wait before a run for the lid switch and the emergency stop to be operated." default:"2m"`
	AcceptInconclusive bool          `help:"Run though the plan says that this bench cannot prove the claim."`
	GoOnWet            bool          `help:"Go on when a wet probe is wet: to see whether a leak seals under more pressure. Never with cells in the unit."`
	Pace               float64       `help:"Simulated bench: simulated seconds a second; 0 is as fast as it goes." default:"0"`
	Begin              string        `help:"Simulated bench: when it begins, 2026-03-14T08:15:00Z; without it, now." placeholder:"TIME"`
	Plain              bool          `help:"Lines of text instead of the live view, for a log or a reader of screens."`
	Register           string        `help:"Enter the test in the register of this folder when the run ends." placeholder:"DIR"`
}

// Run runs a test to its verdict.
func (c *runCmd) Run(w *world) error {
	defer sparing()()
	papers, err := c.paperwork.prepare() // before anything moves
	if err != nil {
		return err
	}
	papers.register = c.Register
	sheet, err := c.sheet()
	if err != nil {
		return err
	}
	if err := c.plannable(w, sheet); err != nil {
		return err
	}
	w.tell = newTeller(w, c.notices, sheet)
	if w.inTTY && w.errTTY && !c.Plain && (c.Bench != "" || c.Pace > 0) {
		w.console, w.screen = page.NewConsole(), true
	}
	folder, stopped, err := c.perform(w, sheet, "run")
	if folder == "" {
		return err
	}
	return papers.conclude(w, folder, stopped, err)
}

// perform takes the bench, looks at it and runs the profile. It returns the
// record's folder once there is one.
func (c *runCmd) perform(w *world, sheet setup.Run, verb string) (string, rig.Stop, error) {
	var held *control
	if c.Bench != "" {
		var err error
		if held, err = c.take(sheet.Bench.ID, verb); err != nil {
			return "", 0, err
		}
		defer held.release()
		if err := held.free(); err != nil {
			return "", 0, err
		}
	}
	bench, err := c.ready(w, sheet, held)
	if err != nil {
		return "", 0, err
	}
	return c.drive(w, sheet, bench, held)
}

// sheet gathers profile, bench and unit. Nothing has been opened yet. Pressures
// of the room and in the unit that are not known yet are left 0.
func (c *setting) sheet() (setup.Run, error) {
	run := setup.Run{Format: setup.RunFormat}
	var err error
	if run.Profile, err = profiles.Load(c.Profile); err != nil {
		return run, err
	}
	switch {
	case c.Bench != "" && c.ByHand:
		return run, fmt.Errorf("--by-hand is for the simulated bench; a bench file says hand_operated = true")
	case c.Bench != "" && c.Unit == "":
		return run, fmt.Errorf("--bench %s needs --unit UNIT.TOML: on a real bench the unit is yours to describe", c.Bench)
	case c.Bench != "":
		if run.Bench, err = setup.LoadBench(c.Bench); err != nil {
			return run, err
		}
		if c.measured, err = setup.LoadMeasured(c.Bench); err != nil {
			return run, err
		}
		c.notices, run.Bench.Notices = run.Bench.Notices, nil // no business of the record's
		c.asWritten = run.Bench
		c.warnings = c.measured.Apply(&run.Bench, time.Now(), math.NaN())
	case c.ByHand:
		run.Bench = simbench.BuiltInHandBench()
	default:
		run.Bench = simbench.BuiltInBench()
	}
	if c.Unit == "" {
		run.Unit = simbench.BuiltInUnit()
	} else if run.Unit, err = setup.LoadUnit(c.Unit); err != nil {
		return run, err
	}
	if !record.SafeUnitID(run.Unit.ID) {
		return run, fmt.Errorf("unit id %q cannot name a record: letters, digits, - _ and . are allowed", run.Unit.ID)
	}
	return run, rig.Resolve(&run)
}

// plannable checks the profile against the bench before anything is opened,
// with the standard atmosphere where the room's pressure is not known yet.
func (c *runCmd) plannable(w *world, run setup.Run) error {
	if c.Bench != "" && (c.Pace != 0 || c.Begin != "" || len(c.UnitFault) > 0 || len(c.BenchFault) > 0) {
		return fmt.Errorf("--pace, --begin, --unit-fault and --bench-fault are for the simulated bench; leave out --bench %s, or leave out these", c.Bench)
	}
	run = supposed(run)
	if _, err := rig.NewPlan(run); err != nil {
		return err
	}
	foreseen, err := rig.Foresee(run)
	if err != nil || foreseen.CanProve() {
		return err
	}
	for _, p := range foreseen.Proofs {
		if !p.Enough {
			fmt.Fprintf(w.errs, "stage %d (%s) %s\n", p.Leg.Stage, p.Leg.Name, p.Why())
		}
	}
	if c.AcceptInconclusive {
		return nil
	}
	if w.inTTY && confirmed(w, "This bench cannot prove the claim. Type yes to run all the same: ") {
		return nil
	}
	return coded{exitUsage, errors.New("this bench cannot prove the claim: change what is said above, or give --accept-inconclusive")}
}

// supposed fills in the room's pressure where it is not known yet.
func supposed(run setup.Run) setup.Run {
	const standardPa = 101325
	if run.Bench.RoomPa == 0 {
		run.Bench.RoomPa = standardPa
	}
	if run.Unit.SealedPa == 0 {
		run.Unit.SealedPa = run.Bench.RoomPa
	}
	return run
}

// confirmed asks a person, who must type yes.
func confirmed(w *world, question string) bool {
	fmt.Fprint(w.errs, question)
	var said string
	_, err := fmt.Fscanln(w.in, &said)
	return err == nil && strings.EqualFold(said, "yes")
}

// devices opens the bench: real hardware, or the simulated one.
func (c *runCmd) devices(run setup.Run) (rig.Devices, rig.Clock, error) {
	if c.Bench != "" {
		clock := rig.NewRealClock()
		d, err := wiring.Open(run.Bench, clock)
		if err != nil {
			return nil, nil, coded{exitUsage, err}
		}
		return d, clock, nil
	}
	start, err := moment(c.Begin)
	if err != nil {
		return nil, nil, err
	}
	d, err := c.simulated(run, start)
	return d, rig.NewSimClock(start, c.Pace), err
}

// looked is a bench that was opened and looked at.
type looked struct {
	rig.Devices
	clock    rig.Clock
	surveyed rig.Surveyed
	checks   string // the list before the run
}

// ready opens the bench and looks at it before anything moves: a simulated one
// is read, a real one goes through the whole list, which the record is to hold.
func (c *runCmd) ready(w *world, run setup.Run, held *control) (looked, error) {
	if c.Bench == "" {
		for taken(c.Records, run.Unit.ID) && w.ctx.Err() == nil {
			time.Sleep(50 * time.Millisecond)
		}
		d, clock, err := c.devices(run)
		if err != nil {
			return looked{}, err
		}
		surveyed, err := rig.Survey(w.ctx, d, clock, rig.DefaultPeriod, run.Bench)
		if err != nil {
			err = errors.Join(coded{exitBench, err}, d.Close())
		}
		return looked{d, clock, surveyed, ""}, stoppedOr(w, err)
	}
	if err := acknowledge(w, run, c.Acknowledge); err != nil {
		return looked{}, err
	}
	f := flight{w: w, run: run, held: held, records: c.Records, wait: c.Wait}
	if w.console != nil {
		f.show = w.console.Checks
	}
	f.before.Acknowledged = true
	err := f.look(func() (rig.Devices, rig.Clock, error) { return c.devices(run) })
	checks := f.checks()
	if f.unopened != nil {
		return looked{}, f.unopened
	}
	if err == nil && !rig.Clear(checks) {
		for _, check := range checks {
			if check.State == rig.Failed || check.State == rig.Waiting {
				fmt.Fprintf(w.errs, "%s: %s: %s\n", check.State, check.Text, check.Why)
			}
		}
		err = coded{exitBench, errors.New("not all is as it must be before a run; nothing was pressurised")}
	}
	if err != nil {
		if f.devices != nil {
			err = errors.Join(err, f.devices.Close())
		}
		return looked{}, stoppedOr(w, err)
	}
	return looked{f.devices, f.clock, *f.before.Surveyed, list(checks)}, nil
}

// taken tells whether a record of the unit was begun in this very second: a
// simulated run may be over by then.
func taken(records, unitID string) bool {
	_, err := os.Stat(filepath.Join(records, record.FolderName(time.Now(), unitID)))
	return err == nil
}

// stoppedOr is the exit code of an operator who stopped, or the error.
func stoppedOr(w *world, err error) error {
	if err != nil && w.ctx.Err() != nil {
		return answer(exitStopped)
	}
	return err
}

// drive starts the record and runs the loop. It returns the record's folder once
// there is one.
func (c *runCmd) drive(w *world, run setup.Run, bench looked, held *control) (string, rig.Stop, error) {
	devices, clock, surveyed := bench.Devices, bench.clock, bench.surveyed
	run.Bench.RoomPa = surveyed.RoomPa
	warnings := c.warm(&run.Bench, waterOf(surveyed.Readings))
	if run.Unit.SealedPa == 0 {
		run.Unit.SealedPa = surveyed.RoomPa
	}
	plan, err := rig.NewPlan(run)
	if err != nil {
		devices.Close()
		return "", 0, err
	}
	watch, err := newProgress(w, plan, run, c.Bench == "" && c.Pace == 0)
	if err != nil {
		devices.Close()
		return "", 0, err
	}
	plan.StopOnWet = !c.GoOnWet
	start := clock.Now().Wall.Add(-clock.Now().Mono)
	folder, file, err := record.Create(c.Records, start, run)
	if err != nil {
		devices.Close()
		return "", 0, err
	}
	if err := held.begin(folder, c.Bench); err != nil {
		devices.Close()
		file.Close()
		return "", 0, coded{exitBench, err}
	}
	w.console.Folder(folder)
	writer := record.NewWriter(file, start)
	writer.OnLine = watch.line
	watch.disk(writer.Unsynced)
	writer.Wait = c.Bench == "" // simulated time can stand still
	writer.Run(0, "start", "proofpot "+version())
	if !plan.Hand {
		writer.Valve(0, "fill", false)
		writer.Valve(0, "vent", true)
	}
	if c.Bench == "" {
		writer.Note(0, c.simNote())
	}
	writer.Readings(surveyed.Readings)
	writer.Readings(devices.Read(clock.Now(), nil)) // what came since; the loop begins behind it
	for line := range strings.Lines(bench.checks) {
		writer.Note(clock.Now().Mono, "before the run: "+strings.TrimSpace(line))
	}
	for _, text := range warnings {
		fmt.Fprintln(w.errs, text)
		writer.Note(clock.Now().Mono, text)
	}
	writer.Note(clock.Now().Mono, surveyed.Note())

	r := running{w: w, plan: plan, devices: devices, clock: clock, rec: writer, watch: watch, held: held, simulated: c.Bench == "", fast: c.Pace == 0}
	stopped, err := r.steer(rig.State{}, folder)
	if cerr := writer.Close(); err == nil && cerr != nil {
		err = cerr
	}
	return folder, stopped, err
}

// acknowledge shows the cautions and asks whether they were read.
func acknowledge(w *world, run setup.Run, given bool) error {
	fmt.Fprint(w.errs, cautions(run))
	if given {
		return nil
	}
	if !w.inTTY {
		return fmt.Errorf("the cautions above must be acknowledged: at a terminal, or with --acknowledge in a script")
	}
	if !confirmed(w, "Type yes when all of this is so: ") {
		return coded{exitStopped, errors.New("not acknowledged; nothing was pressurised")}
	}
	return nil
}
