package rig

import (
	"time"

	"proofpot/rig/setup"
	"proofpot/sensors"
)

// SwitchProof follows one switch until it was seen to work: shut, open, and shut
// again. A switch that is stuck, or a wire that is bridged, never gets there.
type SwitchProof struct {
	Sensor   string
	Quantity sensors.Quantity
	Known    bool      // it has been read
	Open     bool      // as last read
	Operated time.Time // when it was last seen to open and shut again, zero: never

	wasShut, wasOpen bool
}

// Switches gives the lid switch and the emergency stop that a bench declares.
func Switches(b setup.Bench) []SwitchProof {
	var all []SwitchProof
	for _, q := range []sensors.Quantity{sensors.LidOpen, sensors.StopOpen} {
		if s := sensorOf(b, q); s != nil {
			all = append(all, SwitchProof{Sensor: s.ID, Quantity: q})
		}
	}
	return all
}

// See takes in a reading. One that has no value puts the proof back to its
// start: a wire that was pulled and put back is no switch that was operated.
func (p *SwitchProof) See(r *sensors.Reading, wall time.Time) {
	if r.Sensor != p.Sensor || r.Quantity != p.Quantity {
		return
	}
	if r.Status != sensors.OK {
		p.Known, p.wasShut, p.wasOpen = false, false, false
		return
	}
	p.Known, p.Open = true, r.Value != 0
	switch {
	case !p.Open && p.wasOpen:
		p.Operated, p.wasOpen, p.wasShut = wall, false, true
	case !p.Open:
		p.wasShut = true
	case p.wasShut:
		p.wasOpen = true
	}
}
