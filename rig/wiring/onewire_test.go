package wiring

import (
	"bytes"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/onewire"
	"periph.io/x/conn/v3/onewire/onewiretest"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spitest"

	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/sensors"
	"proofpot/sensors/ds18b20"
	"proofpot/sensors/max31865"
	"proofpot/sensors/poll"
	"proofpot/sensors/scale"
	"proofpot/sensors/traffic"
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

// wire is a 1-Wire bus with thermometers, by the hexadecimal digits of their serial
// numbers, assembled by hand from the data sheet.
type wire struct {
	mu     sync.Mutex
	pads   map[onewire.Address]*[9]byte
	closed int
}

func (w *wire) String() string                         { return "wire" }
func (w *wire) Close() error                           { w.closed++; return nil }
func (w *wire) Search(bool) ([]onewire.Address, error) { return nil, errors.New("nothing is searched") }

func (w *wire) Tx(out, in []byte, _ onewire.Pullup) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	var addr onewire.Address
	for i, b := range out[1:9] {
		addr |= onewire.Address(b) << (8 * i)
	}
	pad := w.pads[addr]
	if out[0] != 0x55 || pad == nil {
		return errors.New("nobody shows his presence")
	}
	switch out[9] {
	case 0xB4: // power from its own wire
		in[0] = 0xFF
	case 0x4E:
		copy(pad[2:5], out[10:])
	case 0x44:
		in[0] = 0
	case 0xBE:
		pad[8] = ds18b20.CRC(pad[:8])
		copy(in, pad[:])
	}
	return nil
}

const twoThermometers = `
id = "pot-8"
hand_operated = true
medium = "water"
supply = "water"
chamber_volume_ml = 9500
gas_cushion_ml = 120
stiffness_ml_per_bar = 1.8
rated_bar_gauge = 8.0
relief_bar_gauge = 7.0
room_pa = 97800
[[sensor]]
id = "p1"
measures = "chamber pressure"
driver = "ms5837-30ba"
bus = "1"
address = 0x76
field = [{from = "pressure"}]
[[sensor]]
id = "water"
measures = "chamber water temperature"
driver = "ds18b20"
bus = "1"
part = "28-0316a2795cff"
[[sensor]]
id = "gas"
measures = "chamber gas temperature"
driver = "ds18b20"
bus = "1"
part = "28-0316a2798fff"
[[sensor]]
id = "wall"
measures = "chamber wall temperature"
driver = "max31865"
spi = "0.0"
r0_ohm = 100
reference_ohm = 430
wires = 3
mains_hz = 50
`

