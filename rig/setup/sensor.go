package setup

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/scale"
)

// checks says how the keys of each driver that a sensor may name are checked.
// One file a kind of driver holds its keys and its checks.
var checks = map[string]func(s *Sensor, key func(string) string) error{
	DriverADS1115:    (*Sensor).checkADS1115,
	DriverDS18B20:    (*Sensor).checkDS18B20,
	DriverFileLine:   (*Sensor).checkFileLine,
	DriverGPIOLine:   (*Sensor).checkGPIOLine,
	DriverModbus:     (*Sensor).checkModbus,
	DriverSerialLine: (*Sensor).checkSerialLine,
	DriverTyped:      (*Sensor).checkTyped,

	DriverMS583730BA: (*Sensor).checkI2C,
	DriverMS583702BA: (*Sensor).checkI2C,
	DriverMS580314BA: (*Sensor).checkI2C,
	DriverBME280:     (*Sensor).checkI2C,
	DriverBMP280:     (*Sensor).checkI2C,
	DriverSHT3x:      (*Sensor).checkI2C,
	DriverSHT4x:      (*Sensor).checkI2C,
	DriverMAX31865:   (*Sensor).checkMAX31865,
}

// Drivers lists the drivers that a sensor may name, in alphabetical order.
func Drivers() []string { return slices.Sorted(maps.Keys(checks)) }

// checkSensors checks each sensor and what they are together.
func (b *Bench) checkSensors() error {
	ids, ports := map[string]bool{}, map[string]*Sensor{}
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
		if other := ports[s.Port]; other != nil && s.Port != "" {
			if err := s.sharesPort(other); err != nil {
				return wrong(key("port"), "%v", err)
			}
		}
		ports[s.Port] = &s
		for _, other := range b.Sensors[:i] {
			if s.onSamePlace(&other) {
				return wrong(key("address"), "sensor %q is at 0x%02x of bus %q too; two parts with one address need a multiplexer (mux and channel)", other.ID, s.Address, s.Bus)
			}
			if s.Part != "" && s.Part == other.Part {
				return wrong(key("part"), "sensor %q reads it already", other.ID)
			}
			if s.SPI != "" && s.SPI == other.SPI {
				return wrong(key("spi"), "sensor %q reads it already", other.ID)
			}
		}
		if !chamber && s.Driver == DriverTyped && s.Measures == sensors.ChamberPressure.String() {
			return wrong(key("driver"), "a typed reading comes too seldom to guard a pot; put a transducer before it")
		}
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
			if f.Reference == scale.Gauge {
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
		if s.Port != "" || s.Line != "" || s.Bus != "" || s.Part != "" || s.SPI != "" || len(s.Fields) > 0 {
			return wrong(key("driver"), "nothing says how the sensor is read; give driver, one of %s", strings.Join(quoted(Drivers()), ", "))
		}
		return nil
	}
	if err := checkWord(key("driver"), s.Driver, Drivers()); err != nil {
		return err
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
	return checks[s.Driver](s, key)
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

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
