package wiring

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"proofpot/rig/setup"
	"proofpot/sensors"
	"proofpot/sensors/scale"
)

// The file is a public capture at 25.5 °C, in the shape that Linux' w1_therm writes.
func TestADS18B20OfTheBenchIsRead(t *testing.T) {
	before := oneWireRoot
	oneWireRoot = t.TempDir()
	t.Cleanup(func() { oneWireRoot = before })
	file := filepath.Join(oneWireRoot, "28-0316a2798fff", "w1_slave")
	if err := os.Mkdir(filepath.Dir(file), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, []byte("98 01 4b 46 7f ff 08 10 22 : crc=22 YES\n98 01 4b 46 7f ff 08 10 22 t=25500\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	start := time.Now()
	with := shared{room: scale.NewRoom(0, true), clock: func() time.Duration { return time.Since(start) }}
	d, err := openDS18B20(setup.Sensor{ID: "t1", Measures: "chamber water temperature", Part: "28-0316a2798fff"}, with)
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	for range 1000 {
		for _, r := range d.Read(with.clock(), nil) {
			if r.Status != sensors.OK || r.Value != 25.5 || r.Quantity != sensors.ChamberWater {
				t.Fatalf("%+v", r)
			}
			return
		}
		time.Sleep(5 * time.Millisecond)
	}
	t.Fatal("nothing was read")
}
