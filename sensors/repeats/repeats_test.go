package repeats

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"proofpot/sensors"
)

// A line that brings garbage a thousand times a second for ten seconds becomes
// some twenty faults, whose counts add up to all of it.
func TestAFloodIsToldInFewFaultsThatCountItAll(t *testing.T) {
	var f Faults
	var all []sensors.Reading
	const n = 10_000
	for i := range n {
		now := time.Duration(i) * time.Millisecond
		all = f.Tell(sensors.Fault("p1", sensors.ChamberPressure, sensors.Garbled, now, "no number "+strconv.Itoa(i)), all)
		all = f.Due("p1", sensors.ChamberPressure, now, all)
	}
	all = f.Due("p1", sensors.ChamberPressure, n*time.Millisecond+Within, all)
	sum := 0
	for _, r := range all {
		count, _, more := strings.Cut(r.Text, " more, the last: no number ")
		if !more {
			sum++
			continue
		}
		c, err := strconv.Atoi(count)
		if err != nil {
			t.Fatal(r.Text)
		}
		sum += c
	}
	if sum != n || len(all) > 25 {
		t.Errorf("%d faults tell of %d", len(all), sum)
	}
}

func TestKindsAreCountedApartAndQuietFaultsAreToldEach(t *testing.T) {
	var f Faults
	var all []sensors.Reading
	for i, s := range []sensors.Status{sensors.Garbled, sensors.OutOfRange, sensors.Garbled, sensors.Garbled} {
		all = f.Tell(sensors.Fault("p1", sensors.ChamberPressure, s, time.Duration(i)*400*time.Millisecond, "x"), all)
	}
	// At 0 and 0.4 s two kinds; at 0.8 s one is counted; at 1.2 s told, then the next.
	if len(all) != 4 || all[2].Text != "1 more, the last: x" || all[3].At != 1200*time.Millisecond {
		t.Errorf("%+v", all)
	}
	if got := f.Due("p1", sensors.ChamberPressure, time.Hour, nil); len(got) != 0 {
		t.Errorf("told without anything counted: %+v", got)
	}
}

func TestDurationsAreCutToThreeDigits(t *testing.T) {
	for d, want := range map[time.Duration]time.Duration{0: 0, 7: 7, 1234567: 1230000, 61234 * time.Millisecond: 61200 * time.Millisecond} {
		if got := Rounded(d); got != want {
			t.Errorf("%v becomes %v, want %v", d, got, want)
		}
	}
}
