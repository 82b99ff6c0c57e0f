package serialline

import (
	"testing"
	"time"

	"proofpot/sensors"
)

// A device whose pressure wire is open and whose thermometer works: what is told of
// the faults that were counted takes no temperature away.
func TestNewsOfCountedFaultsTakesNoValueAway(t *testing.T) {
	d := &Driver{health: []health{{quantity: sensors.ChamberPressure}, {quantity: sensors.ChamberWater}}}
	values, faults := 0, 0
	for i := range 30 {
		at := time.Duration(i) * 100 * time.Millisecond
		for _, r := range d.note(0, []sensors.Reading{
			sensors.Fault("p1", sensors.ChamberPressure, sensors.NoReading, at, "empty"),
			{Sensor: "p1", Quantity: sensors.ChamberWater, Value: float64(i), At: at},
		}) {
			switch {
			case r.Status != sensors.OK:
				faults++
			case r.Value != float64(i):
				t.Errorf("line %d gives %+v", i, r)
			default:
				values++
			}
		}
	}
	if values != 30 || faults != 5 { // at 0; at 1 and 2 s nine counted and the next
		t.Errorf("%d values and %d faults of 30 lines", values, faults)
	}
}
