package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"proofpot/analysis/insidelogger"
	"proofpot/rig/record"
	"proofpot/rig/record/signing"
	"proofpot/rig/record/verify"
	"proofpot/rig/setup"
)

type mergeCmd struct {
	keyFlag
	Record string   `arg:"" help:"Folder of the record." type:"existingdir"`
	Logger string   `arg:"" help:"CSV file of the logger that was inside the unit." type:"existingfile"`
	Name   string   `help:"What the logger is called among the sensors." default:"logger"`
	Event  []string `help:"A moment that you know in both clocks, in place of the run's ramps: the logger's time, =, the record's (or seconds since its start). May be given again." sep:"none" placeholder:"LOGGER=RECORD"`
	Within float64  `help:"How well such a moment is known, in seconds." default:"2"`
}

// Help is shown by proofpot merge --help.
func (mergeCmd) Help() string {
	return `Sets the clock of a logger against the record by what both saw, the ramps and the vent, and writes what it kept into
inside.lp beside readings.lp, which is not touched. proofpot analyse takes it in. The CSV's first line names its columns: ` +
		strings.Join(insidelogger.Headers(), ", ") + `.

Example: proofpot merge records/20260603T230259Z-KP-01 can.csv`
}

// signer gives the key to sign a record with anew: that which has signed it, where
// nothing of it was altered since; or nil.
func (c *mergeCmd) signer() (*signing.Key, error) {
	key, err := c.load()
	if key == nil || err != nil {
		return nil, err
	}
	public, err := signing.LoadPublic(signing.PublicFile(key.File))
	if err != nil {
		return nil, nil //nolint:nilerr // verify says then that the logger's file is not signed
	}
	rep, err := verify.Check(c.Record, []signing.Public{public})
	if err != nil || rep.BadCount > 0 || rep.SignedBy == "" {
		return nil, err
	}
	return key, nil
}

// Run merges.
func (c *mergeCmd) Run(w *world) error {
	if err := setup.CheckSensorName(c.Name); err != nil {
		return fmt.Errorf("--name: %w", err)
	}
	content, err := os.ReadFile(c.Logger)
	if err != nil {
		return err
	}
	rows, err := insidelogger.ReadCSV(c.Logger, bytes.NewReader(content))
	if err != nil {
		return err
	}
	rec, err := record.Open(c.Record)
	if err != nil {
		return err
	}
	defer rec.Close()
	run, err := insidelogger.ReadRun(rec.Next)
	if err != nil {
		return fmt.Errorf("%s: %w", c.Record, err)
	}
	var fit insidelogger.Fit
	if len(c.Event) > 0 {
		fit, err = insidelogger.Known(c.Event, c.Within, float64(run.StartNS)/1e9)
	} else {
		fit, err = insidelogger.Align(insidelogger.Pressures(rows), run.Chamber, run.Events, insidelogger.Relative(rows))
	}
	if errors.Is(err, insidelogger.ErrNoEvent) {
		return coded{exitNo, err}
	}
	if err != nil {
		return err
	}
	text, n := insidelogger.Lines(rows, run, fit, c.Name, filepath.Base(c.Logger), content)
	if n == 0 {
		return coded{exitNo, errors.New("no row of the logger falls within the run and measures what the bench did not")}
	}
	key, err := c.signer()
	if err != nil {
		return err
	}
	if err := record.WriteWhole(filepath.Join(c.Record, record.InsideFile), text, 0o644); err != nil {
		return err
	}
	if err := signRecord(c.Record, key); err != nil {
		return err
	}
	for _, why := range fit.Poor {
		fmt.Fprintln(w.errs, why)
	}
	fmt.Fprintf(w.out, "the logger's clock: %+.2f s ± %.2f s from the record's, %+.1f ± %.1f millionths, by %d common events\n",
		-fit.Offset, 2*fit.OffsetSD, -fit.Drift*1e6, 2*fit.DriftSD*1e6, fit.Events)
	for _, has := range []struct {
		it   bool
		what string
	}{{run.HasPressure, "pressure"}, {run.HasTemperature, "temperature"}, {run.HasHumidity, "humidity"}} {
		if has.it {
			fmt.Fprintf(w.out, "the record has its own %s inside: the logger's is left out\n", has.what)
		}
	}
	from, to := time.Unix(0, run.StartNS).UTC(), time.Unix(0, run.EndNS).UTC()
	fmt.Fprintf(w.out, "%d readings between %s and %s\n%s\n", n, from.Format(time.RFC3339), to.Format(time.RFC3339), filepath.Join(c.Record, record.InsideFile))
	return nil
}
