package sht4x

import (
	"context"
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
