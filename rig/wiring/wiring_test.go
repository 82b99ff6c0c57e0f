package wiring

import (
	"errors"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/sensors"
	"proofpot/sensors/sensortest"
	"proofpot/sensors/serialport"
)

// handSerial is the bench of setup's example on other ports: the key-value
// device is the emulator's.
func handSerial(t *testing.T, port string, edits ...string) setup.Bench {
	t.Helper()
	data, err := os.ReadFile("../setup/testdata/hand-serial.toml")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(string(data), "/dev/serial/by-id/usb-pot-sensor", port, 1)
	text = strings.NewReplacer(edits...).Replace(text)
	b, err := setup.ParseBench("bench.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func emulator(t *testing.T, options sensortest.EmulatorOptions) *sensortest.Emulator {
	t.Helper()
	options.Link = filepath.Join(t.TempDir(), "usb-pot-sensor")
	far, err := sensortest.StartEmulator(options)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(far.Close)
	return far
}

func TestEveryDriverThatABenchFileMayNameIsThere(t *testing.T) {
	if have := slices.Sorted(maps.Keys(drivers)); !slices.Equal(have, slices.Sorted(slices.Values(setup.Drivers()))) {
		t.Errorf("drivers %q, bench files may name %q", have, setup.Drivers())
	}
}

func TestABenchThatCannotBeOpenedSaysWhyInOneLine(t *testing.T) {
	far := emulator(t, sensortest.EmulatorOptions{})
	missing := filepath.Join(t.TempDir(), "ttyUSB7")
	second := `unit = "C" `
	for _, c := range []struct {
		name  string
		bench setup.Bench
		want  string
	}{
		{"a missing port", handSerial(t, missing), `bench "pot-1", sensor "p1": serial port "` + missing + `" is not there`},
		{"valves", handSerial(t, far.Path(), "hand_operated = true", "#"), `nothing is known of its valves; give [[valve]] fill and vent, or hand_operated = true`},
		{"no driver", handSerial(t, far.Path(), second, second+"\n[[sensor]]\nid = \"w1\"\nmeasures = \"wet probe\"\n#"),
			`sensor "w1": driver "" is not known; give one of: `},
		{"a second port that is missing", handSerial(t, far.Path(), second, second+"\n[[sensor]]\nid = \"w1\"\nmeasures = \"wet probe\"\n"+
			"driver = \"serial-line\"\nbaud = 9600\nline = \"csv\"\nfield = [{from = \"1\"}]\nport = \""+missing+"\" #"),
			`bench "pot-1", sensor "w1": serial port "` + missing + `" is not there`},
		{"a bench that was not checked", setup.Bench{ID: "pot-1", HandOperated: true}, `medium: "" is none of`},
	} {
		d, err := Open(c.bench, rig.NewRealClock())
		if err == nil {
			d.Close()
			t.Errorf("%s opens", c.name)
			continue
		}
		if !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, want one line with %s", c.name, err, c.want)
		}
	}
	// What was opened before the failure has been let go.
	port, err := serialport.Open(far.Path(), serialport.Settings{Baud: 115200})
	if err != nil {
		t.Fatal(err)
	}
	port.Close()
}

func TestAHandOperatedBenchReadsAndHasNoFillValve(t *testing.T) {
	far := emulator(t, sensortest.EmulatorOptions{RoomPa: 97800, WaterC: 12.5})
	clock := rig.NewRealClock()
	d, err := Open(handSerial(t, far.Path()), clock)
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	seen := map[sensors.Quantity]float64{}
	for deadline := time.Now().Add(10 * time.Second); len(seen) < 2 && time.Now().Before(deadline); time.Sleep(time.Millisecond) {
		for _, r := range d.Read(clock.Now(), nil) {
			if r.Status == sensors.OK {
				seen[r.Quantity] = r.Value
			}
		}
	}
	if seen[sensors.ChamberPressure] != 97800 || seen[sensors.ChamberWater] != 12.5 {
		t.Errorf("read %v", seen)
	}
	if err := d.Drive(clock.Now(), rig.Valves{Vent: true}); err != nil {
		t.Errorf("vent: %v", err)
	}
	if err := d.Drive(clock.Now(), rig.Valves{Fill: true}); !errors.Is(err, ErrNoValve) {
		t.Errorf("fill: %v", err)
	}
	for range 2 {
		if err := d.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if rs := d.Read(clock.Now(), nil); len(rs) != 0 {
		t.Errorf("a closed bench reads %+v", rs)
	}
}

func TestReadingsOfSeveralDevicesComeInOrderOfTimeAndTheBarometerServesAll(t *testing.T) {
	pot := emulator(t, sensortest.EmulatorOptions{Every: 3 * time.Millisecond, RoomPa: 98765})
	room := emulator(t, sensortest.EmulatorOptions{Every: 5 * time.Millisecond, Print: func(sensortest.Measured) string { return "987.65" }})
	clock := rig.NewRealClock()
	second := `unit = "C" `
	d, err := Open(handSerial(t, pot.Path(), second, second+"\n[[sensor]]\nid = \"b1\"\nmeasures = \"room pressure\"\n"+
		"driver = \"serial-line\"\nbaud = 9600\nline = \"csv\"\nport = \""+room.Path()+
		"\"\nfield = [{from = \"1\", unit = \"hPa\", reference = \"absolute\"}]\n#"), clock)
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	last := time.Duration(0)
	ok := map[sensors.Quantity]int{}
	for deadline := time.Now().Add(10 * time.Second); (ok[sensors.ChamberPressure] < 20 || ok[sensors.RoomPressure] < 20) && time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		for _, r := range d.Read(clock.Now(), nil) {
			if r.At < last {
				t.Fatalf("%+v after one at %v", r, last)
			}
			last = r.At
			if r.Status != sensors.OK {
				continue
			}
			ok[r.Quantity]++
			// room_pa of the file is 97800: it must not be used.
			if r.Quantity == sensors.ChamberPressure && r.Value != 98765 {
				t.Fatalf("%+v, want 98765 Pa", r)
			}
		}
	}
	if ok[sensors.ChamberPressure] < 20 || ok[sensors.RoomPressure] < 20 {
		t.Errorf("read %v", ok)
	}
}
