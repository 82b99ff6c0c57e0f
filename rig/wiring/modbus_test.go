package wiring

import (
	"os"
	"strings"
	"testing"
	"time"

	"proofpot/rig/setup"
	"proofpot/sensors"
	"proofpot/sensors/sensortest"
)

func TestTwoTransmittersShareOnePort(t *testing.T) {
	far := emulator(t, sensortest.EmulatorOptions{})
	far.Mute(true)
	data, err := os.ReadFile("../setup/testdata/hand-modbus.toml")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.ReplaceAll(string(data), "/dev/serial/by-id/usb-rs485", far.Path())
	b, err := setup.ParseBench("bench.toml", []byte(strings.ReplaceAll(text, "baud = 9600", "baud = 9600\ntimeout_s = 0.05")))
	if err != nil {
		t.Fatal(err)
	}
	clock := &potClock{far: far, start: time.Now()}
	devices, err := Open(b, clock)
	if err != nil {
		t.Fatal(err)
	}
	told := map[string]sensors.Status{} // nobody answers on this line
	for deadline := time.Now().Add(10 * time.Second); len(told) < 2 && time.Now().Before(deadline); time.Sleep(time.Millisecond) {
		for _, r := range devices.Read(clock.Now(), nil) {
			told[r.Sensor] = r.Status
		}
	}
	if told["p1"] != sensors.Disconnected || told["t1"] != sensors.Disconnected {
		t.Errorf("without an answer: %v", told)
	}
	if err := devices.Close(); err != nil {
		t.Error(err)
	}
}
