package wiring

import (
	"math"
	"testing"
	"time"

	"proofpot/rig/setup"
	"proofpot/sensors"
	"proofpot/sensors/calibration"
)

func TestACalibratedSensorIsCorrectedAndItsOwnValueKept(t *testing.T) {
	b := setup.Bench{Sensors: []setup.Sensor{
		{ID: "p1", Measures: "chamber pressure", Calibration: &calibration.Calibration{CorrectionPa: []float64{400, 200}}},
		{ID: "p2", Measures: "chamber pressure"},
	}}
	readings := []sensors.Reading{
		{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: 3e5},
		{Sensor: "p1", Quantity: sensors.ChamberWater, Value: 12},
		{Sensor: "p2", Quantity: sensors.ChamberPressure, Value: 3e5},
		sensors.Fault("p1", sensors.ChamberPressure, sensors.Garbled, time.Second, "noise"),
	}
	all := calibratedOf(b)
	if n := testing.AllocsPerRun(10, func() { correct(all, readings[3:]) }); n > 0 {
		t.Errorf("%v allocations", n)
	}
	correct(all, readings)
	if r := readings[0]; r.Value != 3e5+400+600 || !r.HasRaw || r.Raw != 3e5 {
		t.Errorf("corrected: %+v", r)
	}
	for _, r := range readings[1:3] {
		if r.HasRaw || r.Value != 12 && r.Value != 3e5 {
			t.Errorf("touched: %+v", r)
		}
	}
	if r := readings[3]; !math.IsNaN(r.Value) || r.HasRaw {
		t.Errorf("a fault got a value: %+v", r)
	}
}
