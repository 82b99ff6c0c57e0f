package wiring

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/rig/watchdog"
	"proofpot/sensors/sensortest"
)

// dog is a file in place of the machine's watchdog, which takes the same writes.
func dog(t *testing.T) (*setup.Watchdog, func() string) {
	t.Helper()
	name := filepath.Join(t.TempDir(), "watchdog")
	if err := os.WriteFile(name, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	return &setup.Watchdog{Device: name}, func() string {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
}

func TestTheWatchdogOfABenchIsFedByEachReadWithValvesAndByHand(t *testing.T) {
	_, valves := serialBench(t)
	far := emulator(t, sensortest.EmulatorOptions{RoomPa: 98000, Every: 5 * time.Millisecond,
		Print: func(m sensortest.Measured) string { return "p_bar=" + formatBar(m.AbsolutePa) }})
	hand := valves
	hand.HandOperated, hand.Valves = true, nil
	hand.Sensors = append([]setup.Sensor(nil), valves.Sensors...)
	hand.Sensors[0].Port = far.Path()
	for name, b := range map[string]setup.Bench{"valves": valves, "hand": hand} {
		var fed func() string
		b.Watchdog, fed = dog(t)
		clock := rig.NewRealClock()
		d, err := Open(b, clock)
		if err != nil {
			t.Fatal(name, err)
		}
		for range 3 {
			d.Read(clock.Now(), nil)
		}
		if got := fed(); got != "\x00\x00\x00" {
			t.Errorf("%s: three steps wrote %q", name, got)
		}
		if err := d.Close(); err != nil || !strings.HasSuffix(fed(), "V") {
			t.Errorf("%s: closed, it holds %q, %v", name, fed(), err)
		}
	}
}

func TestABenchWhoseValveHangsFeedsNoWatchdog(t *testing.T) {
	device, fed := dog(t)
	k, err := watchdog.OpenKernel(device.Device)
	if err != nil {
		t.Fatal(err)
	}
	hangs := false
	b := &handBench{signs: signs{kernel: k}, hung: func() bool { return hangs }}
	b.signs.alive(time.Time{})
	hangs = true
	if err := b.feed(time.Time{}); err != nil || fed() != "\x00" {
		t.Errorf("fed %q, %v", fed(), err)
	}
	hangs = false
	if err := k.Close(); err != nil {
		t.Fatal(err)
	}
	if err := b.feed(time.Time{}); err == nil {
		t.Error("a watchdog that takes no sign is not told of")
	}
}
