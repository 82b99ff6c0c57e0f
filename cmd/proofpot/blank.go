package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/characterise"
	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
)

// blankRun is a run without a unit, or the record of one.
type blankRun struct {
	Profile string `help:"A blank profile." default:"blank-30m-sea"`
	Bench   string `help:"File that describes the bench; without it, the simulated bench." placeholder:"BENCH.TOML"`
	ByHand  bool   `help:"Simulated bench: with a hand pump and a simulated operator instead of valves."`
	From    string `help:"Take the figures from the record of such a run instead of running one." placeholder:"RECORD"`
	stateFlag
	simFlags
	Records     string        `help:"Folder for records." default:"records"`
	Acknowledge bool          `help:"The cautions have been read (a script's answer to the question)."`
	Wait        time.Duration `help:"How long to wait before a run for the lid switch and the emergency stop to be operated." default:"2m"`
}

// run makes the record, where none is given. It returns its folder.
func (c *blankRun) run(w *world, verb string) (string, error) {
	if c.From != "" {
		return c.From, nil
	}
	sheet := setup.Run{Format: setup.RunFormat, Unit: setup.Unit{ID: "blank"}, Bench: simbench.BuiltInBench()}
	var err error
	if sheet.Profile, err = profiles.Load(c.Profile); err != nil {
		return "", err
	}
	switch {
	case c.Bench != "":
		if sheet.Bench, err = setup.LoadBench(c.Bench); err != nil {
			return "", err
		}
	case c.ByHand:
		sheet.Bench = simbench.BuiltInHandBench()
	}
	sheet.Bench = characterise.WithoutUnit(sheet.Bench)
	if err := rig.Resolve(&sheet); err != nil {
		return "", err
	}
	run := runCmd{setting: setting{Profile: c.Profile, Bench: c.Bench, ByHand: c.ByHand, asWritten: sheet.Bench}, stateFlag: c.stateFlag, simFlags: c.simFlags,
		Records: c.Records, Acknowledge: c.Acknowledge, Wait: c.Wait}
	if _, err := rig.NewPlan(supposed(sheet)); err != nil {
		return "", err
	}
	folder, stopped, err := run.perform(w, sheet, verb)
	switch {
	case stopped == rig.ByOperator:
		return folder, answer(exitStopped)
	case err != nil:
		if folder == "" {
			return "", err
		}
		return folder, coded{exitBench, err}
	}
	return folder, nil
}

// keep writes what was measured beside the bench's file.
func keep(w *world, benchFile string, change func(*setup.Bench, *setup.Measured)) error {
	if benchFile == "" {
		fmt.Fprintln(w.out, "simulated bench: nothing is kept")
		return nil
	}
	b, err := setup.LoadBench(benchFile)
	if err != nil {
		return err
	}
	m, err := setup.LoadMeasured(benchFile)
	if err != nil {
		return err
	}
	m.Settings = b.Settings()
	change(&b, &m)
	data, err := m.Encode()
	if err != nil {
		return err
	}
	if err := record.WriteWhole(setup.MeasuredFile(benchFile), data, 0o666); err != nil {
		return coded{exitBench, err}
	}
	fmt.Fprintf(w.out, "kept in %s\n", setup.MeasuredFile(benchFile))
	return nil
}

type blankCmd struct{ blankRun }

// Help is shown by proofpot blank --help.
func (blankCmd) Help() string {
	return `Runs a profile with no unit in the chamber (or a solid dummy of its volume), finds what the bench itself loses for each
bar, and keeps that beside the bench's file with its date and the water's temperature. A later run uses it for a month,
while nothing of the bench is changed and the water stays within 5 K; after that it says that it does not. From three
blanks on, 4 K or more apart, the leak is a line in the temperature, and a later run uses what it is at its own.

Example: proofpot blank --bench bench.toml`
}

