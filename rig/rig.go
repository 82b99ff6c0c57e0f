// Package rig drives a bench through a staged test: a sequencer that is a pure
// function of state, time and readings, limits that protect people and the
// bench, and the loop that feeds them. The loop is the same for the simulated
// bench, a replayed record and hardware.
package rig

import (
	"time"

	"proofpot/sensors"
)

// Instant is one moment by two clocks.
type Instant struct {
	Mono time.Duration // since the start of the run, never jumps
	Wall time.Time     // UTC
}

// Valves says which valves stand open, and for how long.
type Valves struct {
	Fill bool
	Vent bool
	// Pulse bounds how long the open valve stays open, from the moment of
	// Drive: then the driver itself shuts it. 0: until the next Drive. A Drive
	// before that has the last word, and may make it longer.
	Pulse time.Duration
	// RegulatePa is the pressure, absolute, asked of an electro-pneumatic
	// regulator behind the fill valve, where the bench has one; 0: none, it
	// lets its outlet off.
	RegulatePa float64
}

// Devices is a bench as the loop sees it: what is read, what is driven. The
// simulated bench, a replayed record and hardware implement it.
type Devices interface {
	// Read appends what has arrived since the last call, and faults where
	// something was due and did not come. It never waits.
	Read(now Instant, to []sensors.Reading) []sensors.Reading
	// Drive puts the valves where they are wanted. A bench that a person
	// operates has no valves: the loop prompts instead, and never calls Drive.
	Drive(now Instant, want Valves) error
	// Close leaves the bench safe, fill shut and vent open, and lets go of it.
	Close() error
}
