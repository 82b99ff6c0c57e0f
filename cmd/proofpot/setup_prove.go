package main

import (
	"bufio"
	"errors"
	"fmt"
	"math"
	"os"
	"regexp"
	"time"

	"proofpot/analysis/characterise"
	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/rig/wiring"
	"proofpot/sensors"
)

// proveProfile is what the bench is looked at with: small and short.
const proveProfile = "proof-10m-fresh"

// prove goes through what shows that the bench is what its file says.
func (c *setupCmd) prove(w *world, bench setup.Bench) error {
	fmt.Fprintln(w.out, "\n1. The reading at open vent")
	if !c.wanted(w, "Open the vent, see that the gauge shows nothing. Read the sensors now?") {
		fmt.Fprintln(w.out, "later: proofpot sensors --bench "+c.Bench)
		return nil
	}
	if err := c.read(w, bench); err != nil {
		return err
	}
	fmt.Fprintln(w.out, "\n2. Lid, emergency stop, vent, and what else must be so")
	sheet, err := c.emptySheet()
	if err != nil {
		return err
	}
	fmt.Fprint(w.errs, cautions(sheet))
	if !c.Acknowledge && !(w.inTTY && confirmed(w, "Type yes when all of this is so: ")) {
		fmt.Fprintf(w.out, "the cautions are not acknowledged, and nothing is pressurised: read them and go on with proofpot setup --bench %s\n", c.Bench)
		return answer(exitNo)
	}
	if err := c.look(w, sheet); err != nil {
		return err
	}
	measured, err := setup.LoadMeasured(c.Bench)
	if err != nil {
		return err
	}
	if err := c.blank(w, sheet, len(measured.Blanks) > 0); err != nil {
		return err
	}
	if err := c.stiffness(w, bench, measured.Stiffness != nil); err != nil {
		return err
	}
	return c.detects(w)
}

// wanted asks whether a step is to be done now.
func (c *setupCmd) wanted(w *world, question string) bool {
	if c.Answers != "" {
		return true
	}
	fmt.Fprint(w.errs, question+" [yes] ")
	lines := bufio.NewScanner(w.in)
	return lines.Scan() && (lines.Text() == "" || lines.Text() == "yes" || lines.Text() == "y")
}

// later asks whether a step that takes hours is to be done now; the usual answer
// is no, and a script's too.
func (c *setupCmd) later(w *world, question string) bool {
	if c.Answers != "" {
		return true
	}
	fmt.Fprint(w.errs, question+" [no] ")
	lines := bufio.NewScanner(w.in)
	return !(lines.Scan() && (lines.Text() == "yes" || lines.Text() == "y"))
}

// read reads the sensors with nothing in the chamber but the room's pressure,
// and writes the noise into the bench file.
func (c *setupCmd) read(w *world, bench setup.Bench) error {
	clock := rig.NewRealClock()
	read, err := wiring.OpenSensors(bench, clock, nil)
	if err != nil {
		return coded{exitBench, fmt.Errorf("%w; proofpot sensors lists what there is, and %s says what is read", err, c.Bench)}
	}
	reader := sensorsCmd{Bench: c.Bench, Once: true, For: c.Read}
	err = reader.watch(w, clock, read)
	looks := read.Looks()
	if err = errors.Join(err, read.Close()); err != nil {
		var no answer
		if errors.As(err, &no) {
			fmt.Fprintf(w.out, "a sensor does not do what %s says: mend that, then go on with proofpot setup --bench %s\n", c.Bench, c.Bench)
		}
		return err
	}
	if w.ctx.Err() != nil {
		return answer(exitStopped)
	}
	roomPa := bench.RoomPa
	for _, l := range looks {
		if l.Quantity == sensors.RoomPressure {
			roomPa = l.Last.Value
		}
	}
	if roomPa == 0 {
		roomPa = 101325
	}
	for _, l := range looks {
		if l.Quantity != sensors.ChamberPressure {
			continue
		}
		if off := l.Last.Value - roomPa; math.Abs(off) > 8e3 {
			return coded{exitNo, fmt.Errorf("at open vent the chamber reads %.0f Pa absolute, %.0f Pa from the room's: is its reference (gauge, absolute) right, and is the vent open? Change %s and go on with proofpot setup", l.Last.Value, off, c.Bench)}
		}
		if math.IsNaN(l.Noise) || l.Noise <= 0 {
			fmt.Fprintln(w.out, "the noise was not seen: it takes 20 s of reading")
			continue
		}
		if err := c.keepNoise(l.Noise); err != nil {
			return err
		}
		fmt.Fprintf(w.out, "noise %.3g Pa, written into %s\n", l.Noise, c.Bench)
	}
	return nil
}

var noiseLine = regexp.MustCompile(`(?m)^noise_pa = .*# .*(a guess|measured at open vent).*$`)

// keepNoise writes the measured noise where setup has written a guess; a figure
// that somebody has written stays.
func (c *setupCmd) keepNoise(pa float64) error {
	data, err := os.ReadFile(c.Bench)
	if err != nil {
		return err
	}
	line := fmt.Sprintf("%-36s # %s", fmt.Sprintf("noise_pa = %.4g", pa), "standard deviation of a reading, measured at open vent")
	changed := noiseLine.ReplaceAll(data, []byte(line))
	if _, err := setup.ParseBench(c.Bench, changed); err != nil {
		return err
	}
	if err := record.WriteWhole(c.Bench, changed, 0o666); err != nil {
		return coded{exitBench, err}
	}
	return nil
}

