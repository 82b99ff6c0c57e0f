package main

import (
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"proofpot/profiles"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
)

// simFlags make a simulated bench what it is.
type simFlags struct {
	UnitFault  []string `json:"unit_fault,omitempty" sep:"none" help:"Simulated bench: make the unit fail; may be given again. One of: ${unitFaults}." placeholder:"TEXT"`
	BenchFault []string `json:"bench_fault,omitempty" sep:"none" help:"Simulated bench: break the bench; may be given again. One of: ${benchFaults}." placeholder:"TEXT"`
	Seed       uint64   `json:"seed" help:"Simulated bench: seed of every chance." default:"1"`
}

// simulated makes the bench, standing vented at start.
func (f simFlags) simulated(run setup.Run, start time.Time) (*simbench.Bench, error) {
	column, err := profiles.NewColumn(run.Profile.Water)
	if err != nil {
		return nil, err
	}
	cfg := simbench.Default(run, f.Seed)
	cfg.GaugePa = column.GaugePa
	for _, text := range f.UnitFault {
		fault, err := simbench.ParseUnitFault(text)
		if err != nil {
			return nil, fmt.Errorf("--unit-fault: %w", err)
		}
		cfg.UnitFaults = append(cfg.UnitFaults, fault)
	}
	for _, text := range f.BenchFault {
		fault, err := simbench.ParseBenchFault(text)
		if err != nil {
			return nil, fmt.Errorf("--bench-fault: %w", err)
		}
		cfg.BenchFaults = append(cfg.BenchFaults, fault)
	}
	return simbench.New(cfg, start)
}

const simNotePrefix = "simulated bench: "

// simNote is what the record holds of a simulated bench, so that its run can go
// on, or be made again.
func (f simFlags) simNote() string {
	data, err := json.Marshal(f)
	if err != nil {
		return simNotePrefix + err.Error()
	}
	return simNotePrefix + string(data)
}

// simOf finds the note of a simulated bench.
func simOf(notes []string) (f simFlags, err error) {
	for _, n := range notes {
		if text, is := strings.CutPrefix(n, simNotePrefix); is {
			return f, json.Unmarshal([]byte(text), &f)
		}
	}
	return f, fmt.Errorf("the record does not say which simulated bench it was made on")
}
