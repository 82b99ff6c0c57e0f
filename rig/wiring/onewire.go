package wiring

import (
	"errors"
	"os"
	"runtime"

	"proofpot/rig/setup"
	"proofpot/sensors/ds18b20"
	"proofpot/sensors/poll"
	"proofpot/sensors/scale"
)

// oneWireRoot is where the kernel keeps 1-wire parts; tests put a folder there.
var oneWireRoot = ds18b20.KernelFolder

// openDS18B20 opens a thermometer on the bus that is named, or through the
// kernel's files.
func openDS18B20(s setup.Sensor, with shared) (driver, error) {
	options := poll.Options{Sensor: s.ID, Fields: []scale.Scale{s.DS18B20()}, Interval: s.Interval(), Room: with.room, Clock: with.clock}
	if s.Bus == "" {
		if runtime.GOOS != "linux" {
			return nil, errors.New("1-wire parts are read through Linux' files, which " + runtime.GOOS + " has not")
		}
		part, err := ds18b20.NewKernel(with.traffic.Files(os.DirFS(oneWireRoot)), s.Part)
		if err != nil {
			return nil, err
		}
		return poll.New(part, options)
	}
	address, err := ds18b20.Address(s.Part)
	if err != nil {
		return nil, err
	}
	bus, err := with.oneWireBus(s.Bus)
	if err != nil {
		return nil, err
	}
	options.Closer = bus.Close
	part, err := ds18b20.New(bus.guard, address)
	if err == nil {
		var d *poll.Driver
		if d, err = poll.New(part, options); err == nil {
			return d, nil
		}
	}
	return nil, errors.Join(err, bus.Close())
}