// emptySheet is the bench with no unit in it.
func (c *setupCmd) emptySheet() (setup.Run, error) {
	sheet := setup.Run{Format: setup.RunFormat, Unit: setup.Unit{ID: "blank"}}
	var err error
	if sheet.Profile, err = profiles.Load(proveProfile); err != nil {
		return sheet, err
	}
	if sheet.Bench, err = setup.LoadBench(c.Bench); err != nil {
		return sheet, err
	}
	sheet.Bench = characterise.WithoutUnit(sheet.Bench)
	return sheet, rig.Resolve(&sheet)
}

// look goes through the list of what must be so before a run.
func (c *setupCmd) look(w *world, sheet setup.Run) error {
	held, err := c.take(sheet.Bench.ID, "setup")
	if err != nil {
		return err
	}
	defer held.release()
	f := flight{w: w, run: sheet, records: c.Records, wait: c.Wait, held: held}
	f.before.Acknowledged = true
	opener := runCmd{setting: setting{Bench: c.Bench}, simFlags: simFlags{Seed: 1}}
	ferr := f.look(func() (rig.Devices, rig.Clock, error) { return opener.devices(sheet) })
	if f.devices != nil {
		ferr = errors.Join(ferr, f.devices.Close())
	}
	if err := f.print(false); err != nil {
		return err
	}
	if ferr != nil {
		return stoppedOr(w, coded{exitBench, ferr})
	}
	if !rig.Clear(f.checks()) {
		fmt.Fprintf(w.out, "not all is as it must be: mend that, then go on with proofpot setup --bench %s\n", c.Bench)
		return answer(exitNo)
	}
	return nil
}

func (c *setupCmd) blank(w *world, sheet setup.Run, done bool) error {
	fmt.Fprintln(w.out, "\n3. The blank: what the bench itself leaks")
	next := "proofpot blank --bench " + c.Bench
	var err error
	if sheet.Profile, err = profiles.Load(c.Blank); err != nil {
		return err
	}
	foreseen, err := rig.Foresee(supposed(sheet))
	if err != nil {
		return err
	}
	switch {
	case done:
		fmt.Fprintln(w.out, "was run before; again: "+next)
		return nil
	case c.later(w, fmt.Sprintf("It takes %s with no unit in the chamber. Run it now?", foreseen.Total.Round(time.Minute))):
		fmt.Fprintln(w.out, "later: "+next)
		return nil
	}
	run := blankCmd{blankRun{Profile: c.Blank, Bench: c.Bench, stateFlag: c.stateFlag, Records: c.Records, Acknowledge: true, Wait: c.Wait}}
	// The run listens to what is typed as long as it lasts, and not to the answers after it.
	in := *w
	if typed, is := w.in.(*typedLines); is {
		over := make(chan struct{})
		defer close(over)
		in.in = typed.until(over)
	}
	return run.Run(&in)
}

func (c *setupCmd) stiffness(w *world, bench setup.Bench, done bool) error {
	fmt.Fprintln(w.out, "\n4. The stiffness: how much chamber and water give way, and the free gas")
	next := "proofpot stiffness --cup --bench " + c.Bench
	switch {
	case bench.Medium != setup.MediumWater:
		fmt.Fprintln(w.out, "a chamber of gas alone gives way by its volume: nothing to measure")
		return nil
	case done:
		fmt.Fprintln(w.out, "was measured before; again: "+next)
		return nil
	case !bench.HandOperated || c.later(w, "It takes a quarter of an hour, a cup and a balance. Measure it now?"):
		fmt.Fprintln(w.out, "later: "+next)
		return nil
	}
	run := stiffnessCmd{Bench: c.Bench, Cup: true, WaterC: 15, stateFlag: c.stateFlag, Acknowledge: true}
	return run.Run(w)
}

// detects says what leak the bench can tell from none, as it is known now.
func (c *setupCmd) detects(w *world) error {
	fmt.Fprintln(w.out, "\n5. What this bench can detect")
	sheet, err := c.emptySheet()
	if err != nil {
		return err
	}
	if sheet.Bench, err = setup.LoadBench(c.Bench); err != nil {
		return err
	}
	measured, err := setup.LoadMeasured(c.Bench)
	if err != nil {
		return err
	}
	for _, text := range measured.Apply(&sheet.Bench, time.Now(), math.NaN()) {
		fmt.Fprintln(w.out, text)
	}
	sheet.Unit = simbench.BuiltInUnit()
	foreseen, err := rig.Foresee(supposed(sheet))
	if err != nil {
		return err
	}
	fmt.Fprintf(w.out, "with a unit of %.0f ml of air, on %s:\n", sheet.Unit.FreeVolumeML, sheet.Profile.Name)
	for _, p := range foreseen.Proofs {
		fmt.Fprintf(w.out, "  a hold of %s at %.3g m tells %.2g ml/h from none\n", p.Leg.Hold, p.Leg.DepthM, p.DetectMLPerH)
		if !p.Enough {
			fmt.Fprintf(w.out, "    %s\n", p.Why())
		}
	}
	for _, f := range foreseen.Findings {
		fmt.Fprintf(w.out, "  %s: %s\n", f.Weight, f.Text)
	}
	fmt.Fprintf(w.out, "next: describe the unit in unit.toml, then proofpot run --bench %s --unit unit.toml %s\n", c.Bench, proveProfile)
	return nil
}
