package setup

import (
	"errors"

	"proofpot/sensors"
	"proofpot/sensors/scale"
)

// DriverTyped is the driver of a gauge that a person reads and types.
const DriverTyped = "typed"

const leastTypedS = 30 // s

func (s *Sensor) checkTyped(key func(string) string) error {
	if s.Port != "" || s.Line != "" || s.Chip != "" || s.Path != "" {
		return wrong(key("driver"), "a person has no port, line, chip or path; leave them out")
	}
	if len(s.Fields) != 1 {
		return wrong(key("field"), "a typed sensor has one [[sensor.field]], with unit and, for a pressure, reference")
	}
	if !(s.Division > 0 && s.Division <= 1e9) {
		return wrong(key("division"), "%g is no division of a scale; give the step between two marks, in the field's unit", s.Division)
	}
	if s.IntervalS < leastTypedS {
		return wrong(key("interval_s"), "%g: a person can be asked every %d s at most; 600 is usual", s.IntervalS, leastTypedS)
	}
	if f := s.Fields[0]; f.Measures != "" && f.Measures != s.Measures {
		return wrong(key("field[0].measures"), "a typed sensor measures one thing, %s; leave it out", s.Measures)
	}
	meaning := s.TypedScale()
	if err := meaning.Check(); err != nil {
		var at *scale.Error
		if errors.As(err, &at) {
			return wrong(key("field[0]."+at.Key), "%s", at.Text)
		}
		return err
	}
	return nil
}

// TypedScale says what a typed number means.
func (s Sensor) TypedScale() scale.Scale {
	q, _ := sensors.QuantityNamed(s.Measures)
	f := s.Fields[0]
	return scale.Scale{From: s.ID, Quantity: q, Unit: f.Unit, Reference: f.Reference, SealedPa: f.SealedPa, Low: f.Low, High: f.High}
}
