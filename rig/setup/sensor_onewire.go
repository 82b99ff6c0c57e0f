package setup

import (
	"slices"

	"proofpot/sensors/ds18b20"
	"proofpot/sensors/scale"
)

// DriverDS18B20 is the driver of a thermometer on a 1-Wire bus.
const DriverDS18B20 = "ds18b20"

const minDS18B20S = 1 // s; a conversion takes 0.75 s

func (s *Sensor) checkDS18B20(key func(string) string) error {
	q := s.fieldQuantity(Field{})
	switch {
	case !slices.Contains(scale.UnitsOf(q), "C"):
		return wrong(key("measures"), "a DS18B20 is a thermometer; it cannot measure %s", s.Measures)
	case len(s.Fields) > 0:
		return wrong(key("field"), "a DS18B20 gives one temperature, in °C; leave the fields out")
	case s.IntervalS != 0 && s.IntervalS < minDS18B20S:
		return wrong(key("interval_s"), "%g is faster than the part measures; %d s is the least", s.IntervalS, minDS18B20S)
	}
	if s.Bus != "" {
		if err := checkBusNumber(key("bus"), s.Bus, "1-Wire bus", "w1_bus_masterN"); err != nil {
			return err
		}
	}
	if _, err := ds18b20.Address(s.Part); err != nil {
		return wrong(key("part"), "%v", err)
	}
	return nil
}

// DS18B20 says what the part's temperature means.
func (s Sensor) DS18B20() scale.Scale {
	return scale.Scale{From: s.Part, Quantity: s.fieldQuantity(Field{}), Unit: "C"}
}
