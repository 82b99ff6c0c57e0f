package mcp4725

import (
	"errors"
	"strings"
	"testing"

	"periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"
)

// Bytes by the figures of DS22039D, worked by hand: no recording of a part.
var (
	options = Options{Address: 0x60, FullScaleV: 10, LowV: 0, HighV: 10, LowPa: 0, HighPa: 8e5}

	readFactory = i2ctest.IO{Addr: 0x60, R: []byte{0xC0, 0x80, 0x00, 0x08, 0x00}} // half scale in both
	writeZeroEE = i2ctest.IO{Addr: 0x60, W: []byte{0x60, 0x00, 0x00}}
	readZero    = i2ctest.IO{Addr: 0x60, R: []byte{0xC0, 0x00, 0x00, 0x00, 0x00}}
	writeZero   = i2ctest.IO{Addr: 0x60, W: []byte{0x00, 0x00}}
	// 4 bar of 8: 5 V of 10: code 2048, 0x800.
	writeHalf = i2ctest.IO{Addr: 0x60, W: []byte{0x08, 0x00}}
	readHalf  = i2ctest.IO{Addr: 0x60, R: []byte{0xC0, 0x80, 0x00, 0x00, 0x00}}
	// 3.21 bar: 4.0125 V: 1643.52, so 1643, 0x66B.
	writeOdd = i2ctest.IO{Addr: 0x60, W: []byte{0x06, 0x6B}}
	readOdd  = i2ctest.IO{Addr: 0x60, R: []byte{0xC0, 0x66, 0xB0, 0x00, 0x00}}
)

func TestAFactoryPartForgetsItsHalfScaleAndIsSetAndReadBack(t *testing.T) {
	bus := &i2ctest.Playback{DontPanic: true, Ops: []i2ctest.IO{
		readFactory, writeZeroEE, readZero, writeZero, readZero,
		writeHalf, readHalf, writeOdd, readOdd, writeZero, readZero,
	}}
	r, err := New(bus, options)
	if err != nil {
		t.Fatal(err)
	}
	for _, pa := range []float64{4e5, 3.21e5} {
		if err := r.SetGaugePa(pa); err != nil {
			t.Error(err)
		}
	}
	if err := errors.Join(r.Close(), bus.Close()); err != nil {
		t.Error(err)
	}
}

func TestAPressureOutsideTheRangeIsRefusedAndSetsNothing(t *testing.T) {
	bus := &i2ctest.Playback{DontPanic: true, Ops: []i2ctest.IO{readZero, writeZero, readZero, writeZero, writeZero}}
	r, err := New(bus, options)
	if err != nil {
		t.Fatal(err)
	}
	for _, pa := range []float64{8.01e5, -1} {
		if err := r.SetGaugePa(pa); err == nil || !strings.Contains(err.Error(), "outside the regulator's range") {
			t.Errorf("%v: %v", pa, err)
		}
	}
	if err := bus.Close(); err != nil {
		t.Error(err)
	}
}

func TestAnAmplifierAboveItsRangeAndAnOffsetRangeAreRoundedDown(t *testing.T) {
	r := &Regulator{opts: Options{FullScaleV: 10.2, LowV: 1, HighV: 9, LowPa: 0.5e5, HighPa: 8.5e5}}
	for _, c := range []struct {
		pa   float64
		code uint16
	}{
		{0, 0}, {0.4e5, 0}, {0.5e5, 401}, {8.5e5, 3614}, // 1 V: 401.57; 9 V: 3614.1
	} {
		if code, err := r.code(c.pa); code != c.code || err != nil {
			t.Errorf("%v Pa gives %d, %v; want %d", c.pa, code, err, c.code)
		}
	}
}

// failing lets a bus fail at one transfer.
type failing struct {
	i2ctest.Playback
	at, n int
}

var errBus = errors.New("remote I/O error")

func (f *failing) Tx(addr uint16, w, r []byte) error {
	f.n++
	if f.n == f.at {
		return errBus
	}
	return f.Playback.Tx(addr, w, r)
}

func (f *failing) SetSpeed(physic.Frequency) error { return nil }

func TestEveryTransferThatFailsIsReported(t *testing.T) {
	ops := []i2ctest.IO{readFactory, writeZeroEE, readZero, writeZero, readZero, writeHalf, readHalf}
	for at := 1; at <= len(ops); at++ {
		rest := append(append([]i2ctest.IO{}, ops[:at-1]...), ops[at:]...)
		bus := &failing{Playback: i2ctest.Playback{DontPanic: true, Ops: rest}, at: at}
		r, err := New(bus, options)
		if err == nil {
			err = r.SetGaugePa(4e5)
		}
		if err == nil || !strings.Contains(err.Error(), errBus.Error()) {
			t.Errorf("transfer %d: %v", at, err)
		}
	}
}

func TestARegisterThatReadsBackOtherwiseAndAnEEPROMThatStaysAreReported(t *testing.T) {
	bus := &i2ctest.Playback{DontPanic: true, Ops: []i2ctest.IO{readZero, writeZero, readZero, writeHalf, readOdd}}
	r, err := New(bus, options)
	if err != nil {
		t.Fatal(err)
	}
	if err := r.SetGaugePa(4e5); err == nil || !strings.Contains(err.Error(), "reads back 1643, was set to 2048") {
		t.Errorf("%v", err)
	}
	bus = &i2ctest.Playback{DontPanic: true, Ops: []i2ctest.IO{readFactory, writeZeroEE, readFactory}}
	if _, err := New(bus, options); err == nil || !strings.Contains(err.Error(), "keeps a start value of 2048") {
		t.Errorf("%v", err)
	}
}
