package main

import (
	"strings"
	"testing"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/scale"
	"proofpot/sensors/sensortest"
	"proofpot/sensors/typed"
)

func TestWhatIsTypedOfAGaugeIsReadAndNoted(t *testing.T) {
	var clock sensortest.Clock
	gauge, err := typed.New(typed.Options{Sensor: "g1", Division: 0.2, Interval: time.Minute, Clock: clock.Now, Room: scale.NewRoom(98000, false),
		Scale: scale.Scale{From: "g1", Quantity: sensors.ChamberPressure, Unit: "bar", Reference: scale.Gauge}})
	if err != nil {
		t.Fatal(err)
	}
	a := answers{typing: typing{gauges: []*typed.Driver{gauge}}}
	var said []string
	say := func(_ time.Duration, text string) { said = append(said, text) }
	a.typing.step(0, say)
	if len(said) != 1 || !strings.Contains(said[0], "read gauge g1") {
		t.Errorf("%q", said)
	}
	a.listen(strings.NewReader("g1 3,2\n\n3.4\ng1 three\ng2 3\n"))
	rs := gauge.Read(0, nil)
	if len(rs) != 2 || rs[0].Value != 418000 || rs[1].Value != 438000 {
		t.Errorf("%+v", rs)
	}
	for _, want := range []string{"typed: g1 shows 3.2 bar gauge, to half a division of 0.2", "typed: g1 shows 3.4 bar gauge, to half a division of 0.2", ""} {
		if got := a.typing.note(); got != want {
			t.Errorf("noted %q, want %q", got, want)
		}
	}
	said = nil
	a.typing.step(0, say)
	if len(said) != 2 || !strings.Contains(said[0], "\"three\" is no number") || !strings.Contains(said[1], "is for no gauge") {
		t.Errorf("%q", said)
	}
	var none answers // without a gauge what is typed counts for nothing
	none.listen(strings.NewReader("3.2\n"))
	if none.typing.note() != "" {
		t.Error("a note without a gauge")
	}
}
