package scale

import "proofpot/sensors"

// linear turns a number into the unit of a reading: value × scale + offset.
type linear struct {
	unit          string
	scale, offset float64
}

func (l linear) apply(x float64) float64 { return x*l.scale + l.offset }

// The units of a field. The psi follows from the pound of 0.45359237 kg, the
// standard gravity of 9.80665 m/s² and the inch of 0.0254 m, all exact by
// definition; the other pressures are multiples of the pascal (SI brochure).
// 0 °C is 273.15 K; °F = °C × 9/5 + 32.
var (
	pressureUnits = []linear{
		{"Pa", 1, 0}, {"hPa", 1e2, 0}, {"mbar", 1e2, 0}, {"kPa", 1e3, 0}, {"bar", 1e5, 0}, {"MPa", 1e6, 0},
		{"psi", 0.45359237 * 9.80665 / (0.0254 * 0.0254), 0},
	}
	temperatureUnits = []linear{{"C", 1, 0}, {"K", 1, -273.15}, {"F", 5.0 / 9, -160.0 / 9}}
	humidityUnits    = []linear{{"%", 1, 0}}
	levelUnits       = []linear{{"", 1, 0}, {"%", 0.01, 0}}
	stateUnits       = []linear{{"", 1, 0}}
)

func unitsOf(q sensors.Quantity) []linear {
	switch q {
	case sensors.ChamberPressure, sensors.UnitPressure, sensors.RoomPressure:
		return pressureUnits
	case sensors.ChamberGas, sensors.ChamberWater, sensors.ChamberWall, sensors.UnitTemperature, sensors.RoomTemperature:
		return temperatureUnits
	case sensors.UnitHumidity, sensors.RoomHumidity:
		return humidityUnits
	case sensors.ProbeLevel:
		return levelUnits
	}
	if q.TwoState() {
		return stateUnits
	}
	return nil
}

// UnitsOf lists the units in which a field of this quantity may be written; an
// empty one means a bare number.
func UnitsOf(q sensors.Quantity) []string {
	var names []string
	for _, l := range unitsOf(q) {
		names = append(names, l.unit)
	}
	return names
}

// IsPressure says whether a quantity is a pressure, and so has a reference.
func IsPressure(q sensors.Quantity) bool {
	return q == sensors.ChamberPressure || q == sensors.UnitPressure || q == sensors.RoomPressure
}

// Range is what a value can be, both ends in.
type Range struct{ Low, High float64 }

// Holds says whether a value lies in the range; NaN does not.
func (r Range) Holds(x float64) bool { return x >= r.Low && x <= r.High }

// Possible gives what a value of a quantity can be at all, in the reading's
// unit, whatever the sensor: outside it the wire, the chip or the mapping is
// wrong. An absolute pressure is never negative, and 100 MPa is ten times what a
// bench pot holds. A thermometer of a bench shows −60 to 150 °C: −127 °C and
// −273 °C are what broken wires read. Weather has been seen between 50 kPa (some
// 5,500 m up) and 110 kPa. A hygrometer may overshoot saturation and dryness by
// its accuracy of a few %.
func Possible(q sensors.Quantity) Range {
	switch q {
	case sensors.ChamberPressure, sensors.UnitPressure:
		return Range{0, 100e6}
	case sensors.RoomPressure:
		return Range{50e3, 110e3}
	case sensors.UnitHumidity, sensors.RoomHumidity:
		return Range{-5, 105}
	case sensors.ProbeLevel:
		return Range{0, 1}
	}
	if q.TwoState() {
		return Range{0, 1}
	}
	return Range{-60, 150}
}
