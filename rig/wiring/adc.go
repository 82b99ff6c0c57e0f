package wiring

import (
	"errors"

	"proofpot/rig/setup"
	"proofpot/sensors/ads1115"
	"proofpot/sensors/poll"
)

func openADS1115(s setup.Sensor, with shared) (driver, error) {
	bus, err := with.i2cBus(s.Bus)
	if err != nil {
		return nil, err
	}
	supply, inputs, scales := s.ADS1115()
	on, err := behindMux(s, bus.guard)
	if err != nil {
		return nil, errors.Join(err, bus.Close())
	}
	part, err := ads1115.New(on, uint16(s.Address), supply, inputs)
	if err != nil {
		return nil, errors.Join(err, bus.Close())
	}
	d, err := poll.New(part, poll.Options{Sensor: s.ID, Fields: scales, Interval: s.Interval(), Room: with.room, Clock: with.clock, Closer: bus.Close})
	if err != nil {
		return nil, errors.Join(err, bus.Close())
	}
	return d, nil
}
