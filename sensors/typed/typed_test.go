package typed

import (
	"strings"
	"testing"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/scale"
	"proofpot/sensors/sensortest"
)

func gauge(t *testing.T, clock *sensortest.Clock) *Driver {
	t.Helper()
	d, err := New(Options{Sensor: "g1", Division: 0.2, Interval: time.Minute, Clock: clock.Now, Room: scale.NewRoom(98000, false),
		Scale: scale.Scale{From: "g1", Quantity: sensors.ChamberPressure, Unit: "bar", Reference: scale.Gauge, Low: 0, High: 10}})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestATypedReadingDoesWhatADriverMust(t *testing.T) {
	sensortest.Suite(t, func(t *testing.T, clock *sensortest.Clock) sensortest.Subject {
		d := gauge(t, clock)
		return sensortest.Subject{Driver: d, Sensor: "g1", Want: map[sensors.Quantity]float64{sensors.ChamberPressure: 418000},
			Silence: 2 * time.Minute, Good: func() { d.Enter("3,2") }}
	})
}

func TestAPersonIsAskedEachIntervalAndHisWordIsChecked(t *testing.T) {
	var clock sensortest.Clock
	d := gauge(t, &clock)
	if ask, due := d.Due(0); !due || !strings.Contains(ask, `in bar gauge: "g1 3.2"`) {
		t.Errorf("%v %q", due, ask)
	}
	clock.Forward(50 * time.Second)
	if note, err := d.Enter("3.2"); err != nil || note != "typed: g1 shows 3.2 bar gauge, to half a division of 0.2" {
		t.Errorf("%q %v", note, err)
	}
	if _, due := d.Due(100 * time.Second); due {
		t.Error("asked again 50 s after he typed")
	}
	if _, due := d.Due(110 * time.Second); !due {
		t.Error("not asked after a minute")
	}
	for _, text := range []string{"", "three", "32", "-1", "nan", "1e999"} {
		if _, err := d.Enter(text); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v", text, err)
		}
	}
	rs := d.Read(clock.Now(), nil)
	if len(rs) != 1 || rs[0].At != 50*time.Second || rs[0].Value != 418000 {
		t.Errorf("%+v", rs)
	}
}
