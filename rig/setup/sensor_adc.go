package setup

import (
	"errors"
	"fmt"
	"slices"

	"proofpot/sensors"
	"proofpot/sensors/ads1115"
	"proofpot/sensors/scale"
)

// DriverADS1115 is the driver of an ADS1115 or ADS1015 with what hangs at it.
const DriverADS1115 = "ads1115"

var (
	adcAddresses = []int{0x48, 0x49, 0x4a, 0x4b}
	adcInputs    = []string{"ain0", "ain1", "ain2", "ain3"}
	adcSignals   = []string{"ratiometric", "loop", "thermistor", "wet-probe"} // in the order of ads1115's kinds
)

const minADCS = 0.1 // s; four conversions take 40 ms

func (s *Sensor) checkADS1115(key func(string) string) error {
	if err := s.checkI2CPlace(key, adcAddresses); err != nil {
		return err
	}
	if s.IntervalS != 0 && s.IntervalS < minADCS {
		return wrong(key("interval_s"), "%g is faster than the part measures; %g s is the least", s.IntervalS, minADCS)
	}
	if len(s.Fields) == 0 {
		return wrong(key("field"), "no field says what hangs at the part; add [[sensor.field]] with from (%s) and signal", scale.List(adcInputs))
	}
	main := false
	for i, f := range s.Fields {
		at := func(name string) string { return key(fmt.Sprintf("field[%d].%s", i, name)) }
		if err := checkWord(at("from"), f.From, adcInputs); err != nil {
			return err
		}
		if err := checkWord(at("signal"), f.Signal, adcSignals); err != nil {
			return err
		}
		if _, err := ads1115.RangeOf(f.RangeV); err != nil {
			return wrong(at("range_v"), "%v", err)
		}
		if n := len(f.Steinhart); n != 0 && (n != 3 || f.Signal != "thermistor") {
			return wrong(at("steinhart_hart"), "a thermistor has three of these numbers, A, B and C; here are %d", n)
		}
		q := s.fieldQuantity(f)
		main = main || q.String() == s.Measures
		switch f.Signal {
		case "thermistor":
			if !slices.Contains(scale.UnitsOf(q), "C") {
				return wrong(at("measures"), "a thermistor cannot measure %s", q)
			}
		case "wet-probe":
			if q != sensors.ProbeWet {
				return wrong(at("measures"), "a wet probe cannot measure %s", q)
			}
		default:
			if q.TwoState() {
				return wrong(at("measures"), "a transducer cannot measure %s", q)
			}
		}
		meaning := s.adcScale(f)
		if err := meaning.Check(); err != nil {
			var wrongKey *scale.Error
			if errors.As(err, &wrongKey) {
				return wrong(at(wrongKey.Key), "%s", wrongKey.Text)
			}
			return err
		}
	}
	if !main {
		return wrong(key("measures"), "no field of this sensor measures %s", s.Measures)
	}
	supply, inputs, _ := s.ADS1115()
	if _, err := ads1115.New(nil, uint16(s.Address), supply, inputs); err != nil {
		return wrong(key("field"), "%v", err)
	}
	return nil
}

// ADS1115 says what hangs at the part and what its values mean.
func (s Sensor) ADS1115() (ads1115.Supply, []ads1115.Input, []scale.Scale) {
	supply := ads1115.Supply{Channel: slices.Index(adcInputs, s.SupplyInput), Low: s.SupplyLowV, High: s.SupplyHighV, DividedBy: s.SupplyDividedBy}
	var inputs []ads1115.Input
	var scales []scale.Scale
	for _, f := range s.Fields {
		in := ads1115.Input{Channel: slices.Index(adcInputs, f.From), Kind: ads1115.Kind(max(0, slices.Index(adcSignals, f.Signal))), Low: f.Low, High: f.High,
			DividedBy: f.DividedBy, ShuntOhm: f.ShuntOhm, SeriesOhm: f.SeriesOhm, R25Ohm: f.R25Ohm, BetaK: f.BetaK, EndOhm: f.EndOhm}
		in.Range, _ = ads1115.RangeOf(f.RangeV) // checked
		copy(in.Steinhart[:], f.Steinhart)
		inputs = append(inputs, in)
		scales = append(scales, s.adcScale(f))
	}
	return supply, inputs, scales
}

// adcScale says what an input's value means. A transducer's own limits are those
// of its signal, which the driver keeps.
func (s Sensor) adcScale(f Field) scale.Scale {
	m := scale.Scale{From: f.From, Quantity: s.fieldQuantity(f)}
	switch f.Signal {
	case "thermistor":
		m.Unit = "C"
	case "wet-probe":
	default:
		m.Unit, m.Reference, m.SealedPa = f.Unit, f.Reference, f.SealedPa
	}
	return m
}
