package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"proofpot/analysis/register"
	"proofpot/analysis/register/files"
	"proofpot/profiles/strict"
	"proofpot/rig/record"
)

type unitCmd struct {
	List  listUnitsCmd `cmd:"" default:"withargs" help:"List the units and how they stand."`
	Show  showUnitCmd  `cmd:"" help:"Show what happened to a unit, and how it stands."`
	Close closeUnitCmd `cmd:"" help:"Log that a unit was closed, from its unit.toml."`
	Tests unitTestsCmd `cmd:"" help:"Enter the tests of records."`
	Log   logUnitCmd   `cmd:"" help:"Log what happened: opened, replaced, repaired, struck, wetted, noted."`
	Dive  diveUnitCmd  `cmd:"" help:"Log a dive."`
	Dives unitDivesCmd `cmd:"" help:"Enter the dives of a dive computer's log (UDDF)."`
	Due   unitsDueCmd  `cmd:"" help:"Write a calendar (.ics) of the days on which tests end."`
}

// registered is the register that a verb works on.
type registered struct {
	Register string `help:"Folder of the register." default:"register" placeholder:"DIR"`
}

func (r registered) store() files.Store { return files.Store{Root: r.Register} }

// when is a moment that a person may give.
type when struct {
	At string `help:"When it happened, 2026-03-14T08:15:00Z or 2026-03-14; without it, now. What ends a test counts at the end of a day that is given alone." placeholder:"TIME"`
}

func (t when) time() (time.Time, error) { return moment(t.At) }

// late is the time of what may end a test: of a day without a time its last
// second, since it may have come after a test of that day.
func (t when) late() (time.Time, error) { return lastOf(t.At) }

func lastOf(text string) (time.Time, error) {
	at, err := moment(text)
	if _, day := time.Parse(time.DateOnly, text); err == nil && day == nil {
		at = at.Add(24*time.Hour - time.Second)
	}
	return at, err
}

func moment(text string) (time.Time, error) {
	if text == "" {
		return files.Now(), nil
	}
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04", time.DateOnly} {
		if t, err := time.Parse(layout, text); err == nil {
			return t.UTC(), nil
		}
	}
	return time.Time{}, fmt.Errorf("%q is no time; write it as 2026-03-14 or 2026-03-14T08:15:00Z", text)
}

func (r registered) add(w *world, e register.Event) error {
	if e.At.After(time.Now().Add(24 * time.Hour)) {
		return fmt.Errorf("%s lies ahead; an event is logged when it has happened", e.At.Format(time.DateOnly))
	}
	file, added, err := r.store().Add(e)
	if err != nil {
		return err
	}
	if !added {
		fmt.Fprintf(w.out, "%s (was there already)\n", file)
		return nil
	}
	fmt.Fprintln(w.out, file)
	return nil
}

// addTo is add for a unit that the register must know: what is logged of a name
// with a slip in it would leave the unit that was meant as fit as it was.
func (r registered) addTo(w *world, e register.Event) error {
	events, err := r.store().Events()
	if err != nil {
		return err
	}
	if known := files.Units(events); len(known) > 0 && !slices.Contains(known, e.Unit) {
		meant := "proofpot unit close UNIT.TOML enters one"
		if near, ok := strict.Nearest(e.Unit, known); ok {
			meant = fmt.Sprintf("did you mean %q? ", near) + meant
		}
		return fmt.Errorf("the register %q knows no unit %q; %s", r.Register, e.Unit, meant)
	}
	return r.add(w, e)
}

type asOf struct {
	AsOf string `help:"How it stood, or will, at that time, or at the end of that day; without it, now." placeholder:"TIME"`
}

type listUnitsCmd struct {
	registered
	asOf
}

// Run lists every unit in a line.
func (c *listUnitsCmd) Run(w *world) error {
	now, err := lastOf(c.AsOf)
	if err != nil {
		return err
	}
	events, rules, err := c.read()
	if err != nil {
		return err
	}
	for _, unit := range files.Units(events) {
		s, err := register.At(now, unit, events, rules)
		if err != nil {
			return fmt.Errorf("unit %s: %w", unit, err)
		}
		fmt.Fprintf(w.out, "%-12s %s\n", unit, standingLine(s))
	}
	return nil
}

func (r registered) read(units ...string) ([]register.Event, register.Rules, error) {
	rules, err := r.store().Rules()
	if err != nil {
		return nil, rules, err
	}
	events, err := r.store().Events(units...)
	if err == nil && len(events) == 0 {
		err = fmt.Errorf("the register %q holds nothing of that; proofpot unit close UNIT.TOML begins it, proofpot unit tests RECORD enters a test", r.Register)
	}
	return events, rules, err
}

