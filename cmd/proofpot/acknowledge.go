package main

import (
	"errors"
	"fmt"
	"time"

	"proofpot/rig/benchstate"
	"proofpot/rig/setup"
)

type acknowledgeCmd struct {
	Bench string `arg:"" help:"File that describes the bench." placeholder:"BENCH.TOML"`
	stateFlag
	Confirm bool `help:"The reason has been found and dealt with, and the chamber is vented (a script's answer to the question)."`
}

// Help is shown by proofpot acknowledge --help.
func (acknowledgeCmd) Help() string {
	return `After a trip a bench is locked out: no run begins until somebody has looked why. The same holds for a run that was
cut off and is not to go on. This shows the reason and asks.

Example: proofpot acknowledge bench.toml`
}

// Run ends a lock-out.
func (c *acknowledgeCmd) Run(w *world) error {
	bench, err := setup.LoadBench(c.Bench)
	if err != nil {
		return err
	}
	held, err := c.take(bench.ID, "acknowledge")
	if err != nil {
		return err
	}
	defer held.release()
	if held.state.Lockout == nil && held.state.Running == nil {
		fmt.Fprintf(w.out, "bench %s is not locked out\n", bench.ID)
		return nil
	}
	if l := held.state.Lockout; l != nil {
		fmt.Fprintf(w.out, "bench %s is locked out since %s: %s\n", bench.ID, l.At.Local().Format(time.DateTime), l.Reason)
		if l.Record != "" {
			fmt.Fprintf(w.out, "record: %s\n", l.Record)
		}
	}
	if r := held.state.Running; r != nil {
		fmt.Fprintf(w.out, "the run that began %s was cut off; it can go on: proofpot resume %s\n", r.Since.Local().Format(time.DateTime), r.Record)
	}
	switch {
	case c.Confirm:
	case !w.inTTY:
		return fmt.Errorf("this must be acknowledged: at a terminal, or with --confirm in a script")
	case !confirmed(w, "Type yes when the reason is found and dealt with, the gauge shows nothing and the vent stands open: "):
		return coded{exitStopped, errors.New("not acknowledged; the bench stays locked out")}
	}
	if err := held.update(func(s *benchstate.State) { s.Lockout, s.Running = nil, nil }); err != nil {
		return coded{exitBench, err}
	}
	fmt.Fprintf(w.out, "acknowledged; bench %s may be used again\n", bench.ID)
	return nil
}
