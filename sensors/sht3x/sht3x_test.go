package sht3x

import (
	"context"
	"math"
	"testing"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2ctest"

	"proofpot/sensors"
	"proofpot/sensors/poll"
	"proofpot/sensors/sensortest/parttest"
	"proofpot/sensors/sht"
)

func word(w uint16) []byte {
	b := [2]byte{byte(w >> 8), byte(w)}
	return []byte{b[0], b[1], sht.CRC(b)}
}

// A measurement of 25 °C and 40 %, rows of testdata/reference.
var both = append(word(0x6666), word(0x6666)...)

// traffic is a start and one measurement, assembled by hand from the sheet; none
// of it was recorded.
func traffic(first uint16, data []byte, second uint16) []i2ctest.IO {
	io := func(w []byte, r ...byte) i2ctest.IO { return i2ctest.IO{Addr: 0x44, W: w, R: r} }
	return []i2ctest.IO{io(cmdReset), io(cmdHeaterOff), io(cmdClearStatus), io(cmdStatus), io(nil, word(first)...),
		io(cmdMeasure), io(nil, data...), io(cmdStatus), io(nil, word(second)...)}
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
	parttest.EachTransfer(t, traffic(0, both, 0), func(ctx context.Context, bus i2c.Bus) (values []float64, err error) {
		results, err := measure(ctx, bus)
		for _, r := range results {
			if err == nil && r.Kind == sensors.OK {
				values = append(values, r.Value)
			}
		}
		return values, err
	}, nil)
}

func TestTheStatusIsBelieved(t *testing.T) {
	for _, c := range []struct {
		name          string
		first, second uint16
		status        sensors.Status
	}{
		{"no SHT3x", 0x0004, 0, sensors.Garbled},
		{"a heater that does not go off", statusHeater, 0, sensors.Garbled},
		{"its power was lost", 0, statusReset, sensors.Restarted},
		{"a command was not done", 0, statusCommand, sensors.Garbled},
		{"alerts are nobody's", 0, 0x8C00, sensors.OK},
	} {
		_, err := measure(t.Context(), parttest.Play(traffic(c.first, both, c.second)...))
		if (err == nil) != (c.status == sensors.OK) || err != nil && poll.StatusOf(err).Kind != c.status {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

func TestAHeaterThatIsOnIsTurnedOffAndGivesNoValue(t *testing.T) {
	ops := append(traffic(0, both, statusHeater), i2ctest.IO{Addr: 0x44, W: cmdHeaterOff})
	bus := parttest.Play(ops...)
	if _, err := measure(t.Context(), bus); err == nil || poll.StatusOf(err).Kind != sensors.Garbled {
		t.Error(err)
	}
	if err := bus.Close(); err != nil {
		t.Error(err)
	}
	if _, err := measure(t.Context(), parttest.Play(traffic(0, both, statusHeater)...)); err == nil || poll.StatusOf(err).Kind != sensors.Disconnected {
		t.Errorf("it cannot be turned off: %v", err)
	}
}

func TestTheEndsOfItsRangeAreFaults(t *testing.T) {
	for _, c := range []struct {
		t, h     uint16
		tIs, hIs sensors.Status
	}{
		{0xFFFF, 0x6666, sensors.Saturated, sensors.Saturated}, {0x0100, 0x6666, sensors.OutOfRange, sensors.OutOfRange},
		{0xFF00, 0x6666, sensors.OutOfRange, sensors.OutOfRange}, {0x6666, 0xFFFF, sensors.OK, sensors.Saturated},
	} {
		results, err := measure(t.Context(), parttest.Play(traffic(0, append(word(c.t), word(c.h)...), 0)...))
		if err != nil || results[sht.Temperature].Kind != c.tIs || results[sht.Humidity].Kind != c.hIs || !math.IsNaN(results[sht.Humidity].Value) {
			t.Errorf("%04x %04x: %+v %v", c.t, c.h, results, err)
		}
	}
}
