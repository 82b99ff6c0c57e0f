package wiring

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// board is SPI with a MAX31865 whose Pt100 has 109.73 of 430 ohm, 25 °C. Assembled
// by hand.
type board struct {
	mu        sync.Mutex
	registers [8]byte
	closed    int
}

func (b *board) String() string                    { return "board" }
func (b *board) Close() error                      { b.closed++; return nil }
func (b *board) LimitSpeed(physic.Frequency) error { return nil }
func (b *board) Duplex() conn.Duplex               { return conn.Full }
func (b *board) TxPackets([]spi.Packet) error      { return errors.New("no packets") }

func (b *board) Connect(f physic.Frequency, mode spi.Mode, bits int) (spi.Conn, error) {
	if f > 5*physic.MegaHertz || mode != spi.Mode1 || bits != 8 {
		return nil, errors.New("it does not understand that")
	}
	return b, nil
}

func (b *board) Tx(w, r []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if w[0]&0x80 != 0 {
		copy(b.registers[w[0]&7:], w[1:])
		b.registers[0] &^= 0x2E
		b.registers[1], b.registers[2] = 0x41, 0x54
		return nil
	}
	copy(r[1:], b.registers[w[0]&7:])
	return nil
}

// silent is an I2C bus on which nobody answers.
type silent struct{}

func (silent) String() string                  { return "silent" }
func (silent) Close() error                    { return nil }
func (silent) SetSpeed(physic.Frequency) error { return nil }
func (silent) Tx(uint16, []byte, []byte) error { return errors.New("remote I/O error") }

func TestThermometersOfABenchAreOpenedAndRead(t *testing.T) {
	data, err := os.ReadFile("../setup/testdata/hand-temperatures.toml")
	if err != nil {
		t.Fatal(err)
	}
	b, err := setup.ParseBench("bench.toml", data)
	if err != nil {
		t.Fatal(err)
	}
	spiBoard := &board{}
	defer func(bus func(string) (i2c.BusCloser, error), root string, port func(string) (spi.PortCloser, error)) {
		openBus, oneWireRoot, openSPIPort = bus, root, port
	}(openBus, oneWireRoot, openSPIPort)
	openBus = func(string) (i2c.BusCloser, error) { return silent{}, nil }
	oneWireRoot = t.TempDir()
	// The public capture of testdata/reference/onewire_crc8.csv, in the kernel's form.
	capture := "98 01 4b 46 7f ff 08 10 22 : crc=22 YES\n98 01 4b 46 7f ff 08 10 22 t=25500\n"
	folder := filepath.Join(oneWireRoot, b.Sensors[1].Part)
	if err := errors.Join(os.Mkdir(folder, 0o777), os.WriteFile(filepath.Join(folder, "w1_slave"), []byte(capture), 0o666)); err != nil {
		t.Fatal(err)
	}
	openSPIPort = func(place string) (spi.PortCloser, error) {
		if place != "0.0" {
			return nil, errors.New(place)
		}
		return spiBoard, nil
	}
	clock := rig.NewRealClock()
	read, err := OpenSensors(b, clock, nil)
	if err != nil {
		t.Fatal(err)
	}
	want := map[sensors.Quantity]float64{sensors.ChamberWater: 25.5, sensors.ChamberWall: 25}
	seen := map[sensors.Quantity]bool{}
	for deadline := time.Now().Add(10 * time.Second); len(seen) < 2 && time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		for _, r := range read.Read(clock.Now(), nil) {
			if r.Quantity == sensors.ChamberPressure {
				continue
			}
			if r.Status != sensors.OK || math.Abs(r.Value-want[r.Quantity]) > 0.02 {
				t.Fatalf("%+v", r)
			}
			seen[r.Quantity] = true
		}
	}
	if len(seen) != 2 {
		t.Error(seen)
	}
	if err := errors.Join(read.Close(), read.Close()); err != nil || spiBoard.closed != 1 {
		t.Error(err, spiBoard.closed)
	}
	openSPIPort = openSPI
	b.Sensors[2].SPI = "251.3"
	if _, err := Open(b, clock); err == nil || !strings.Contains(err.Error(), `sensor "wall"`) || !strings.Contains(err.Error(), `SPI "251.3"`) || strings.Contains(err.Error(), "\n") {
		t.Error(err)
	}
}
