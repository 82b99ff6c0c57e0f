package setup

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/serialline/textline"
)

// DriverSerialLine is the driver of devices that print text lines over a serial
// port.
const DriverSerialLine = "serial-line"

// Drivers lists the drivers that a sensor may name.
func Drivers() []string { return []string{DriverSerialLine} }

// checkSensors checks each sensor and what they are together.
func (b *Bench) checkSensors() error {
	ids, ports := map[string]bool{}, map[string]string{}
	chamber, barometer := false, ""
	for i, s := range b.Sensors {
		key := func(name string) string { return fmt.Sprintf("sensor[%d].%s", i, name) }
		if err := checkID(key("id"), s.ID, "p1"); err != nil {
			return err
		}
		if ids[s.ID] {
			return wrong(key("id"), "two sensors are called %q; each needs a name of its own", s.ID)
		}
		ids[s.ID] = true
		if err := s.check(key); err != nil {
			return err
		}
		if other, taken := ports[s.Port]; taken && s.Port != "" {
			return wrong(key("port"), "sensor %q has that port; a device that measures several things is one sensor with several [[sensor.field]]", other)
		}
		ports[s.Port] = s.ID
		chamber = chamber || s.Measures == sensors.ChamberPressure.String()
		if s.measures(sensors.RoomPressure) {
			if barometer != "" {
				return wrong(key("measures"), "sensor %q is the barometer already; a bench has one", barometer)
			}
			barometer = s.ID
		}
	}
	if !chamber {
		return wrong("sensor", "no sensor measures the chamber; one [[sensor]] needs measures = %q", sensors.ChamberPressure)
	}
	if barometer != "" || b.RoomPa != 0 {
		return nil
	}
	for i, s := range b.Sensors {
		for j, f := range s.Fields {
			if f.Reference == textline.Gauge {
				return wrong(fmt.Sprintf("sensor[%d].field[%d].reference", i, j),
					"a gauge pressure needs the room's to become absolute; add a barometer, or room_pa from one that you read")
			}
		}
	}
	return nil
}

// HasBarometer says whether a sensor measures the pressure of the room.
func (b Bench) HasBarometer() bool {
	return slices.ContainsFunc(b.Sensors, func(s Sensor) bool { return s.measures(sensors.RoomPressure) })
}

func (s *Sensor) measures(q sensors.Quantity) bool {
	if s.Measures == q.String() {
		return true
	}
	return slices.ContainsFunc(s.Fields, func(f Field) bool { return f.Measures == q.String() })
}

func (s *Sensor) check(key func(string) string) error {
	if err := checkWord(key("measures"), s.Measures, sensors.QuantityNames()); err != nil {
		return err
	}
	if !within(s.NoisePa, 0, maxErrorPa) {
		return wrong(key("noise_pa"), "%g must be 0 to %g Pa", s.NoisePa, maxErrorPa)
	}
	if !within(s.AccuracyPa, 0, maxErrorPa) {
		return wrong(key("accuracy_pa"), "%g must be 0 to %g Pa", s.AccuracyPa, maxErrorPa)
	}
	if s.Driver == "" {
		if s.Port != "" || s.Line != "" || len(s.Fields) > 0 {
			return wrong(key("driver"), "nothing says how the sensor is read; give driver = %q", DriverSerialLine)
		}
		return nil
	}
	if err := checkWord(key("driver"), s.Driver, Drivers()); err != nil {
		return err
	}
	return s.checkSerialLine(key)
}

func (s *Sensor) checkSerialLine(key func(string) string) error {
	if strings.TrimSpace(s.Port) == "" {
		return wrong(key("port"), "no serial port; give its name, best one below /dev/serial/by-id, which stays with the device")
	}
	if !slices.Contains(textline.Bauds(), s.Baud) {
		return wrong(key("baud"), "%d is no usual rate of a serial port; use one of %s, the one that the device prints at",
			s.Baud, strings.Trim(fmt.Sprint(textline.Bauds()), "[]"))
	}
	for i, f := range s.Fields {
		if f.Measures != "" {
			if err := checkWord(key(fmt.Sprintf("field[%d].measures", i)), f.Measures, sensors.QuantityNames()); err != nil {
				return err
			}
		}
		if f.IntervalS < 0 || f.IntervalS > maxIntervalS {
			return wrong(key(fmt.Sprintf("field[%d].interval_s", i)), "%g must be above 0 and at most %d s", f.IntervalS, maxIntervalS)
		}
	}
	if s.IntervalS < 0 || s.IntervalS > maxIntervalS {
		return wrong(key("interval_s"), "%g must be above 0 and at most %d s", s.IntervalS, maxIntervalS)
	}
	config := s.TextLine()
	if err := config.Check(); err != nil {
		var at *textline.ConfigError
		if errors.As(err, &at) {
			return wrong(key(at.Key), "%s", at.Text)
		}
		return err
	}
	return nil
}

const (
	maxIntervalS     = 3600
	defaultIntervalS = 1
)

// Interval is the time between two values that the sensor is expected to keep.
func (s Sensor) Interval() time.Duration {
	if s.IntervalS == 0 {
		return defaultIntervalS * time.Second
	}
	return seconds(s.IntervalS)
}

// TextLine says how to read the lines of a sensor whose driver is serial-line.
// The quantities of its fields must be known ones: Check has seen to that.
func (s Sensor) TextLine() textline.Config {
	main, _ := sensors.QuantityNamed(s.Measures)
	c := textline.Config{
		Sensor: s.ID, Shape: s.Line, DecimalComma: s.DecimalComma, Separator: s.Separator,
		Checksum: s.Checksum, Sequence: s.Sequence, Banner: s.Banner, Main: main,
	}
	for _, f := range s.Fields {
		q := main
		if f.Measures != "" {
			q, _ = sensors.QuantityNamed(f.Measures)
		}
		c.Fields = append(c.Fields, textline.Field{
			From: f.From, Quantity: q, Unit: f.Unit, Reference: f.Reference, SealedPa: f.SealedPa,
			Low: f.Low, High: f.High, Interval: seconds(f.IntervalS),
		})
	}
	return c
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
