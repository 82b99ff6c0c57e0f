package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"proofpot/analysis/register"
	"proofpot/profiles"
	"proofpot/profiles/plan"
	"proofpot/profiles/strict"
	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
)

type tripCmd struct {
	registered
	asOf
	Trip     string   `arg:"" help:"What is packed, for where." placeholder:"TRIP.TOML"`
	Bench    string   `help:"File that describes the bench for the tests that are proposed; without it, the simulated bench." placeholder:"BENCH.TOML"`
	Profile  []string `help:"Profile of yours that may be proposed beside the built-in proofs; may be given again." sep:"none" placeholder:"FILE.TOML"`
	Sheet    string   `help:"Write a sheet to print." placeholder:"FILE.PDF"`
	Calendar string   `help:"Write a calendar of the days on which tests end, and of the tests proposed." placeholder:"FILE.ICS"`
}

// Run says of each unit whether it is fit for the trip; exit 1 where one is not.
func (c *tripCmd) Run(w *world) error {
	now, err := lastOf(c.AsOf)
	if err != nil {
		return err
	}
	trip, err := loadTrip(c.Trip)
	if err != nil {
		return err
	}
	rules, err := c.store().Rules()
	if err != nil {
		return err
	}
	if _, err := os.Stat(c.Register); err != nil {
		return fmt.Errorf("no register: %w; proofpot unit close UNIT.TOML begins one, --register DIR names another", err)
	}
	if trip.Departure.Before(now) {
		fmt.Fprintf(w.errs, "note: the departure, %s, is past\n", trip.Departure.UTC().Format(time.DateOnly))
	}
	var ids []string
	for _, u := range trip.Units {
		ids = append(ids, u.ID)
	}
	events, err := c.store().Events(ids...)
	if err != nil {
		return err
	}
	candidates, err := c.candidates(w)
	if err != nil {
		return err
	}
	answers, err := register.Judge(now, &trip, events, rules, candidates)
	if err != nil {
		return err
	}
	slots, total := register.Order(now, &trip, answers, rules)
	register.Text(w.out, &trip, answers, slots, total)
	if c.Sheet != "" {
		var pdf bytes.Buffer
		if err := register.Sheet(&pdf, now, &trip, answers, slots, total); err != nil {
			return err
		}
		if err := record.WriteWhole(c.Sheet, pdf.Bytes(), 0o644); err != nil {
			return err
		}
		fmt.Fprintln(w.out, c.Sheet)
	}
	if c.Calendar != "" {
		var standings []register.Standing
		for _, a := range answers {
			standings = append(standings, a.Standing)
		}
		if err := record.WriteWhole(c.Calendar, register.Calendar(now, register.DueDates(standings, slots)), 0o644); err != nil {
			return err
		}
		fmt.Fprintln(w.out, c.Calendar)
	}
	for _, a := range answers {
		if a.Fitness == register.NotFit {
			return answer(exitNo)
		}
	}
	return nil
}

func loadTrip(file string) (register.Trip, error) {
	var t register.Trip
	data, err := os.ReadFile(file)
	if err != nil {
		return t, err
	}
	if err := strict.Decode(file, data, &t); err != nil {
		return t, err
	}
	if err := t.Check(); err != nil {
		key, _, _ := strings.Cut(err.Error(), ": ")
		return t, strict.At(file, data, key, err.Error())
	}
	return t, nil
}

// candidates are the user's and the built-in proof tests that the bench can run
// and that can prove their claim there, with the time that they take.
func (c *tripCmd) candidates(w *world) ([]register.Candidate, error) {
	sheet := setup.Run{Format: setup.RunFormat, Bench: simbench.BuiltInBench(), Unit: simbench.BuiltInUnit()}
	if c.Bench != "" {
		var err error
		if sheet.Bench, err = setup.LoadBench(c.Bench); err != nil {
			return nil, err
		}
	}
	var all []register.Candidate
	names := c.Profile
	for _, name := range profiles.BuiltIn() {
		if strings.HasPrefix(name, "proof-") {
			names = append(names, name)
		}
	}
	for _, name := range names {
		var err error
		if sheet.Profile, err = profiles.Load(name); err != nil {
			return nil, err
		}
		p, err := rig.Foresee(sheet)
		if err != nil {
			return nil, fmt.Errorf("%s on bench %s: %w", name, filepath.Base(c.Bench), err)
		}
		if p.Refused() || !p.CanProve() {
			if slices.Contains(c.Profile, name) {
				fmt.Fprintf(w.errs, "%s is not proposed: this bench cannot run it, or cannot prove its claim; proofpot plan %s says why\n", name, name)
			}
			continue
		}
		all = append(all, register.CandidateOf(sheet.Profile, total(p)))
	}
	return all, nil
}

// total is how long a plan takes, with its final vent.
func total(p *plan.Plan) (t time.Duration) {
	for _, l := range p.Legs {
		t = max(t, l.End())
	}
	return t
}
