package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/scale"
	"proofpot/sensors/sensortest"
	"proofpot/sensors/serialline"
	"proofpot/sensors/serialline/textline"
	"proofpot/sensors/traffic"
)

// lookAt reads a bench's sensors through the verb.
func lookAt(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(world{ctx: t.Context(), in: strings.NewReader(""), out: &o, errs: &e}, append([]string{"sensors"}, args...))
	return code, o.String(), e.String()
}

// emulatedBench is the README's bench with its sensor on an emulated port.
func emulatedBench(t *testing.T, port string) string {
	t.Helper()
	data, err := os.ReadFile("../../rig/setup/testdata/hand-serial.toml")
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "bench.toml")
	if err := os.WriteFile(file, []byte(strings.Replace(string(data), "/dev/serial/by-id/usb-pot-sensor", port, 1)), 0o644); err != nil {
		t.Fatal(err)
	}
	return file
}

func TestTheSensorsOfABenchAreShownAndTheirTrafficPlaysBack(t *testing.T) {
	far, err := sensortest.StartEmulator(sensortest.EmulatorOptions{Link: filepath.Join(t.TempDir(), "pot"), Every: 50 * time.Millisecond, WaterC: 11.5})
	if err != nil {
		t.Fatal(err)
	}
	defer far.Close()
	file, record := emulatedBench(t, far.Path()), filepath.Join(t.TempDir(), "traffic.txt")
	code, out, errs := lookAt(t, "--bench", file, "--once", "--for", "600ms", "--json", "--record", record)
	if code != exitDone {
		t.Fatalf("exit code %d: %s %s", code, out, errs)
	}
	var got struct{ Sensors []lookJSON }
	if err := json.Unmarshal([]byte(out), &got); err != nil || strings.Count(out, "\n") != 1 {
		t.Fatalf("%v in %q", err, out)
	}
	// The emulator prints gauge pressures: 0 bar above the 97800 Pa of the file.
	if s := got.Sensors; len(s) != 2 || s[0].Value == nil || *s[0].Value < 97700 || *s[0].Value > 97900 || s[1].Value == nil || *s[1].Value != 11.5 ||
		s[0].Health != "ok" || *s[0].AgeS > 0.5 {
		t.Errorf("%s", out)
	}
	if code, out, errs = lookAt(t, "--bench", file, "--once", "--for", "600ms"); code != exitDone ||
		!strings.Contains(out, "Pa absolute") || !strings.Contains(out, "11.50 °C") {
		t.Errorf("exit code %d: %s %s", code, out, errs)
	}
	text, err := os.Open(record)
	if err != nil {
		t.Fatal(err)
	}
	defer text.Close()
	all, err := traffic.Load(text)
	if err != nil || len(all) < 5 {
		t.Fatalf("%d transfers, %v", len(all), err)
	}
	// What was recorded goes through the driver again.
	var clock sensortest.Clock
	driver, err := serialline.New(traffic.Play(all, far.Path(), nil), serialline.Options{
		Line: textline.Config{Sensor: "p1", Shape: textline.KeyValue, Main: sensors.ChamberPressure, Checksum: true, Fields: []textline.Field{
			{From: "p_bar", Quantity: sensors.ChamberPressure, Unit: "bar", Reference: scale.Gauge}}},
		Interval: time.Hour, Room: scale.NewRoom(97800, false), Clock: clock.Now})
	if err != nil {
		t.Fatal(err)
	}
	defer driver.Close()
	for deadline := time.Now().Add(5 * time.Second); ; time.Sleep(time.Millisecond) {
		if rs := driver.Read(0, nil); len(rs) > 0 {
			if rs[0].Status != sensors.OK || rs[0].Value < 97700 || rs[0].Value > 97900 {
				t.Errorf("played back: %+v", rs[0])
			}
			return
		}
		if time.Now().After(deadline) {
			t.Fatal("nothing is played back")
		}
	}
}

func TestASensorThatSaysNothingIsTheAnswerNo(t *testing.T) {
	far, err := sensortest.StartEmulator(sensortest.EmulatorOptions{Link: filepath.Join(t.TempDir(), "pot")})
	if err != nil {
		t.Fatal(err)
	}
	defer far.Close()
	far.Mute(true)
	code, out, errs := lookAt(t, "--bench", emulatedBench(t, far.Path()), "--once", "--for", "800ms")
	if code != exitNo || !strings.Contains(out, "no-reading: no chamber pressure for") {
		t.Errorf("exit code %d: %s %s", code, out, errs)
	}
}
