package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"proofpot/cmd/proofpot/page"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

// A machine that has just started: a transducer on USB appears some seconds
// late, and a board without a clock of its own has the time from the network
// later still.
const (
	tryEvery   = 5 * time.Second
	tryFor     = 2 * time.Minute
	waitOnTime = time.Minute
)

// goOnAlone goes on with the run of the bench that was cut off, if any, while
// nobody is there. The cautions were acknowledged when it was started.
func (b *pageBench) goOnAlone(s *page.Server) error {
	if b.cmd.Bench == "" {
		return nil
	}
	bench, err := b.bench()
	if err != nil {
		return err
	}
	held, err := b.cmd.take(bench.ID, "serve")
	if err != nil {
		return err
	}
	is := held.state.Running
	if err := held.release(); err != nil || is == nil {
		return err
	}
	if len(bench.Valves) > 0 && bench.Backstop() >= setup.ByPerson {
		return fmt.Errorf("%s waits for the person who stays at the supply's cock: this bench has no watchdog relay (proofpot resume)", is.Record)
	}
	records, err := filepath.Abs(b.cmd.Records)
	if err != nil {
		return err
	}
	if filepath.Dir(is.Record) != records {
		return fmt.Errorf("the run that was cut off is %s, and the records of this page are in %s", is.Record, records)
	}
	name := filepath.Base(is.Record)
	return s.GoOn(func(ctx context.Context, on *page.Console) (page.Outcome, error) {
		fmt.Fprintf(b.w.errs, "going on with %s\n", name)
		untilSet(ctx, is.Record)
		for end := time.Now().Add(tryFor); ; {
			out, err := b.resume(ctx, name, on, true)
			if !errors.Is(err, errNotBegun) || time.Now().After(end) {
				if err != nil {
					fmt.Fprintf(b.w.errs, "%s: %v\n", name, err)
				}
				return out, err
			}
			select {
			case <-ctx.Done():
				return out, err
			case <-time.After(tryEvery):
			}
		}
	})
}

// untilSet waits for the wall clock to pass the moment at which a record was last
// written, for a while.
func untilSet(ctx context.Context, folder string) {
	readings, err := os.Stat(filepath.Join(folder, record.ReadingsFile))
	if err != nil {
		return // what is wrong with it is said by whoever goes on with it
	}
	for end := time.Now().Add(waitOnTime); time.Now().Before(readings.ModTime()) && time.Now().Before(end); {
		select {
		case <-ctx.Done():
			return
		case <-time.After(time.Second):
		}
	}
}
