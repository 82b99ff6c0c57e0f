package sht4x

import (
	"context"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2ctest"

	"proofpot/sensors"
	"proofpot/sensors/poll"
	"proofpot/sensors/scale"
	"proofpot/sensors/sensortest"
	"proofpot/sensors/sensortest/parttest"
	"proofpot/sensors/sht"
)

func word(w uint16) []byte {
	b := [2]byte{byte(w >> 8), byte(w)}
	return []byte{b[0], b[1], sht.CRC(b)}
}

// A measurement of 25 °C and 44 %, rows of testdata/reference; a serial number
// that is invented.
var (
	both   = append(word(0x6666), word(0x6666)...)
	serial = append(word(0x0F1E), word(0x2D3C)...)
)

// traffic is a start and one measurement, assembled by hand; none was recorded.
func traffic(serial, data []byte) []i2ctest.IO {
	io := func(w []byte, r ...byte) i2ctest.IO { return i2ctest.IO{Addr: 0x44, W: w, R: r} }
	return []i2ctest.IO{io([]byte{cmdReset}), io([]byte{cmdSerial}), io(nil, serial...), io([]byte{cmdMeasure}), io(nil, data...)}
}

func measure(ctx context.Context, bus i2c.Bus) ([]poll.Result, error) {
	d, err := New(bus, 0x44)
	if err != nil {
		return nil, err
	}
	if err := d.Start(ctx); err != nil {
		return nil, err
	}
	results := make([]poll.Result, sht.Outputs)
	return results, d.Measure(ctx, results)
}

func TestEveryTransferThatIsSpoiledGivesNoValue(t *testing.T) {
	parttest.EachTransfer(t, traffic(serial, both), func(ctx context.Context, bus i2c.Bus) (values []float64, err error) {
		results, err := measure(ctx, bus)
		for _, r := range results {
			if err == nil && r.Kind == sensors.OK {
				values = append(values, r.Value)
			}
		}
		return values, err
	}, nil)
}

func TestASerialNumberOfNothingIsRefused(t *testing.T) {
	none := append(word(0), word(0)...)
	if _, err := measure(t.Context(), parttest.Play(traffic(none, both)...)); err == nil || poll.StatusOf(err).Kind != sensors.Garbled {
		t.Error(err)
	}
}

// RH = −6 + 125 S / 65535: the sheet lets a program cut it to 0 to 100 %.
func TestHumidityBeyondSaturationIsNotCut(t *testing.T) {
	results, err := measure(t.Context(), parttest.Play(traffic(serial, append(word(0x6666), word(0xE000)...))...))
	if err != nil || !(results[sht.Humidity].Value > 103) {
		t.Errorf("%+v %v", results, err)
	}
}

func TestItDoesWhatADriverMust(t *testing.T) {
	const interval = 5 * time.Millisecond
	sensortest.Suite(t, func(t *testing.T, clock *sensortest.Clock) sensortest.Subject {
		data, asked := both, byte(0)
		bus := parttest.NewPart(0x44, func(w, r []byte) error {
			if len(w) > 0 {
				asked = w[0]
			}
			if len(r) > 0 && asked == cmdSerial {
				copy(r, serial)
			} else if len(r) > 0 {
				copy(r, data)
			}
			return nil
		})
		d, err := New(bus, 0x44)
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
			Want:       map[sensors.Quantity]float64{sensors.UnitTemperature: 25, sensors.UnitHumidity: 44},
			Good:       turn(both),
			Garbled:    turn(append(word(0x6666), 0x66, 0x66, 0x94)),
			OutOfRange: turn(append(word(0x0100), word(0x6666)...)),
			Gone:       func() { bus.Unplug(true); gated.Turn() },
			Back:       func() { bus.Unplug(false) },
		}
	})
}

func TestOnlyItsOwnAddressesAreTaken(t *testing.T) {
	for addr, right := range map[uint16]bool{0x43: false, 0x44: true, 0x46: true, 0x47: false} {
		if _, err := New(nil, addr); (err == nil) != right {
			t.Errorf("%x: %v", addr, err)
		}
	}
}
