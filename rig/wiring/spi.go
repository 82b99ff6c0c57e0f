package wiring

import (
	"errors"

	"periph.io/x/conn/v3/spi"

	"proofpot/rig/setup"
	"proofpot/sensors/busguard"
	"proofpot/sensors/max31865"
	"proofpot/sensors/poll"
	"proofpot/sensors/scale"
)

func openMAX31865(s setup.Sensor, with shared) (driver, error) {
	port, err := openSPIPort(s.SPI)
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
	guard := busguard.NewSPI(s.SPI, with.traffic.SPI(s.SPI, conn), 0)
	device, err := max31865.New(guard, s.Element())
	if err != nil {
		return nil, errors.Join(err, guard.Close())
	}
	d, err := poll.New(device, poll.Options{
		Sensor: s.ID, Fields: []scale.Scale{s.MAX31865()}, Interval: s.Interval(), Room: with.room, Clock: with.clock, Closer: func() error {
			if err := guard.Close(); err != nil {
				return err // it hangs, and closing it would hang too
			}
			return port.Close()
		},
	})
	if err != nil {
		return nil, errors.Join(err, guard.Close())
	}
	return d, nil
}
