package setup

import (
	"slices"
	"strconv"
	"strings"

	"proofpot/sensors/max31865"
	"proofpot/sensors/scale"
)

// DriverMAX31865 is the driver of Pt100 and Pt1000 thermometers on SPI.
const DriverMAX31865 = "max31865"

const minSPIS = 0.2 // s; a measurement takes 0.11 s

func (s *Sensor) checkMAX31865(key func(string) string) error {
	q := s.fieldQuantity(Field{})
	switch {
	case !slices.Contains(scale.UnitsOf(q), "C"):
		return wrong(key("measures"), "a MAX31865 reads a thermometer; it cannot measure %s", q)
	case len(s.Fields) > 0:
		return wrong(key("field"), "a MAX31865 gives one temperature, in °C; leave the fields out")
	case s.IntervalS != 0 && s.IntervalS < minSPIS:
		return wrong(key("interval_s"), "%g is faster than the part measures; %g s is the least", s.IntervalS, minSPIS)
	}
	bus, line, _ := strings.Cut(s.SPI, ".")
	for _, n := range []string{bus, line} {
		if i, err := strconv.ParseUint(n, 10, 8); err != nil || strconv.FormatUint(i, 10) != n {
			return wrong(key("spi"), "%q is no place on SPI; give the numbers of /dev/spidevN.M as text, \"0.0\"", s.SPI)
		}
	}
	if name, text := s.Element().Check(); name != "" {
		return wrong(key(name), "%s", text)
	}
	return nil
}

// Element is what is connected to a MAX31865.
func (s Sensor) Element() max31865.Element {
	return max31865.Element{R0Ohm: s.R0Ohm, ReferenceOhm: s.ReferenceOhm, Wires: s.Wires, MainsHz: s.MainsHz}
}

// MAX31865 says what the part's temperature means. Check has seen to it that it
// can be.
func (s Sensor) MAX31865() scale.Scale {
	return scale.Scale{From: "temperature", Quantity: s.fieldQuantity(Field{}), Unit: "C"}
}
