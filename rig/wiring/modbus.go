package wiring

import (
	"errors"
	"time"

	"proofpot/rig/setup"
	"proofpot/sensors/modbus"
	"proofpot/sensors/poll"
	"proofpot/sensors/scale"
)

// modbusRead is how long a read of a Modbus line waits for a byte: it bounds how
// late a timeout is noticed.
const modbusRead = 20 * time.Millisecond

// openModbus opens a device on its line, and the line with its first device.
// Closing one of them closes the line: they are closed together.
func openModbus(s setup.Sensor, with shared) (driver, error) {
	line := with.modbus[s.Port]
	if line == nil {
		settings := s.SerialPort()
		settings.Timeout = modbusRead
		line = modbus.NewLine(func() (modbus.Port, error) { return with.port(s.Port, settings) }, s.Baud, s.Timeout())
		if err := line.Open(); err != nil {
			return nil, err
		}
		with.modbus[s.Port] = line
	}
	fields, err := s.Modbus()
	if err != nil {
		return nil, errors.Join(err, line.Close())
	}
	device, err := modbus.NewDevice(line, byte(s.ModbusAddress), fields)
	if err != nil {
		return nil, errors.Join(err, line.Close())
	}
	var scales []scale.Scale
	for _, f := range fields {
		scales = append(scales, f.Scale)
	}
	d, err := poll.New(device, poll.Options{
		Sensor: s.ID, Fields: scales, Interval: s.Interval(), Room: with.room, Clock: with.clock, Closer: line.Close,
	})
	if err != nil {
		return nil, errors.Join(err, line.Close())
	}
	return d, nil
}
