package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"proofpot/rig"
	"proofpot/rig/benchstate"
)

// stateFlag says where benches keep what they must remember.
type stateFlag struct {
	State string `help:"Folder for what benches remember from run to run; without it, proofpot below XDG_STATE_HOME." placeholder:"DIR"`
}

// dir is the state folder of one bench.
func (f stateFlag) dir(benchID string) (benchstate.Dir, error) {
	base := f.State
	if base == "" {
		var err error
		if base, err = benchstate.DefaultBase(os.Getenv); err != nil {
			return benchstate.Dir{}, err
		}
	}
	return benchstate.Open(base, benchID)
}

// control is a real bench in this process's hands. Nil is the simulated bench,
// which is nobody's and remembers nothing.
type control struct {
	bench string
	dir   benchstate.Dir
	lock  *benchstate.Lock
	state benchstate.State
}

// take takes control of a bench, or says who has it.
func (f stateFlag) take(benchID, verb string) (*control, error) {
	dir, err := f.dir(benchID)
	if err != nil {
		return nil, err
	}
	lock, err := dir.Lock(benchID, verb, time.Now())
	if err != nil {
		return nil, coded{exitBench, err}
	}
	c := &control{bench: benchID, dir: dir, lock: lock}
	if c.state, err = dir.Load(); err != nil {
		return nil, errors.Join(coded{exitBench, err}, lock.Release())
	}
	return c, nil
}

// free says what forbids a run: a lock-out, or a run that was cut off.
func (c *control) free() error {
	if c == nil {
		return nil
	}
	if l := c.state.Lockout; l != nil {
		return coded{exitBench, fmt.Errorf("bench %s is locked out since %s: %s; find out why, then: proofpot acknowledge BENCH.TOML",
			c.bench, l.At.Local().Format(time.DateTime), l.Reason)}
	}
	if r := c.state.Running; r != nil {
		return coded{exitBench, fmt.Errorf("the run that began %s was cut off, and the chamber may be under pressure: go on with it, proofpot resume %s, or end it, proofpot acknowledge BENCH.TOML",
			r.Since.Local().Format(time.DateTime), r.Record)}
	}
	return nil
}

// begin remembers that a run is on, so that the next process knows when this
// one was cut off, and whom the bench file names to be told.
func (c *control) begin(record, bench string) error {
	if c == nil {
		return nil
	}
	for _, name := range []*string{&record, &bench} {
		if abs, err := filepath.Abs(*name); err == nil {
			*name = abs
		}
	}
	boot, up := benchstate.Boot()
	return c.update(func(s *benchstate.State) {
		s.Running = &benchstate.Running{Since: time.Now().UTC().Truncate(time.Second), Record: record, Boot: boot, UpS: up, Bench: bench}
	})
}

// end remembers how the run ended, and its fill, nil for none: after a trip the
// bench is locked out.
func (c *control) end(stopped rig.Stop, record string, gas *benchstate.FreeGas) error {
	if c == nil {
		return nil
	}
	now := time.Now().UTC().Truncate(time.Second)
	return c.update(func(s *benchstate.State) {
		s.Running, s.LastRecord = nil, now
		if gas != nil {
			s.FreeGas = gas
		}
		if trips(stopped) {
			s.Lockout = &benchstate.Lockout{At: now, Reason: stopped.String(), Record: record}
		}
	})
}

func (c *control) update(change func(*benchstate.State)) error {
	change(&c.state)
	return c.dir.Update(change)
}

// release gives the bench up.
func (c *control) release() error {
	if c == nil {
		return nil
	}
	return c.lock.Release()
}

// trips says whether a run that ended so locks the bench out.
func trips(s rig.Stop) bool {
	return s.LocksOut()
}
