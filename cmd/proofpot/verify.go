package main

import (
	"fmt"

	"proofpot/rig/record"
)

type verifyCmd struct {
	Records []string `arg:"" name:"record" help:"Folders of records." placeholder:"RECORD"`
}

// Run reads each record to its end and names the first bad line.
func (c *verifyCmd) Run(w *world) error {
	bad := false
	for _, folder := range c.Records {
		in, err := record.Verify(folder)
		if err != nil {
			return coded{exitUsage, err}
		}
		switch {
		case !in.Intact:
			bad = true
			fmt.Fprintf(w.out, "%s: NOT INTACT, %s", folder, in.Problems[0])
			if in.Count > 1 {
				fmt.Fprintf(w.out, " (and %d more)", in.Count-1)
			}
			fmt.Fprintln(w.out)
		case !in.Chained:
			fmt.Fprintf(w.out, "%s: readable, but not chained: alterations would not show\n", folder)
		default:
			fmt.Fprintf(w.out, "%s: intact, %d lines", folder, in.Lines)
			if in.Unchained > 0 || in.TornBytes > 0 {
				fmt.Fprintf(w.out, "; the last %d lines are not chained and %d bytes of a torn line were left out, as a power cut leaves them", in.Unchained, in.TornBytes)
			}
			fmt.Fprintln(w.out)
		}
	}
	if bad {
		return answer(exitNo)
	}
	return nil
}
