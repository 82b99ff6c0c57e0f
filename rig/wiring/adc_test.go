package wiring

import (
	"errors"
	"math"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// converter is an I2C bus with an ADS1115 at 48 hex, by hand after its data sheet:
// configuration in register 1, what its channels hold in register 0.
type converter struct {
	mu     sync.Mutex
	config uint16
	volts  [4]float64
	ranges map[float64]bool // that were used
	closed int
}

func (c *converter) String() string                  { return "converter" }
func (c *converter) SetSpeed(physic.Frequency) error { return nil }
func (c *converter) Close() error                    { c.closed++; return nil }

func (c *converter) Tx(addr uint16, w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if addr != 0x48 {
		return errors.New("remote I/O error")
	}
	if len(w) == 3 {
		c.config = uint16(w[1])<<8 | uint16(w[2])
		return nil
	}
	word := c.config | 1<<15
	if w[0] == 0 {
		span := [8]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256}[c.config>>9&7]
		c.ranges[span] = true
		word = uint16(int16(min(32767, math.Round(c.volts[c.config>>12&3]/span*32768))))
	}
	r[0], r[1] = byte(word>>8), byte(word)
	return nil
}

func TestWhatHangsAtAConverterIsOpenedAndRead(t *testing.T) {
	data, err := os.ReadFile("../setup/testdata/hand-adc.toml")
	if err != nil {
		t.Fatal(err)
	}
	b, err := setup.ParseBench("bench.toml", data)
	if err != nil {
		t.Fatal(err)
	}
	// 3.3 V: half of the span is 5 bar gauge; 10 kΩ are 25 °C; the end's resistor is dry.
	bus := &converter{volts: [4]float64{1.65, 1.65, 1.65, 3.3}, ranges: map[float64]bool{}}
	defer func(as func(string) (i2c.BusCloser, error)) { openBus = as }(openBus)
	openBus = func(string) (i2c.BusCloser, error) { return bus, nil }
	clock := rig.NewRealClock()
	read, err := OpenSensors(b, clock, nil)
	if err != nil {
		t.Fatal(err)
	}
	want := map[sensors.Quantity]float64{sensors.ChamberPressure: 601300, sensors.ChamberWater: 25, sensors.ProbeWet: 0}
	within := map[sensors.Quantity]float64{sensors.ChamberPressure: 60, sensors.ChamberWater: 0.01}
	readUntil(t, clock, read, func(r sensors.Reading) bool {
		if w, ours := want[r.Quantity]; ours && (r.Status != sensors.OK || math.Abs(r.Value-w) > within[r.Quantity]) {
			t.Fatalf("%+v, want %v", r, w)
		}
		delete(want, r.Quantity)
		return len(want) == 0
	})
	bus.mu.Lock()
	if len(bus.ranges) != 2 || !bus.ranges[4.096] || !bus.ranges[6.144] {
		t.Errorf("ranges used: %v", bus.ranges)
	}
	bus.volts[3] = 0 // its plug is pulled
	bus.mu.Unlock()
	off := map[sensors.Quantity]bool{}
	readUntil(t, clock, read, func(r sensors.Reading) bool {
		off[r.Quantity] = off[r.Quantity] || r.Status == sensors.SupplyOff
		return off[sensors.ChamberPressure] && off[sensors.ChamberWater] && off[sensors.ProbeWet]
	})
	if err := errors.Join(read.Close(), read.Close()); err != nil || bus.closed != 1 {
		t.Error(err, bus.closed)
	}
}

// readUntil reads until enough was seen.
func readUntil(t *testing.T, clock rig.Clock, read *Sensors, enough func(sensors.Reading) bool) {
	t.Helper()
	for deadline := time.Now().Add(10 * time.Second); time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		for _, r := range read.Read(clock.Now(), nil) {
			if enough(r) {
				return
			}
		}
	}
	t.Fatal("what is wanted was not read")
}

func TestAConverterThatCannotBeAsTheFileSaysIsRefusedByItsKey(t *testing.T) {
	data, err := os.ReadFile("../setup/testdata/hand-adc.toml")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ from, to, want string }{
		{"range_v = 4.096               #", "range_v = 3.3 #", "bench.toml:32:1: range_v: 3.3 V"},
		{"end_ohm = 100000", "", "looks dry"},
		{"range_v = 4.096               #", "range_v = 2.048 #", "the range ends at 2.048 V"},
		{`from = "ain1"`, `from = "ain4"`, "bench.toml:40:1: from: "},
		{`supply_input = "ain3"`, "", "supply"},
		{"beta_k = 3950", "steinhart_hart = [1e-3, 2e-4]", "here are 2"},
	} {
		text := strings.Replace(string(data), c.from, c.to, 1)
		if _, err := setup.ParseBench("bench.toml", []byte(text)); text == string(data) || err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.to, err, c.want)
		}
	}
}
