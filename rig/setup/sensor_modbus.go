package setup

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/modbus"
	"proofpot/sensors/scale"
	"proofpot/sensors/serialport"
)

// DriverModbus is the driver of transmitters that speak Modbus RTU.
const DriverModbus = "modbus"

const maxTimeoutS = 10

func (s *Sensor) checkPort(key func(string) string) error {
	if strings.TrimSpace(s.Port) == "" {
		return wrong(key("port"), "no serial port; give its name, best one below /dev/serial/by-id, which stays with the device")
	}
	if !slices.Contains(serialport.Bauds(), s.Baud) {
		return wrong(key("baud"), "%d is no usual rate of a serial port; use one of %s, the one that the device is set to",
			s.Baud, strings.Trim(fmt.Sprint(serialport.Bauds()), "[]"))
	}
	if s.Parity != "" {
		if err := checkWord(key("parity"), s.Parity, serialport.Parities()); err != nil {
			return err
		}
	}
	if s.StopBits < 0 || s.StopBits > 2 {
		return wrong(key("stop_bits"), "%d is no number of stop bits; give 1 or 2", s.StopBits)
	}
	return nil
}

// SerialPort says how the port of a sensor is set.
func (s Sensor) SerialPort() serialport.Settings {
	return serialport.Settings{Baud: s.Baud, Parity: s.Parity, StopBits: s.StopBits}
}

func (s *Sensor) checkModbus(key func(string) string) error {
	if err := s.checkPort(key); err != nil {
		return err
	}
	if s.Parity == "" {
		return wrong(key("parity"), "say what the device is set to: \"even\" as the specification has it, or \"none\" as most transmitters")
	}
	if s.ModbusAddress < 1 || s.ModbusAddress > 247 {
		return wrong(key("modbus_address"), "%d is no address of a device; 1 to 247 are", s.ModbusAddress)
	}
	if s.TimeoutS < 0 || s.TimeoutS > maxTimeoutS {
		return wrong(key("timeout_s"), "%g must be above 0 and at most %d s", s.TimeoutS, maxTimeoutS)
	}
	if len(s.Fields) == 0 {
		return wrong(key("field"), "no field says where the values stand; add [[sensor.field]] with from, type, measures and unit")
	}
	fields, err := s.Modbus()
	if err != nil {
		var at *scale.Error
		if errors.As(err, &at) {
			return wrong(key(at.Key), "%s", at.Text)
		}
		return err
	}
	main := false
	for i, f := range fields {
		for j := range i {
			if fields[j].Scale.Quantity == f.Scale.Quantity {
				return wrong(key(fmt.Sprintf("field[%d].measures", i)), "%s is measured by field %d of this sensor already; a second one is a sensor of its own", f.Scale.Quantity, j+1)
			}
		}
		main = main || f.Scale.Quantity.String() == s.Measures
	}
	if !main {
		return wrong(key("measures"), "no field of this sensor measures %s", s.Measures)
	}
	return nil
}

// Modbus says how to read the registers of a sensor whose driver is modbus. The
// error is a *scale.Error whose key is relative to the sensor.
func (s Sensor) Modbus() ([]modbus.Field, error) {
	main, _ := sensors.QuantityNamed(s.Measures)
	var fields []modbus.Field
	for i, f := range s.Fields {
		at := func(err error) error {
			var w *scale.Error
			if errors.As(err, &w) {
				return &scale.Error{Key: fmt.Sprintf("field[%d].%s", i, w.Key), Text: w.Text}
			}
			return err
		}
		register := func(key, text string) (*uint16, error) {
			if text == "" && key != "from" {
				return nil, nil
			}
			n, err := modbus.RegisterNamed(text)
			if err != nil {
				return nil, at(&scale.Error{Key: key, Text: err.Error()})
			}
			return &n, nil
		}
		m := modbus.Field{Function: byte(f.Function), Type: f.Type, WordOrder: f.WordOrder, Decimals: f.Decimals, UnitCode: uint16(f.UnitCode)}
		if f.Function == 0 {
			m.Function = modbus.ReadHolding
		} else if f.Function != int(m.Function) {
			return nil, at(&scale.Error{Key: "function", Text: fmt.Sprintf("%d does not read registers; give 3 or 4", f.Function)})
		}
		from, err := register("from", f.From)
		if err != nil {
			return nil, err
		}
		m.Register = *from
		if m.DecimalsFrom, err = register("decimals_from", f.DecimalsFrom); err != nil {
			return nil, err
		}
		if m.UnitFrom, err = register("unit_from", f.UnitFrom); err != nil {
			return nil, err
		}
		if f.UnitCode != int(m.UnitCode) {
			return nil, at(&scale.Error{Key: "unit_code", Text: fmt.Sprintf("%d does not fit into a register; 0 to 65535 do", f.UnitCode)})
		}
		if f.UnitFrom == "" && f.UnitCode != 0 {
			return nil, at(&scale.Error{Key: "unit_code", Text: "unit_from says where the device shows it; give both or none"})
		}
		q := main
		if f.Measures != "" {
			q, _ = sensors.QuantityNamed(f.Measures)
		}
		m.Scale = scale.Scale{From: "register " + f.From, Quantity: q, Unit: f.Unit, Reference: f.Reference, SealedPa: f.SealedPa, Low: f.Low, High: f.High}
		if err := errors.Join(m.Check(), m.Scale.Check()); err != nil {
			return nil, at(err)
		}
		fields = append(fields, m)
	}
	return fields, nil
}

// Timeout is how long a device may take to answer; 0: as the driver has it.
func (s Sensor) Timeout() time.Duration { return seconds(s.TimeoutS) }

// sharesPort says whether two sensors may have the same port: devices on one
// line that is set the same for all.
func (s *Sensor) sharesPort(other *Sensor) error {
	if s.Driver != DriverModbus || other.Driver != DriverModbus {
		return fmt.Errorf("sensor %q has that port; a device that measures several things is one sensor with several [[sensor.field]]", other.ID)
	}
	if s.SerialPort() != other.SerialPort() || s.TimeoutS != other.TimeoutS {
		return fmt.Errorf("sensor %q is on the same line with another baud, parity, stop_bits or timeout_s; all devices of a line have the same", other.ID)
	}
	return nil
}