// counted writes a number of things.
func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func standingLine(s register.Standing) string {
	switch {
	case s.Test == nil && len(s.Ended) > 0:
		return "not fit: " + s.Ended[len(s.Ended)-1]
	case s.Test == nil:
		return "not tested"
	case !s.Valid:
		return "not fit: " + s.Ended[len(s.Ended)-1]
	}
	line := fmt.Sprintf("rated %.1f m, tested %s, until %s", s.Test.RatedM, s.Tested.UTC().Format(time.DateOnly), s.Until.UTC().Format(time.DateOnly))
	if s.Dives > 0 {
		line += ", " + counted(s.Dives, "dive") + " since"
	}
	if n := len(s.Remarks); n > 0 {
		line += ", " + counted(n, "remark")
	}
	return line
}

type showUnitCmd struct {
	registered
	asOf
	Unit string `arg:"" help:"The unit's id."`
}

// Run prints a unit's history and standing; exit 1 where no test of it holds.
func (c *showUnitCmd) Run(w *world) error {
	now, err := lastOf(c.AsOf)
	if err != nil {
		return err
	}
	events, rules, err := c.read(c.Unit)
	if err != nil {
		return err
	}
	slices.SortStableFunc(events, func(a, b register.Event) int { return a.At.Compare(b.At) })
	for _, e := range events {
		fmt.Fprintf(w.out, "%s  %-9s %s\n", e.At.UTC().Format("2006-01-02 15:04"), e.Kind, told(e))
	}
	s, err := register.At(now, c.Unit, events, rules)
	if err != nil {
		return err
	}
	fmt.Fprintf(w.out, "\n%s: %s\n", c.Unit, standingLine(s))
	for _, line := range append(s.Ended, s.Remarks...) {
		fmt.Fprintf(w.out, "  %s\n", line)
	}
	if !s.Valid {
		return answer(exitNo)
	}
	return nil
}

// told is an event in a line.
func told(e register.Event) string {
	var parts []string
	switch {
	case e.Test != nil && e.Test.Verdict == "pass":
		parts = append(parts, fmt.Sprintf("pass, proved %.1f m, rated %.1f m (%s)", e.Test.ProvedM, e.Test.RatedM, e.Test.Record))
	case e.Test != nil && e.Test.FailedM > 0:
		parts = append(parts, fmt.Sprintf("%s, %s at %.1f m (%s)", e.Test.Verdict, e.Test.Mode, e.Test.FailedM, e.Test.Record))
	case e.Test != nil:
		parts = append(parts, fmt.Sprintf("%s (%s)", e.Test.Verdict, e.Test.Record))
	case e.Dive != nil:
		parts = append(parts, fmt.Sprintf("%.1f m, %.0f min", e.Dive.DepthM, e.Dive.Minutes))
		if e.Dive.Descents > 1 {
			parts = append(parts, fmt.Sprintf("let down %d times", e.Dive.Descents))
		}
		if e.Dive.HasWater {
			parts = append(parts, fmt.Sprintf("water %.0f °C", e.Dive.WaterC))
		}
	case e.Closure != nil && e.Closure.Seals != "":
		parts = append(parts, e.Closure.Seals)
	}
	if e.Test != nil {
		for _, c := range e.Test.Cycling {
			text := fmt.Sprintf("stood %s to %g m", counted(c.Stood, "cycle"), c.DepthM)
			if c.FailedBy > 0 {
				text += fmt.Sprintf(", leaked by cycle %d", c.FailedBy)
			}
			parts = append(parts, text)
		}
	}
	if e.Text != "" {
		parts = append(parts, e.Text)
	}
	if e.By != "" {
		parts = append(parts, "by "+e.By)
	}
	return strings.Join(parts, ", ")
}

type unitsDueCmd struct {
	registered
	File string `arg:"" help:"The calendar to write." placeholder:"FILE.ICS"`
}

// Run writes the calendar.
func (c *unitsDueCmd) Run(w *world) error {
	events, rules, err := c.read()
	if err != nil {
		return err
	}
	now := files.Now()
	var standings []register.Standing
	for _, unit := range files.Units(events) {
		s, err := register.At(now, unit, events, rules)
		if err != nil {
			return fmt.Errorf("unit %s: %w", unit, err)
		}
		standings = append(standings, s)
	}
	if err := record.WriteWhole(c.File, register.Calendar(now, register.DueDates(standings, nil)), 0o644); err != nil {
		return err
	}
	fmt.Fprintln(w.out, c.File)
	return nil
}
