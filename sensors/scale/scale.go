// Package scale turns the number that a device gives into a reading: its unit,
// what its pressure is measured from, what the sensor can show and what can be
// at all. It is the same for every driver, and pure.
package scale

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"proofpot/sensors"
)

// The references of a pressure.
const (
	Absolute    = "absolute"     // above vacuum
	Gauge       = "gauge"        // above the room, through a vent: the room's pressure is added
	SealedGauge = "sealed-gauge" // above what was sealed into the transducer: that is added
)

// References lists the references that a pressure may have.
func References() []string { return []string{Absolute, Gauge, SealedGauge} }

// StandardAtmospherePa is the standard atmosphere, exact by definition (10th
// CGPM, 1954): what a sealed-gauge transducer is taken to hold unless its field
// says otherwise. The true content depends on the day and place of its making
// and moves a reading by some 10 to 40 hPa; a zero check at open vent shows it.
const StandardAtmospherePa = 101325.0

// Scale says what a number of a device means.
type Scale struct {
	From      string           // what the device calls it, for texts
	Quantity  sensors.Quantity //
	Unit      string           // see UnitsOf
	Reference string           // pressures only, see References
	SealedPa  float64          // Pa absolute, sealed into a sealed-gauge transducer; 0: the standard atmosphere
	Low, High float64          // what the sensor can truly show, in Unit; both 0: not declared
}

// Error says which key of a field in bench.toml is wrong, and why.
type Error struct {
	Key  string // "unit", "reference", "sealed_pa", "high"
	Text string
}

func (e *Error) Error() string { return e.Key + ": " + e.Text }

func wrong(key, format string, args ...any) error {
	return &Error{Key: key, Text: fmt.Sprintf(format, args...)}
}

// Check says whether numbers can be read as s says; the error is an *Error.
func (s *Scale) Check() error {
	units := UnitsOf(s.Quantity)
	if !slices.Contains(units, s.Unit) {
		if len(units) == 1 && units[0] == "" {
			return wrong("unit", "%s has no unit; leave it out", s.Quantity)
		}
		return wrong("unit", "%s is no unit of %s; use %s", strconv.Quote(s.Unit), s.Quantity, List(units))
	}
	switch {
	case !IsPressure(s.Quantity):
		if s.Reference != "" {
			return wrong("reference", "only a pressure has a reference; leave it out")
		}
	case s.Reference == "":
		return wrong("reference", "say what the pressure is measured from: %s", List(References()))
	case !slices.Contains(References(), s.Reference):
		return wrong("reference", "%s is no reference of a pressure; use %s", strconv.Quote(s.Reference), List(References()))
	case s.Quantity == sensors.RoomPressure && s.Reference != Absolute:
		return wrong("reference", "a barometer reads absolute pressure; use \"absolute\"")
	}
	if s.SealedPa != 0 && s.Reference != SealedGauge {
		return wrong("sealed_pa", "only a sealed-gauge pressure has one; leave it out")
	}
	if s.SealedPa != 0 && !(s.SealedPa >= 50_000 && s.SealedPa <= 110_000) {
		return wrong("sealed_pa", "%v Pa is no pressure that a transducer is sealed at; 50000 to 110000 Pa absolute is", s.SealedPa)
	}
	if !finite(s.Low) || !finite(s.High) || (s.Low != 0 || s.High != 0) && s.Low >= s.High {
		return wrong("high", "the range %v to %v is empty; low must lie below high, both in %s", s.Low, s.High, s.Unit)
	}
	return nil
}

// Reading makes the reading of a number that the device gave at a time. A
// barometer's is told to the room; a gauge pressure is added to it. Nothing is
// clamped: a number that cannot be is a fault without a value.
func (s *Scale) Reading(sensor string, at time.Duration, number float64, room *Room) sensors.Reading {
	fault := func(status sensors.Status, format string, args ...any) sensors.Reading {
		return sensors.Fault(sensor, s.Quantity, status, at, fmt.Sprintf(format, args...))
	}
	if (s.Low != 0 || s.High != 0) && !(Range{s.Low, s.High}).Holds(number) {
		return fault(sensors.OutOfRange, "%s is %v %s, outside %v to %v", s.From, number, s.Unit, s.Low, s.High)
	}
	value := math.NaN()
	for _, unit := range unitsOf(s.Quantity) {
		if unit.unit == s.Unit {
			value = unit.apply(number)
		}
	}
	switch s.Reference {
	case Gauge:
		pa, why := room.At(at)
		if why != "" {
			return fault(sensors.NoReading, "gauge pressure %s cannot be made absolute: %s", s.From, why)
		}
		value += pa
	case SealedGauge:
		sealed := s.SealedPa
		if sealed == 0 {
			sealed = StandardAtmospherePa
		}
		value += sealed
	}
	if l := Possible(s.Quantity); !l.Holds(value) {
		return fault(sensors.OutOfRange, "%s is %v %s, no %s that can be: %v to %v %s is",
			s.From, number, s.Unit, s.Quantity, l.Low, l.High, s.Quantity.Unit())
	}
	if s.Quantity.TwoState() && value != 0 && value != 1 {
		return fault(sensors.OutOfRange, "%s is %v, neither 0 for dry, shut or released nor 1 for wet, open or pressed", s.From, number)
	}
	if s.Quantity == sensors.RoomPressure {
		room.Saw(value, at)
	}
	return sensors.Reading{Sensor: sensor, Quantity: s.Quantity, Value: value, At: at}
}

// List puts words in quotes and between commas.
func List(words []string) string {
	all := make([]string, len(words))
	for i, w := range words {
		all[i] = strconv.Quote(w)
	}
	if len(all) == 1 {
		return all[0]
	}
	return strings.Join(all[:len(all)-1], ", ") + " or " + all[len(all)-1]
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
