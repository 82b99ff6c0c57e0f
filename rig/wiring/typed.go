package wiring

import (
	"proofpot/rig/setup"
	"proofpot/sensors/typed"
)

func openTyped(s setup.Sensor, with shared) (driver, error) {
	return typed.New(typed.Options{Sensor: s.ID, Scale: s.TypedScale(), Division: s.Division, Interval: s.Interval(), Room: with.room, Clock: with.clock})
}

// Typed gives the gauges of a bench that a person reads.
func (b *handBench) Typed() []*typed.Driver {
	var all []*typed.Driver
	for _, d := range b.drivers {
		if t, ok := d.(*typed.Driver); ok {
			all = append(all, t)
		}
	}
	return all
}
