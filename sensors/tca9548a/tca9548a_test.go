package tca9548a

import (
	"context"
	"strings"
	"testing"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"

	"proofpot/sensors/busguard"
	"proofpot/sensors/sensortest/parttest"
)

// ops is one transfer behind channel 5, assembled by hand from the sheet.
func ops() []i2ctest.IO {
	return []i2ctest.IO{
		{Addr: 0x70, W: []byte{0x20}}, {Addr: 0x70, R: []byte{0x20}},
		{Addr: 0x44, W: []byte{0x89}, R: []byte{0xBE, 0xEF}},
		{Addr: 0x70, W: []byte{0x00}}, {Addr: 0x70, R: []byte{0x00}},
	}
}

// The bytes of the part itself are its driver's to judge.
func TestEveryTransferThatIsSpoiledGivesNoValue(t *testing.T) {
	parttest.EachTransfer(t, ops(), func(_ context.Context, bus i2c.Bus) ([]float64, error) {
		c, err := New(bus.(Guarded), 0x70, 5)
		if err != nil {
			return nil, err
		}
		r := []byte{7, 7}
		if err := c.Tx(0x44, []byte{0x89}, r); err != nil {
			if r[0] != 7 || strings.Contains(err.Error(), "\n") || !strings.Contains(err.Error(), "channel 5 of multiplexer 0x70") {
				t.Errorf("% x %v", r, err)
			}
			return nil, err
		}
		return []float64{float64(r[0])}, nil
	}, func(at, bit int) bool { return at == 2 })
}

func TestAfterAPartThatDoesNotAnswerItsChannelIsLetGoOf(t *testing.T) {
	played := parttest.Play(ops()...)
	played.Ops = append(played.Ops[:2:2], played.Ops[3:]...) // the part's own is left out
	bus := busguard.New("1", skip{played}, 0)
	defer bus.Close()
	c, _ := New(bus, 0x70, 5)
	if err := c.Tx(0x44, []byte{0x89}, make([]byte, 2)); err == nil {
		t.Error("it answers")
	}
	if err := played.Close(); err != nil {
		t.Error(err)
	}
}

// skip answers for nobody at 44 hex.
type skip struct{ i2c.Bus }

func (s skip) Tx(addr uint16, w, r []byte) error {
	if addr == 0x44 {
		return context.DeadlineExceeded
	}
	return s.Bus.Tx(addr, w, r)
}

func TestOnlyWhatThereIsIsTaken(t *testing.T) {
	bus := busguard.New("1", parttest.Play(), 0)
	defer bus.Close()
	for _, bad := range [][2]int{{0x6F, 0}, {0x78, 0}, {0x70, -1}, {0x70, 8}} {
		if _, err := New(bus, uint16(bad[0]), bad[1]); err == nil {
			t.Error(bad)
		}
	}
	c, err := New(bus, 0x77, 7)
	if err != nil {
		t.Fatal(err)
	}
	if c.Tx(0x77, []byte{1}, nil) == nil {
		t.Error("a part at the multiplexer's own address")
	}
	if c.SetSpeed(physic.MegaHertz) == nil {
		t.Error("a part changed the speed of everybody's bus")
	}
}
