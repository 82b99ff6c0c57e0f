package wiring

import (
	"context"
	"errors"

	"periph.io/x/conn/v3/i2c"

	"proofpot/rig/setup"
	"proofpot/sensors/bme280"
	"proofpot/sensors/busguard"
	"proofpot/sensors/ms5803"
	"proofpot/sensors/ms5837"
	"proofpot/sensors/poll"
	"proofpot/sensors/scale"
	"proofpot/sensors/sht3x"
	"proofpot/sensors/sht4x"
	"proofpot/sensors/tca9548a"
)

// i2cParts says how the part behind each driver is made on a bus.
var i2cParts = map[string]func(bus i2c.Bus, addr uint16) (poll.Device, error){
	setup.DriverMS583730BA: part(ms5837.New30BA),
	setup.DriverMS583702BA: part(ms5837.New02BA),
	setup.DriverMS580314BA: part(ms5803.New14BA),
	setup.DriverBME280:     part(bme280.NewBME280),
	setup.DriverBMP280:     part(bme280.NewBMP280),
	setup.DriverSHT3x:      part(sht3x.New),
	setup.DriverSHT4x:      part(sht4x.New),
}

func part[D poll.Device](make func(i2c.Bus, uint16) (D, error)) func(i2c.Bus, uint16) (poll.Device, error) {
	return func(bus i2c.Bus, addr uint16) (poll.Device, error) { return make(bus, addr) }
}

func openI2CPart(s setup.Sensor, with shared) (driver, error) {
	bus, err := with.i2cBus(s.Bus)
	if err != nil {
		return nil, err
	}
	device, err := onI2C(s, bus.guard)
	if err != nil {
		return nil, errors.Join(err, bus.Close())
	}
	fields, outputs := s.I2C()
	p := &picked{Device: device, all: make([]poll.Result, outputs)}
	var scales []scale.Scale
	for _, f := range fields {
		p.which = append(p.which, f.Index)
		scales = append(scales, f.Scale)
	}
	d, err := poll.New(p, poll.Options{
		Sensor: s.ID, Fields: scales, Interval: s.Interval(), Room: with.room, Clock: with.clock, Closer: bus.Close,
	})
	if err != nil {
		return nil, errors.Join(err, bus.Close())
	}
	return d, nil
}

// onI2C makes a part on its bus, or on its multiplexer's.
func onI2C(s setup.Sensor, guard *busguard.Bus) (poll.Device, error) {
	bus, err := behindMux(s, guard)
	if err != nil {
		return nil, err
	}
	return i2cParts[s.Driver](bus, uint16(s.Address))
}

// picked is a part of which some outputs are used.
type picked struct {
	poll.Device
	all   []poll.Result
	which []int
}

// Measure implements poll.Device.
func (p *picked) Measure(ctx context.Context, results []poll.Result) error {
	clear(p.all)
	if err := p.Device.Measure(ctx, p.all); err != nil {
		return err
	}
	for i, from := range p.which {
		results[i] = p.all[from]
	}
	return nil
}

// behindMux is the bus of a part: the multiplexer's where it has one.
func behindMux(s setup.Sensor, guard *busguard.Bus) (i2c.Bus, error) {
	if s.Mux == 0 {
		return guard, nil
	}
	return tca9548a.New(guard, uint16(s.Mux), *s.Channel)
}
