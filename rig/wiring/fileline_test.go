package wiring

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

func TestAnotherLoggersFileIsReadAsItGrows(t *testing.T) {
	path := filepath.Join(t.TempDir(), "can.lp")
	if err := os.WriteFile(path, []byte("can pressure_hpa=900 1\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	b := handSerial(t, "/dev/null")
	b.Sensors = []setup.Sensor{{ID: "can", Measures: "chamber pressure", Driver: setup.DriverFileLine, Path: path, Line: "line-protocol",
		Fields: []setup.Field{{From: "can.pressure_hpa", Unit: "hPa", Reference: "absolute"}}}}
	clock := rig.NewRealClock()
	read, err := OpenSensors(b, clock, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer read.Close()
	f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	f.WriteString("can pressure_hpa=1000 2\ncan pressure_hpa=1001 3\n")
	for deadline := time.Now().Add(10 * time.Second); time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		if rs := read.Read(clock.Now(), nil); len(rs) > 0 {
			r := rs[0]
			if r.Status != sensors.OK || r.Value < 99999 || r.Value > 100101 {
				t.Fatalf("%+v", r)
			}
			return
		}
	}
	t.Fatal("nothing was read")
}
