// Package sensors says what a sensor read: a quantity, its value and whether
// that value may be believed.
//
// A reading carries a value only when its status is OK. Nothing is clamped and
// nothing is guessed: a sensor that cannot be read gives a reading whose status
// says so, which the rig records as a fault and never takes for "no change".
package sensors

import (
	"math"
	"time"
)

// Quantity is what a reading measures. It fixes the unit of Reading.Value.
type Quantity uint8

// The quantities of a bench. Every pressure is absolute.
const (
	ChamberPressure Quantity = iota // Pa, absolute
	ChamberGas                      // °C, gas cushion or gas of the chamber
	ChamberWater                    // °C
	ChamberWall                     // °C
	UnitPressure                    // Pa, absolute, inside the unit
	UnitTemperature                 // °C, inside the unit
	UnitHumidity                    // % relative humidity, inside the unit
	ProbeWet                        // 0 dry, 1 wet
	ProbeLevel                      // 0 dry … 1 wet
	RoomPressure                    // Pa, absolute
	RoomTemperature                 // °C
	RoomHumidity                    // % relative humidity
	LidOpen                         // 0 shut, 1 open or not known to be shut
	StopOpen                        // emergency stop: 0 released, 1 pressed, or its wire broken
	FloatOpen                       // float switch: 0 level as it should be, 1 not
	quantities
)

var quantityNames = [quantities]string{
	"chamber pressure", "chamber gas temperature", "chamber water temperature", "chamber wall temperature",
	"inside pressure", "inside temperature", "inside humidity",
	"wet probe", "wet probe level",
	"room pressure", "room temperature", "room humidity",
	"lid switch", "emergency stop", "float switch",
}

var quantityUnits = [quantities]string{
	"Pa", "°C", "°C", "°C", "Pa", "°C", "%RH", "", "", "Pa", "°C", "%RH",
	"", "", "",
}

// String gives the name that bench.toml uses, "chamber pressure" say.
func (q Quantity) String() string {
	if q >= quantities {
		return "unknown quantity"
	}
	return quantityNames[q]
}

// Unit gives the unit of a value of this quantity.
func (q Quantity) Unit() string {
	if q >= quantities {
		return ""
	}
	return quantityUnits[q]
}

// TwoState says whether a value of this quantity is 0 or 1 and nothing between.
func (q Quantity) TwoState() bool {
	switch q {
	case ProbeWet, LidOpen, StopOpen, FloatOpen:
		return true
	}
	return false
}

// QuantityNames lists the names that QuantityNamed understands, in order.
func QuantityNames() []string { return quantityNames[:] }

// QuantityNamed finds a quantity by the name that bench.toml uses.
func QuantityNamed(name string) (Quantity, bool) {
	for q, n := range quantityNames {
		if n == name {
			return Quantity(q), true
		}
	}
	return 0, false
}

// Status says whether a value may be believed, and if not, why.
type Status uint8

// The states of a reading. Only OK comes with a value.
const (
	OK           Status = iota
	NoReading           // asked or due, and nothing came
	Garbled             // something came that cannot be read
	OutOfRange          // a value that the sensor cannot truly have seen
	Disconnected        // the port, bus or wire is gone
	SupplyOff           // the sensor has no supply, or not the right one
	Saturated           // at the end of what the sensor can show
	Restarted           // the device behind the line started anew

	// What sensors/health sees over time, or between two sensors.
	Stale     // neither a value nor a fault: the driver itself hangs
	Stuck     // too quiet for its noise
	Jumping   // readings that leave both neighbours
	Disagrees // too far from a sensor of the same quantity
	Recovered // what was wrong is over; the record keeps it as a note
)

var statusNames = [...]string{
	"ok", "no-reading", "garbled", "out-of-range", "disconnected", "supply-off", "saturated", "restarted",
	"stale", "stuck", "jumping", "disagrees", "recovered",
}

// String gives the word that the record uses as a fault's kind.
func (s Status) String() string {
	if int(s) >= len(statusNames) {
		return "unknown"
	}
	return statusNames[s]
}

// StatusNamed finds a status by the word that the record uses.
func StatusNamed(word string) (Status, bool) {
	for s, w := range statusNames {
		if w == word {
			return Status(s), true
		}
	}
	return OK, false
}

// Reading is one value of one quantity, or the news that there is none.
type Reading struct {
	Sensor   string        // id in bench.toml
	Quantity Quantity      //
	Status   Status        //
	Value    float64       // in the unit of Quantity; NaN unless Status is OK
	At       time.Duration // since the start of the run, by a clock that never jumps
	Text     string        // what happened, where Status is not OK

	Raw    float64 // where HasRaw: Value before the sensor's calibration was applied
	HasRaw bool
}

// Fault makes the reading of a sensor that gave no value.
func Fault(sensor string, q Quantity, s Status, at time.Duration, text string) Reading {
	return Reading{Sensor: sensor, Quantity: q, Status: s, Value: math.NaN(), At: at, Text: text}
}
