package wiring

import (
	"errors"

	"periph.io/x/conn/v3/spi"

	"proofpot/rig/setup"
	"proofpot/sensors/max31865"
	"proofpot/sensors/poll"
	"proofpot/sensors/scale"
)

// openSPI opens SPI; tests put another there.
var openSPI = openSPIPort

func openMAX31865(s setup.Sensor, with shared) (driver, error) {
	port, err := openSPI(s.SPI)
	if err != nil {
		return nil, err
	}
	d, err := onSPI(s, with, port)
	if err != nil {
		return nil, errors.Join(err, port.Close())
	}
	return d, nil
}

// onSPI makes the part on its port.
func onSPI(s setup.Sensor, with shared, port spi.PortCloser) (*poll.Driver, error) {
	conn, err := port.Connect(max31865.Speed, max31865.Mode, 8)
	if err != nil {
		return nil, err
	}
	device, err := max31865.New(conn, s.Element())
	if err != nil {
		return nil, err
	}
	return poll.New(device, poll.Options{
		Sensor: s.ID, Fields: []scale.Scale{s.MAX31865()}, Interval: s.Interval(), Room: with.room, Clock: with.clock, Closer: port.Close,
	})
}
