package scale

import (
	"errors"
	"math"
	"testing"
	"time"

	"proofpot/sensors"
)

func TestANumberOutsideWhatCanBeIsAFaultAndNeverClamped(t *testing.T) {
	room := NewRoom(98000, false)
	bar := Scale{From: "p", Quantity: sensors.ChamberPressure, Unit: "bar", Reference: Gauge, Low: -0.2, High: 10}
	if r := bar.Reading("p1", time.Second, 3, room); r.Status != sensors.OK || r.Value != 398000 || r.At != time.Second {
		t.Errorf("3 bar gauge reads %+v", r)
	}
	for _, number := range []float64{-0.3, 10.001, math.NaN(), math.Inf(1)} {
		if r := bar.Reading("p1", 0, number, room); r.Status != sensors.OutOfRange || !math.IsNaN(r.Value) || r.Text == "" {
			t.Errorf("%v bar reads %+v", number, r)
		}
	}
	open := Scale{From: "t", Quantity: sensors.ChamberWater, Unit: "C"}
	for _, number := range []float64{-127, -61, 151, math.NaN()} { // −127 °C is what a broken 1-wire line reads
		if r := open.Reading("t1", 0, number, room); r.Status != sensors.OutOfRange || !math.IsNaN(r.Value) {
			t.Errorf("%v °C reads %+v", number, r)
		}
	}
}

func TestAPressureMustSayWhatItIsMeasuredFrom(t *testing.T) {
	for _, c := range []struct {
		s   Scale
		key string
	}{
		{Scale{Quantity: sensors.ChamberPressure, Unit: "bar"}, "reference"},
		{Scale{Quantity: sensors.ChamberPressure, Unit: "bar", Reference: "relative"}, "reference"},
		{Scale{Quantity: sensors.RoomPressure, Unit: "hPa", Reference: Gauge}, "reference"},
		{Scale{Quantity: sensors.ChamberWater, Unit: "C", Reference: Gauge}, "reference"},
		{Scale{Quantity: sensors.ChamberWater, Unit: "bar"}, "unit"},
		{Scale{Quantity: sensors.ChamberPressure, Unit: "bar", Reference: Absolute, SealedPa: 1e5}, "sealed_pa"},
		{Scale{Quantity: sensors.ChamberPressure, Unit: "bar", Reference: SealedGauge, SealedPa: 1}, "sealed_pa"},
		{Scale{Quantity: sensors.ChamberPressure, Unit: "bar", Reference: Absolute, Low: 2, High: 1}, "high"},
	} {
		var at *Error
		if err := c.s.Check(); !errors.As(err, &at) || at.Key != c.key {
			t.Errorf("%+v: %v, want the fault at %s", c.s, err, c.key)
		}
	}
}