func TestThermometersOnOneWireAndSPIAreReadRecordedAndPlayedBack(t *testing.T) {
	b, err := setup.ParseBench("bench.toml", []byte(twoThermometers))
	if err != nil {
		t.Fatal(err)
	}
	place := func(part string) onewire.Address {
		a, err := ds18b20.Address(part)
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	water := place(b.Sensors[1].Part)
	bus := &wire{pads: map[onewire.Address]*[9]byte{ // data sheet: 0191 hex is 25.0625 °C, FF5E is −10.125
		water: {0x91, 0x01, 0, 0, 0x7F, 0xFF, 0, 0x10}, place(b.Sensors[2].Part): {0x5E, 0xFF, 0, 0, 0x7F, 0xFF, 0, 0x10},
	}}
	opened := 0
	defer func() { openBus, openWire, openSPIPort = openI2C, openOneWire, openSPI }()
	openBus = func(string) (i2c.BusCloser, error) { return silent{}, nil }
	openWire = func(number string) (onewire.BusCloser, error) {
		if opened++; number != "1" {
			return nil, errors.New(number)
		}
		return bus, nil
	}
	openSPIPort = func(string) (spi.PortCloser, error) { return &board{}, nil }
	clock := rig.NewRealClock()
	var file bytes.Buffer
	record := traffic.NewRecorder(&file, func() time.Duration { return clock.Now().Mono })
	read, err := OpenSensors(b, clock, record)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]float64{"water": 25.0625, "gas": -10.125, "wall": 25}
	readUntil(t, clock, read, func(r sensors.Reading) bool {
		if w, ours := want[r.Sensor]; ours {
			if r.Status != sensors.OK || math.Abs(r.Value-w) > 0.02 {
				t.Fatalf("%+v", r)
			}
			delete(want, r.Sensor)
		}
		return len(want) == 0
	})
	if err := errors.Join(read.Close(), read.Close()); err != nil || bus.closed != 1 || opened != 1 {
		t.Error(err, bus.closed, opened)
	}

	all, err := traffic.Load(&file)
	if err != nil || record.Err() != nil {
		t.Fatal(err, record.Err())
	}
	played := &onewiretest.Playback{DontPanic: true}
	for _, op := range traffic.OneWire(all, "1") {
		if op.W[8] == byte(water>>56) { // of the two, the one in the water
			played.Ops = append(played.Ops, op)
		}
	}
	again, err := ds18b20.New(played, water)
	if err != nil {
		t.Fatal(err)
	}
	results := make([]poll.Result, 1)
	if err := errors.Join(again.Start(t.Context()), again.Measure(t.Context(), results)); err != nil || results[0].Value != 25.0625 {
		t.Errorf("played back it reads %+v, %v", results[0], err)
	}
	port := &spitest.Playback{}
	port.DontPanic, port.Ops = true, traffic.SPI(all, "0.0")
	conn, err := port.Connect(max31865.Speed, max31865.Mode, 8)
	if err != nil {
		t.Fatal(err)
	}
	wall, err := max31865.New(conn, b.Sensors[3].Element())
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(wall.Start(t.Context()), wall.Measure(t.Context(), results)); err != nil || math.Abs(results[0].Value-25) > 0.02 {
		t.Errorf("played back it reads %+v, %v", results[0], err)
	}
}

func TestWhatTheKernelsFilesSaidIsRecordedAndPlayedBack(t *testing.T) {
	folder := t.TempDir()
	const part, capture = "28-0316a2798fff", "98 01 4b 46 7f ff 08 10 22 : crc=22 YES\n98 01 4b 46 7f ff 08 10 22 t=25500\n"
	if err := errors.Join(os.Mkdir(filepath.Join(folder, part), 0o777), os.WriteFile(filepath.Join(folder, part, "w1_slave"), []byte(capture), 0o666)); err != nil {
		t.Fatal(err)
	}
	var file bytes.Buffer
	record := traffic.NewRecorder(&file, func() time.Duration { return 0 })
	results := make([]poll.Result, 1)
	d, err := ds18b20.NewKernel(record.Files(os.DirFS(folder)), part)
	if err := errors.Join(err, d.Start(t.Context()), d.Measure(t.Context(), results)); err != nil || results[0].Value != 25.5 {
		t.Fatal(results, err)
	}
	if os.RemoveAll(folder); d.Measure(t.Context(), results) == nil {
		t.Fatal("a file that is gone is read")
	}
	all, err := traffic.Load(&file)
	if err != nil {
		t.Fatal(err)
	}
	if d, err = ds18b20.NewKernel(traffic.Files(all), part); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(d.Start(t.Context()), d.Measure(t.Context(), results)); err != nil || results[0].Value != 25.5 {
		t.Error(results, err)
	}
	if d.Measure(t.Context(), results) == nil || d.Start(t.Context()) == nil {
		t.Error("what failed does not fail again, or there is more than was recorded")
	}
}

func TestAThermometersBusIsANumber(t *testing.T) {
	text := strings.Replace(twoThermometers, `driver = "ds18b20"
bus = "1"`, `driver = "ds18b20"
bus = "w1"`, 1)
	if _, err := setup.ParseBench("bench.toml", []byte(text)); err == nil || !strings.Contains(err.Error(), `"w1" is no 1-Wire bus`) {
		t.Error(err)
	}
}
