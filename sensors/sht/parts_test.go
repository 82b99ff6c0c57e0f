package sht_test

import (
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c"

	"proofpot/sensors"
	"proofpot/sensors/poll"
	"proofpot/sensors/scale"
	"proofpot/sensors/sensortest"
	"proofpot/sensors/sensortest/parttest"
	"proofpot/sensors/sht"
	"proofpot/sensors/sht3x"
	"proofpot/sensors/sht4x"
)

func words(all ...uint16) (b []byte) {
	for _, w := range all {
		word := [2]byte{byte(w >> 8), byte(w)}
		b = append(b, word[0], word[1], sht.CRC(word))
	}
	return b
}

// parts are those that share the words, by hand after their data sheets: what is
// answered when something else than a measurement was asked for, and the humidity
// of 6666 hex, a row of testdata/reference.
var parts = []struct {
	name      string
	make      func(i2c.Bus, uint16) (poll.Device, error)
	asked     byte
	answer    []byte
	humidity  float64
	addresses map[uint16]bool
}{
	{"SHT3x", func(b i2c.Bus, a uint16) (poll.Device, error) { return sht3x.New(b, a) }, 0xF3, words(0), 40,
		map[uint16]bool{0x43: false, 0x44: true, 0x45: true, 0x46: false}},
	{"SHT4x", func(b i2c.Bus, a uint16) (poll.Device, error) { return sht4x.New(b, a) }, 0x89, words(0x0F1E, 0x2D3C), 44,
		map[uint16]bool{0x43: false, 0x44: true, 0x46: true, 0x47: false}},
}

func TestBothDoWhatADriverMust(t *testing.T) {
	const interval = 5 * time.Millisecond
	good := words(0x6666, 0x6666)
	for _, part := range parts {
		t.Run(part.name, func(t *testing.T) {
			sensortest.Suite(t, func(t *testing.T, clock *sensortest.Clock) sensortest.Subject {
				data, asked := good, byte(0)
				bus := parttest.NewPart(0x44, func(w, r []byte) error {
					if len(w) > 0 {
						asked = w[0]
					}
					if len(r) > 0 && asked == part.asked {
						copy(r, part.answer)
					} else if len(r) > 0 {
						copy(r, data)
					}
					return nil
				})
				d, err := part.make(bus, 0x44)
				if err != nil {
					t.Fatal(err)
				}
				gated := parttest.NewGated(d)
				driver, err := poll.New(gated, poll.Options{Sensor: "in", Interval: interval, Clock: clock.Now, Room: scale.NewRoom(0, false),
					Fields: []scale.Scale{{From: "temperature", Quantity: sensors.UnitTemperature, Unit: "C"}, {From: "humidity", Quantity: sensors.UnitHumidity, Unit: "%"}}})
				if err != nil {
					t.Fatal(err)
				}
				turn := func(now []byte) func() { return func() { bus.Do(func() { data = now }); gated.Turn() } }
				return sensortest.Subject{
					Driver: driver, Sensor: "in", Silence: poll.SilentIntervals * interval,
					Want:       map[sensors.Quantity]float64{sensors.UnitTemperature: 25, sensors.UnitHumidity: part.humidity},
					Good:       turn(good),
					Garbled:    turn(append(words(0x6666), 0x66, 0x66, 0x94)),
					OutOfRange: turn(words(0x0100, 0x6666)),
					Gone:       func() { bus.Unplug(true); gated.Turn() },
					Back:       func() { bus.Unplug(false) },
				}
			})
		})
	}
}

func TestOnlyTheirOwnAddressesAreTaken(t *testing.T) {
	for _, part := range parts {
		for addr, right := range part.addresses {
			if _, err := part.make(nil, addr); (err == nil) != right {
				t.Errorf("%s at %x: %v", part.name, addr, err)
			}
		}
	}
}

func TestAWrongCheckByteOfEitherWordLeavesNoValue(t *testing.T) {
	for at := range 6 {
		b := [6]byte(words(0x6666, 0x6666))
		b[at] ^= 1
		results := make([]poll.Result, sht.Outputs)
		if err := sht.Results(b, 0, 100, results); err == nil || poll.StatusOf(err).Kind != sensors.Garbled {
			t.Errorf("byte %d: %v", at, err)
		}
	}
}
