package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/register"
	"proofpot/analysis/register/files"
	"proofpot/analysis/statistics"
	"proofpot/rig/record"
)

// population says which records count and how their failures are read.
type population struct {
	Records string `help:"Folder of records." default:"records"`
	Mode    string `help:"Failures of this mode only; a unit that failed by another counts as not failed by this one where it was last tight." enum:",seep,burst,collapse,reseal,damp" default:""`
	Depths  string `help:"held: between the deepest hold passed and the depth of the failure, which is what a rating needs. began: between the 95 %% bounds of the depth at which the failure began." enum:"held,began" default:"held"`
	Closure string `help:"once: one observation a unit, up to its first failure, in whatever closure. each: every closure of a unit is one of its own." enum:"once,each" default:"once"`
	Closed  string `name:"register" help:"Folder of the register, for --closure each (without it, the closed_on and closed_by of each record) and --cycles-to (without it, register)." placeholder:"DIR"`
	Family  string `help:"Distribution of the depths." enum:"weibull,lognormal" default:"weibull"`
}

func (p population) family() statistics.Family {
	if p.Family == "lognormal" {
		return statistics.Lognormal
	}
	return statistics.Weibull
}

// histories reads every record of the folder and gives what each variant's come to.
// The records of the variant named anew are analysed anew; the verdicts of the
// others are taken as they lie beside them. left counts the records that could not
// be read.
func (p population) histories(w *world, anew string) (all []statistics.History, left int, err error) {
	entries, err := os.ReadDir(p.Records)
	if err != nil {
		return nil, 0, fmt.Errorf("no folder of records: %w", err)
	}
	var tests []statistics.Test
	for _, e := range entries {
		folder := filepath.Join(p.Records, e.Name())
		if _, err := os.Stat(filepath.Join(folder, record.RunFile)); err != nil {
			continue
		}
		t, err := readTest(w, folder, anew)
		if err != nil {
			fmt.Fprintf(w.errs, "left out: %v\n", err)
			left++
			continue
		}
		tests = append(tests, t)
	}
	if p.Closure == "each" {
		if err := apart(tests, p.Closed); err != nil {
			return nil, left, err
		}
	} else if p.Closed != "" {
		return nil, left, errors.New("--register says which closure a test was of: add --closure each")
	}
	how := statistics.Held
	if p.Depths == "began" {
		how = statistics.Began
	}
	all = statistics.Observe(tests, how)
	if p.Mode != "" {
		for i := range all {
			all[i].Observations = statistics.ByMode(all[i].Observations, p.Mode)
		}
	}
	return all, left, nil
}

// apart makes a unit of each closure: named by the register's last closure
// before the test, where it knows one, or by what the record says.
func apart(tests []statistics.Test, folder string) error {
	var events []register.Event
	if folder != "" {
		var err error
		if events, err = (files.Store{Root: folder}).Events(); err != nil {
			return err
		}
	}
	for i := range tests {
		t := &tests[i]
		unit := &t.Run.Unit
		closed := strings.TrimSpace(unit.ClosedOn + " " + unit.ClosedBy)
		if start, err := time.Parse("20060102T150405Z", strings.SplitN(t.Record, "-", 2)[0]); err == nil {
			var last time.Time
			for _, e := range events {
				if e.Unit == unit.ID && e.Kind == register.Closed && !e.At.After(start) && e.At.After(last) {
					last, closed = e.At, strings.TrimSpace(e.At.UTC().Format("2006-01-02 15:04")+" "+e.By)
				}
			}
		}
		if closed == "" {
			closed = "not stated"
		}
		unit.ID += " (closed " + closed + ")"
	}
	return nil
}

