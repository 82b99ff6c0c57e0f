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

func openDS18B20(s setup.Sensor, with shared) (driver, error) {
	if runtime.GOOS != "linux" {
		return nil, errors.New("1-wire parts are read through Linux' files, which " + runtime.GOOS + " has not")
	}
	part, err := ds18b20.NewKernel(os.DirFS(oneWireRoot), s.Part)
	if err != nil {
		return nil, err
	}
	return poll.New(part, poll.Options{Sensor: s.ID, Fields: []scale.Scale{s.DS18B20()}, Interval: s.Interval(), Room: with.room, Clock: with.clock})
}