// Run runs a blank and keeps what it shows.
func (c *blankCmd) Run(w *world) error {
	folder, err := c.run(w, "blank")
	if err != nil {
		return err
	}
	r, err := record.Open(folder)
	if err != nil {
		return err
	}
	defer r.Close()
	b, err := characterise.FitBlank(r.Run, r.Name, r)
	if err != nil {
		return coded{exitNo, fmt.Errorf("%s: %w", folder, err)}
	}
	for _, h := range b.Holds {
		fmt.Fprintf(w.out, "%5.2f bar gauge: %.3f ± %.3f ml/h\n", h.BarGauge, h.MLPerH, 2*h.U)
	}
	fmt.Fprintf(w.out, "the bench itself loses %s\n", b)
	err = keep(w, c.Bench, func(bench *setup.Bench, m *setup.Measured) {
		m.Blanks = append(m.Blanks, setup.MeasuredBlank{At: b.At.UTC().Truncate(time.Second), ValidUntil: b.At.Add(setup.ValidFor).UTC().Truncate(time.Second),
			MLPerHPerBar: b.MLPerHPerBar, SDMLPerHPerBar: b.SD, LowBarGauge: b.LowBar, HighBarGauge: b.HighBar,
			LowC: orZero(b.LowC), HighC: orZero(b.HighC), Record: folder, Settings: bench.Settings()})
		againstTemperature(w.out, m.Valid(b.At, bench.Settings()))
	})
	fmt.Fprintln(w.out, folder)
	return err
}

// againstTemperature says how a bench's leak goes with its temperature, where its
// blanks show it.
func againstTemperature(out io.Writer, blanks []setup.MeasuredBlank) {
	if fit, ok := setup.FitBlanks(blanks); ok {
		fmt.Fprintf(out, "against temperature: %.3g ± %.2g ml/h/bar at %.1f °C, and %+.2g ± %.1g for each K, from %d blanks at %.1f to %.1f °C\n",
			fit.MLPerHPerBar, 2*fit.SD, fit.MeanC, fit.PerK, 2*fit.SDPerK, fit.N, fit.LowC, fit.HighC)
	}
}

func orZero(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}

type knownLeakCmd struct {
	MLPerH float64 `arg:"" name:"ml-per-h" help:"The metered bleed, ml/h of gas at chamber pressure, or of water."`
	blankRun
	At  float64 `help:"It goes with the pressure, as through a capillary, and is that much at so many bar gauge; 0: it is the same at every pressure." default:"0" placeholder:"BAR"`
	Off float64 `help:"Standard uncertainty of the meter, as a share." default:"0.02"`
}

// Help is shown by proofpot known-leak --help.
func (knownLeakCmd) Help() string {
	return `Runs a blank profile while a bleed of known size is open, and says whether the analysis recovers it: that is a test of
the whole bench, volumes and stiffness on its sheet included. A bench that does not recover a known leak is not to be
believed about an unknown one.

Example: proofpot known-leak 6.0 --at 3 --bench bench.toml`
}

// Run compares the known leak with what the analysis finds.
func (c *knownLeakCmd) Run(w *world) error {
	if !(c.MLPerH > 0) || !(c.Off >= 0 && c.Off < 0.5) || c.At < 0 {
		return errors.New("a known leak is above 0 ml/h, --off below 0.5, and --at not below 0")
	}
	folder, err := c.run(w, "known-leak")
	if err != nil {
		return err
	}
	r, err := record.Open(folder)
	if err != nil {
		return err
	}
	defer r.Close()
	sheet := r.Run
	if sheet.Unit.FreeVolumeML == 0 {
		sheet = characterise.Nowhere(sheet, true)
	}
	res, err := analysis.Analyse(sheet, r.Name, r)
	if err != nil {
		return err
	}
	found, err := characterise.Recover(res, func(bar float64) (float64, float64) {
		q := c.MLPerH
		if c.At > 0 {
			q *= bar / c.At
		}
		return q, c.Off * q
	}, r.Run)
	if err != nil {
		return coded{exitNo, err}
	}
	yes, text := true, ""
	for _, f := range found {
		word := "recovered"
		if !f.Yes {
			word, yes, text = "NOT recovered", false, f.Why
		}
		fmt.Fprintf(w.out, "%5.1f m: %.3g ml/h known, %.3g (%.3g to %.3g) found: %s, %s\n", f.DepthM, f.Known, f.Found.Estimate, f.Found.Low, f.Found.High, word, f.Why)
	}
	err = keep(w, c.Bench, func(_ *setup.Bench, m *setup.Measured) {
		m.KnownLeak = &setup.MeasuredKnownLeak{At: time.Now().UTC().Truncate(time.Second), MLPerH: c.MLPerH, Recovered: yes, Text: text, Record: folder}
	})
	fmt.Fprintln(w.out, folder)
	if err == nil && !yes {
		return answer(exitNo)
	}
	return err
}