// readTest reads a record with its verdict: from verdict.json, or of the variant
// anew from its readings, since whoever can write a file can write a verdict.
func readTest(w *world, folder, anew string) (statistics.Test, error) {
	r, err := record.Open(folder)
	if err != nil {
		return statistics.Test{}, err
	}
	defer r.Close()
	t := statistics.Test{Record: r.Name, Run: r.Run}
	file := filepath.Join(folder, record.VerdictFile)
	if anew != "" && r.Run.Unit.Variant == anew {
		res, run, err := analyse(folder)
		if err != nil {
			return t, err
		}
		t.Run, t.Verdict = run, res.Verdict.Rounded()
		if lies, err := readVerdict(file); err == nil && (lies.Verdict != t.Verdict.Verdict || lies.ProvedDepthM != t.Verdict.ProvedDepthM) {
			fmt.Fprintf(w.errs, "note: %s says %s, proved %.1f m; its readings say %s, proved %.1f m, and that counts\n", file,
				lies.Verdict, lies.ProvedDepthM, t.Verdict.Verdict, t.Verdict.ProvedDepthM)
		}
		return t, nil
	}
	t.Verdict, err = readVerdict(file)
	if errors.Is(err, fs.ErrNotExist) {
		return t, fmt.Errorf("%s has no verdict yet; proofpot analyse %s makes it", folder, folder)
	}
	return t, err
}

func readVerdict(file string) (v analysis.Verdict, err error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return v, err
	}
	if err := json.Unmarshal(data, &v); err != nil {
		return v, fmt.Errorf("%s: %w", file, err)
	}
	switch v.Verdict {
	case analysis.Pass, analysis.Fail, analysis.Inconclusive:
	default:
		return v, fmt.Errorf("%s: verdict %q is none of pass, fail, inconclusive", file, v.Verdict)
	}
	if v.Format != 1 {
		return v, fmt.Errorf("%s: format %d is not known, 1 is", file, v.Format)
	}
	return v, nil
}

// named picks the histories of the named variants, in their order; all of them
// where none is named.
func named(all []statistics.History, names []string) ([]statistics.History, error) {
	if len(names) == 0 {
		return all, nil
	}
	var picked []statistics.History
	for _, name := range names {
		i := slices.IndexFunc(all, func(h statistics.History) bool { return h.Variant == name })
		if i < 0 {
			var known []string
			for _, h := range all {
				known = append(known, fmt.Sprintf("%q", h.Variant))
			}
			return nil, fmt.Errorf("no record of a variant %q; there are %s", name, strings.Join(known, ", "))
		}
		if slices.ContainsFunc(picked, func(h statistics.History) bool { return h.Variant == name }) {
			return nil, fmt.Errorf("variant %q is named twice", name)
		}
		picked = append(picked, all[i])
	}
	return picked, nil
}

// tellUnits writes what the records of a variant are, each unit with where it failed.
func tellUnits(w *world, h statistics.History) {
	fmt.Fprintf(w.out, "\n%s: %s, %d failed\n", variantName(h), counted(len(h.Observations), "unit"), statistics.Failures(h.Observations))
	for _, o := range h.Observations {
		switch {
		case !o.Failed():
			fmt.Fprintf(w.out, "  %-10s tight to %.1f m, did not fail\n", o.Unit, o.LowM)
		case o.LowM == 0:
			fmt.Fprintf(w.out, "  %-10s failed by %.1f m, no shallower hold passed (%s)\n", o.Unit, o.HighM, o.Mode)
		default:
			fmt.Fprintf(w.out, "  %-10s failed between %.1f and %.1f m (%s)\n", o.Unit, o.LowM, o.HighM, o.Mode)
		}
	}
	for _, s := range h.Left {
		fmt.Fprintf(w.out, "  note: %s\n", s)
	}
	if h.MixedHolds() {
		fmt.Fprintf(w.out, "  note: the holds that decided last from %.0f to %.0f s; a depth held for minutes is not held for a night\n", h.HoldLowS, h.HoldHighS)
	}
	tellModes(w, h)
}

func tellModes(w *world, h statistics.History) {
	modes := map[string]bool{}
	for _, o := range h.Observations {
		if o.Failed() {
			modes[o.Mode] = true
		}
	}
	if len(modes) > 1 {
		fmt.Fprintf(w.out, "  note: %d modes of failure in one: --mode takes them apart\n", len(modes))
	}
}

func variantName(h statistics.History) string {
	if h.Variant == "" {
		return "(no variant given)"
	}
	return h.Variant
}
