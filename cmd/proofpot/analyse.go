package main

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"runtime/debug"

	"proofpot/analysis"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

type analyseCmd struct {
	Records []string `arg:"" name:"record" help:"Folders of records." placeholder:"RECORD"`
	JSON    bool     `name:"json" help:"Print one line of JSON a record instead of writing verdict.json."`
}

// Run analyses each record. One that cannot be read is named, and the others
// are analysed all the same.
func (c *analyseCmd) Run(w *world) error {
	defer sparing()()
	unreadable := false
	for _, folder := range c.Records {
		r, _, err := analyse(folder)
		if err == nil {
			if c.JSON {
				err = json.NewEncoder(w.out).Encode(r.Verdict.Rounded())
			} else if err = writeVerdict(folder, r); err == nil {
				fmt.Fprintf(w.out, "%s: %s\n", folder, oneLine(&r.Verdict))
			}
		}
		if err != nil {
			fmt.Fprintf(w.errs, "proofpot: %v\n", err)
			unreadable = true
		}
	}
	if unreadable {
		return answer(exitUsage)
	}
	return nil
}

// sparing keeps the process below some 60 MiB, for a board whose memory others need too;
// the function that it gives ends that. It is a wish: what is needed beyond it is given.
func sparing() func() {
	limit := debug.SetMemoryLimit(40 << 20)
	return func() { debug.SetMemoryLimit(limit) }
}

// analyse reads a record from its folder.
func analyse(folder string) (*analysis.Result, setup.Run, error) {
	r, err := record.OpenWithInside(folder)
	if err != nil {
		return nil, setup.Run{}, err
	}
	defer r.Close()
	res, err := analysis.Analyse(r.Run, r.Name, r)
	if err != nil {
		return nil, r.Run, fmt.Errorf("%s: %w", filepath.Join(folder, record.ReadingsFile), err)
	}
	return res, r.Run, nil
}

func writeVerdict(folder string, r *analysis.Result) error {
	b, err := json.MarshalIndent(r.Verdict.Rounded(), "", "  ")
	if err != nil {
		return err
	}
	return record.WriteWhole(filepath.Join(folder, record.VerdictFile), append(b, '\n'), 0o644)
}
