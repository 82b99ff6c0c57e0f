package setup

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"proofpot/sensors"
	"proofpot/sensors/scale"
)

// The drivers of parts on an I2C bus. proofpot sensors --probe calls the parts by
// the names that their makers have.
const (
	DriverMS583730BA = "ms5837-30ba"
	DriverMS583702BA = "ms5837-02ba"
	DriverMS580314BA = "ms5803-14ba"
	DriverBME280     = "bme280"
	DriverBMP280     = "bmp280"
	DriverSHT3x      = "sht3x"
	DriverSHT4x      = "sht4x"
)

// The outputs of those parts, which a field's from names.
const (
	OutputPressure    = "pressure"
	OutputTemperature = "temperature"
	OutputHumidity    = "humidity"
)

// i2cPart is what bench.toml must know of a part: its addresses, and its outputs
// in the order of its driver's results.
type i2cPart struct {
	addresses []int
	outputs   []string
}

var i2cParts = map[string]i2cPart{
	DriverMS583730BA: {[]int{0x76}, []string{OutputPressure, OutputTemperature}},
	DriverMS583702BA: {[]int{0x76}, []string{OutputPressure, OutputTemperature}},
	DriverMS580314BA: {[]int{0x76, 0x77}, []string{OutputPressure, OutputTemperature}},
	DriverBME280:     {[]int{0x76, 0x77}, []string{OutputPressure, OutputTemperature, OutputHumidity}},
	DriverBMP280:     {[]int{0x76, 0x77}, []string{OutputPressure, OutputTemperature}},
	DriverSHT3x:      {[]int{0x44, 0x45}, []string{OutputTemperature, OutputHumidity}},
	DriverSHT4x:      {[]int{0x44, 0x45, 0x46}, []string{OutputTemperature, OutputHumidity}},
}

const (
	minMux, maxMux = 0x70, 0x77
	muxChannels    = 8
	minI2CS        = 0.1 // s; the slowest part needs 60 ms with its multiplexer
)

// units of the outputs: what the drivers give.
var outputUnits = map[string]string{OutputPressure: "Pa", OutputTemperature: "C", OutputHumidity: "%"}

func (s *Sensor) checkI2C(key func(string) string) error {
	part := i2cParts[s.Driver]
	if err := s.checkI2CPlace(key, part.addresses); err != nil {
		return err
	}
	if s.IntervalS != 0 && s.IntervalS < minI2CS {
		return wrong(key("interval_s"), "%g is faster than the part measures; %g s is the least", s.IntervalS, minI2CS)
	}
	if len(s.Fields) == 0 {
		return wrong(key("field"), "no field says what the part measures; add [[sensor.field]] with from (%s) and measures", scale.List(part.outputs))
	}
	main := false
	for i, f := range s.Fields {
		at := func(name string) string { return key(fmt.Sprintf("field[%d].%s", i, name)) }
		if err := checkWord(at("from"), f.From, part.outputs); err != nil {
			return err
		}
		if f.Unit != "" || f.Reference != "" || f.SealedPa != 0 || f.Low != 0 || f.High != 0 {
			return wrong(at("from"), "a %s knows its unit, reference (absolute) and range; give from and measures alone", s.Driver)
		}
		q := s.fieldQuantity(f)
		if unit := outputUnits[f.From]; !slices.Contains(scale.UnitsOf(q), unit) {
			return wrong(at("measures"), "%s of a part is no %s", f.From, q)
		}
		for j, other := range s.Fields[:i] {
			if other.From == f.From || s.fieldQuantity(other) == q {
				return wrong(at("measures"), "%s as %s: field %d has one of them already", f.From, q, j+1)
			}
		}
		main = main || q.String() == s.Measures
	}
	if !main {
		return wrong(key("measures"), "no field of this sensor measures %s", s.Measures)
	}
	return nil
}

// checkI2CPlace checks where a part is.
func (s *Sensor) checkI2CPlace(key func(string) string, addresses []int) error {
	if err := checkBusNumber(key("bus"), s.Bus, "I2C bus", "/dev/i2c-N"); err != nil {
		return err
	}
	if !slices.Contains(addresses, s.Address) {
		return wrong(key("address"), "0x%02x is no address of a %s; %s", s.Address, s.Driver, hexList(addresses))
	}
	switch {
	case s.Mux == 0 && s.Channel != nil:
		return wrong(key("channel"), "channel of what? give mux, the multiplexer's address, too")
	case s.Mux == 0:
		return nil
	case s.Mux < minMux || s.Mux > maxMux:
		return wrong(key("mux"), "0x%02x is no address of a TCA9548A; 0x70 to 0x77 are", s.Mux)
	case s.Channel == nil:
		return wrong(key("channel"), "which channel of the multiplexer? give 0 to %d", muxChannels-1)
	case *s.Channel < 0 || *s.Channel >= muxChannels:
		return wrong(key("channel"), "%d is no channel of a TCA9548A; 0 to %d are", *s.Channel, muxChannels-1)
	case s.Mux == s.Address:
		return wrong(key("mux"), "0x%02x is the part's own address; set the multiplexer to another", s.Mux)
	}
	return nil
}

// checkBusNumber checks the kernel's number of a bus.
func checkBusNumber(key, number, what, like string) error {
	if n, err := strconv.ParseUint(number, 10, 8); err != nil || strconv.FormatUint(n, 10) != number {
		return wrong(key, "%q is no %s; give the number of %s as text, \"1\": proofpot sensors lists them", number, what, like)
	}
	return nil
}

func hexList(addresses []int) string {
	words := make([]string, len(addresses))
	for i, a := range addresses {
		words[i] = fmt.Sprintf("0x%02x", a)
	}
	if len(words) == 1 {
		return words[0] + " is"
	}
	return strings.Join(words, ", ") + " are"
}

func (s *Sensor) fieldQuantity(f Field) sensors.Quantity {
	name := f.Measures
	if name == "" {
		name = s.Measures
	}
	q, _ := sensors.QuantityNamed(name)
	return q
}

// onSamePlace says whether two sensors would answer the same call on a bus: the
// same address on the same channel, one of them before the multiplexer, or where
// the other's multiplexer is.
func (s *Sensor) onSamePlace(other *Sensor) bool {
	if s.Bus == "" || s.Bus != other.Bus || s.Driver == DriverDS18B20 || other.Driver == DriverDS18B20 {
		return false // on 1-Wire each part has an address of its own
	}
	if s.Address == other.Mux || s.Mux == other.Address && s.Mux != 0 {
		return true
	}
	if s.Address != other.Address {
		return false
	}
	apart := s.Mux != 0 && other.Mux != 0 && (s.Mux != other.Mux || s.Channel == nil || other.Channel == nil || *s.Channel != *other.Channel)
	return !apart
}

// Output is one output of a part and what it means.
type Output struct {
	Index int // among the results of the part's driver
	Scale scale.Scale
}

// I2C says what the outputs of a part on an I2C bus mean, in the order of its
// fields, and how many the part has. Check has seen to it that they can be.
func (s Sensor) I2C() (fields []Output, outputs int) {
	part := i2cParts[s.Driver]
	for _, f := range s.Fields {
		q := s.fieldQuantity(f)
		o := Output{slices.Index(part.outputs, f.From), scale.Scale{From: f.From, Quantity: q, Unit: outputUnits[f.From]}}
		if scale.IsPressure(q) {
			o.Scale.Reference = scale.Absolute
		}
		fields = append(fields, o)
	}
	return fields, len(part.outputs)
}
