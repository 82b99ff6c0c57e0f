package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"proofpot/analysis/register"
	"proofpot/analysis/register/uddf"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

type closeUnitCmd struct {
	registered
	when
	Unit string `arg:"" help:"The unit's sheet." placeholder:"UNIT.TOML"`
	By   string `help:"Who closed it; without it, the sheet's closed_by."`
}

// Run logs a closure.
func (c *closeUnitCmd) Run(w *world) error {
	u, err := setup.LoadUnit(c.Unit)
	if err != nil {
		return err
	}
	at, err := c.time()
	if err != nil {
		return err
	}
	if c.At == "" && u.ClosedOn != "" {
		if at, err = moment(u.ClosedOn); err != nil {
			return err
		}
	}
	by := c.By
	if by == "" {
		by = u.ClosedBy
	}
	e := register.Event{Unit: u.ID, Kind: register.Closed, At: at, By: by, Closure: register.ClosureOf(u)}
	if err := c.clear(e); err != nil {
		return err
	}
	return c.add(w, e)
}

// clear asks for the time of a closure where a test of the same day could lie
// before it: a test is not of the closure that came after it.
func (c *closeUnitCmd) clear(e register.Event) error {
	if !e.At.Equal(e.At.Truncate(24 * time.Hour)) { // a time was given
		return nil
	}
	events, err := c.store().Events(e.Unit)
	if err != nil {
		return err
	}
	var test *register.Event
	for i, o := range events {
		if o.Kind == register.Closed && o.At.Equal(e.At) && o.By == e.By && o.Closure != nil && *o.Closure == *e.Closure {
			return nil // it stands there already
		}
		if o.Kind == register.Tested && o.At.UTC().Format(time.DateOnly) == e.At.UTC().Format(time.DateOnly) {
			test = &events[i]
		}
	}
	if test == nil {
		return nil
	}
	return fmt.Errorf("%s was tested on the day on which it was closed, at %s UTC; say whether it was closed before, with --at %s", e.Unit,
		test.At.UTC().Format("15:04"), test.At.UTC().Add(-time.Hour).Format("2006-01-02T15:04"))
}

type unitTestsCmd struct {
	registered
	Records []string `arg:"" name:"record" help:"Folders of records." placeholder:"RECORD"`
}

// Run analyses each record and enters what it found.
func (c *unitTestsCmd) Run(w *world) error {
	for _, folder := range c.Records {
		res, run, err := analyse(folder)
		if err != nil {
			return err
		}
		sum, err := record.Fingerprint(folder)
		if err != nil {
			return err
		}
		if err := c.add(w, register.TestOf(run, res, sum)); err != nil {
			return err
		}
	}
	return nil
}

type logUnitCmd struct {
	registered
	when
	Unit string `arg:"" help:"The unit's id."`
	Kind string `arg:"" enum:"opened,replaced,repaired,struck,wetted,noted" help:"What happened."`
	By   string `help:"Who did or saw it."`
	Text string `help:"What, in a few words." placeholder:"WORDS"`
}

// Run logs an event.
func (c *logUnitCmd) Run(w *world) error {
	at, err := c.late()
	if err != nil {
		return err
	}
	if err := c.addTo(w, register.Event{Unit: c.Unit, Kind: register.Kind(c.Kind), At: at, By: c.By, Text: c.Text}); err != nil {
		return err
	}
	if register.Kind(c.Kind) == register.Wetted {
		fmt.Fprintln(w.errs, "If there are cells in it: out of doors at once, away from people and anything that burns, for at least a day; do not charge or use them again.")
	}
	return nil
}

type diveUnitCmd struct {
	registered
	when
	Unit     string   `arg:"" help:"The unit's id."`
	DepthM   float64  `arg:"" name:"depth" help:"Greatest depth, m." placeholder:"M"`
	Minutes  float64  `help:"Duration, min."`
	Descents int      `help:"How often it was let down in it."`
	WaterC   *float64 `name:"water" help:"Temperature of the water, °C." placeholder:"C"`
	By       string   `help:"Who dived it."`
	Text     string   `help:"Anything seen." placeholder:"WORDS"`
}

// Run logs a dive.
func (c *diveUnitCmd) Run(w *world) error {
	at, err := c.late()
	if err != nil {
		return err
	}
	d := register.Dive{DepthM: c.DepthM, Minutes: c.Minutes, Descents: c.Descents}
	if c.WaterC != nil {
		d.WaterC, d.HasWater = *c.WaterC, true
	}
	return c.addTo(w, register.Event{Unit: c.Unit, Kind: register.Dived, At: at, By: c.By, Text: c.Text, Dive: &d})
}

type unitDivesCmd struct {
	registered
	Unit string `arg:"" help:"The unit's id."`
	Log  string `arg:"" help:"The log, in UDDF." placeholder:"FILE.UDDF"`
	Zone string `help:"Zone of dates that state none, Europe/Oslo say." default:"UTC"`
}

// Run enters the dives of a log. Dives that are there already are left.
func (c *unitDivesCmd) Run(w *world) error {
	zone, err := time.LoadLocation(c.Zone)
	if err != nil {
		return fmt.Errorf("--zone %q is not known; UTC or Europe/Oslo are zones", c.Zone)
	}
	f, err := os.Open(c.Log)
	if err != nil {
		return err
	}
	defer f.Close()
	dives, err := uddf.Read(f, zone)
	if err != nil {
		return fmt.Errorf("%s: %w", c.Log, err)
	}
	if len(dives) == 0 {
		return errors.New(c.Log + ": no dive stands in the log")
	}
	for _, d := range dives {
		one := register.Dive{DepthM: d.DepthM, Minutes: d.Minutes, WaterC: d.LowestC, HasWater: d.HasC, Source: filepath.Base(c.Log)}
		if err := c.addTo(w, register.Event{Unit: c.Unit, Kind: register.Dived, At: d.At.UTC(), Dive: &one}); err != nil {
			return fmt.Errorf("%s: line %d: %w", c.Log, d.Line, err)
		}
	}
	return nil
}
