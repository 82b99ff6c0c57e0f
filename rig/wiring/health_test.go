package wiring

import (
	"testing"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/health"
)

func TestTheWatchGoesByTheFiguresOfTheBench(t *testing.T) {
	got := channels(handSerial(t, "/dev/null"))
	want := []health.Channel{ // -0.2 to 10 bar gauge above 97800 Pa
		{Sensor: "p1", Quantity: sensors.ChamberPressure, Interval: 100 * time.Millisecond, Noise: 60, Accuracy: 4000, Low: 77800, High: 1097800},
		{Sensor: "p1", Quantity: sensors.ChamberWater, Interval: 100 * time.Millisecond},
	}
	if len(got) != len(want) || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("%+v, want %+v", got, want)
	}
}
