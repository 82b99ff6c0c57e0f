package wiring

import (
	"bytes"
	"errors"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/sensors"
	"proofpot/sensors/traffic"
)

// twoPots is a bus with a multiplexer at 70 hex and two MS5837-30BA of one
// address behind it, on channels 0 and 3, with the numbers of the data sheet's
// example and of another case of testdata/reference. Assembled by hand.
type twoPots struct {
	mu      sync.Mutex
	control byte
	asked   [9]byte // by control, 1 or 8
	closed  int
}

func (b *twoPots) String() string                  { return "two pots" }
func (b *twoPots) SetSpeed(physic.Frequency) error { return nil }
func (b *twoPots) Close() error                    { b.closed++; return nil }

func (b *twoPots) Tx(addr uint16, w, r []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if addr == 0x70 {
		if len(w) > 0 {
			b.control = w[0]
		}
		if len(r) > 0 {
			r[0] = b.control
		}
		return nil
	}
	if addr != 0x76 || b.control != 1 && b.control != 8 {
		return errors.New("remote I/O error")
	}
	words := [7]uint16{0x0340, 34982, 36352, 20328, 22354, 26646, 26146}
	words[0] |= 0x9000 // its CRC-4, worked out by AN520's routine in another language
	d1, d2 := 4958179, 6815414
	if b.control == 8 {
		d1, d2 = 4700000, 6400000
	}
	number := map[byte]int{0x4A: d1, 0x5A: d2}
	switch {
	case w[0] >= 0xA0:
		word := words[(w[0]-0xA0)/2]
		copy(r, []byte{byte(word >> 8), byte(word)})
	case w[0] == 0:
		n := number[b.asked[b.control]]
		copy(r, []byte{byte(n >> 16), byte(n >> 8), byte(n)})
	default:
		b.asked[b.control] = w[0]
	}
	return nil
}

const twoPotsBench = `
id = "pot-5"
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
mux = 0x70
channel = 0
interval_s = 0.1
field = [{from = "temperature", measures = "chamber water temperature"}, {from = "pressure"}]
[[sensor]]
id = "in"
measures = "inside pressure"
driver = "ms5837-30ba"
bus = "1"
address = 0x76
mux = 0x70
channel = 3
interval_s = 0.1
field = [{from = "pressure"}]
`

func TestTwoPartsWithOneAddressAreKeptApart(t *testing.T) {
	b, err := setup.ParseBench("bench.toml", []byte(twoPotsBench))
	if err != nil {
		t.Fatal(err)
	}
	bus := &twoPots{}
	opened := 0
	defer func(as func(string) (i2c.BusCloser, error)) { openBus = as }(openBus)
	openBus = func(name string) (i2c.BusCloser, error) { opened++; return bus, nil }
	clock := rig.NewRealClock()
	var file bytes.Buffer
	record := traffic.NewRecorder(&file, func() time.Duration { return clock.Now().Mono })
	read, err := OpenSensors(b, clock, record)
	if err != nil {
		t.Fatal(err)
	}
	// P2 and TEMP2 of the reference table, not cut to 10 Pa.
	want := map[sensors.Quantity]float64{sensors.ChamberPressure: 399985, sensors.ChamberWater: 19.81, sensors.UnitPressure: 226315}
	seen := map[sensors.Quantity]int{}
	for deadline := time.Now().Add(10 * time.Second); (seen[sensors.ChamberPressure] < 3 || seen[sensors.UnitPressure] < 3) && time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		for _, r := range read.Read(clock.Now(), nil) {
			if r.Status != sensors.OK || math.Abs(r.Value-want[r.Quantity]) > 5 || r.Quantity == sensors.ChamberWater && r.Value != 19.81 {
				t.Fatalf("%+v, want %v", r, want[r.Quantity])
			}
			seen[r.Quantity]++
		}
	}
	if len(seen) != 3 || opened != 1 {
		t.Errorf("%v, opened %d times", seen, opened)
	}
	if err := errors.Join(read.Close(), read.Close()); err != nil || bus.closed != 1 {
		t.Error(err, bus.closed)
	}
	all, err := traffic.Load(&file)
	if err != nil || record.Err() != nil {
		t.Fatal(err, record.Err())
	}
	if ops := traffic.I2C(all, "1"); len(ops) < 50 || ops[0].Addr != 0x70 {
		t.Errorf("%d transfers recorded", len(ops))
	}
}

func TestABusThatIsNotThereIsNamed(t *testing.T) {
	b, err := setup.ParseBench("bench.toml", []byte(strings.ReplaceAll(twoPotsBench, `bus = "1"`, `bus = "251"`)))
	if err != nil {
		t.Fatal(err)
	}
	_, err = Open(b, rig.NewRealClock())
	if err == nil || !strings.Contains(err.Error(), `sensor "p1"`) || !strings.Contains(err.Error(), `I2C bus "251"`) || strings.Contains(err.Error(), "\n") {
		t.Error(err)
	}
}

// Every part that bench.toml knows can be made at each of its addresses.
func TestEveryPartOfAnI2CBusHasItsDriver(t *testing.T) {
	for name, make := range i2cParts {
		made := 0
		for addr := range uint16(0x80) {
			if d, err := make(nil, addr); err == nil && d != nil {
				made++
			}
		}
		if made == 0 || drivers[name] == nil {
			t.Errorf("%s cannot be made", name)
		}
	}
}
