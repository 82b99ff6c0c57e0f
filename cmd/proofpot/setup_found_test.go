//go:build linux

package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2creg"
	"periph.io/x/conn/v3/physic"

	"proofpot/rig/setup"
	"proofpot/sensors/discover"
)

// smallBoard is an I2C bus with an MS5837-30BA at 76 hex, whose words are those
// of rig/wiring's test and whose pressure is about 1 bar, and a BMP280 at 77 hex
// with the calibration and the readings of its data sheet's example (BST-BMP280-DS001,
// 3.12): 100653 Pa, 25.08 °C.
type smallBoard struct {
	mu       sync.Mutex
	asked    byte
	n        int
	measured [256]byte
}

func newSmallBoard() *smallBoard {
	b := &smallBoard{}
	b.measured[0xD0] = 0x58
	for i, word := range []int{27504, 26435, -1000, 36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000} {
		binary.LittleEndian.PutUint16(b.measured[0x88+2*i:], uint16(word))
	}
	copy(b.measured[0xF7:], []byte{415148 >> 12, 415148 >> 4 & 0xFF, 415148 << 4 & 0xFF, 519888 >> 12, 519888 >> 4 & 0xFF, 519888 << 4 & 0xFF})
	return b
}

func (*smallBoard) String() string                  { return "small board" }
func (*smallBoard) SetSpeed(physic.Frequency) error { return nil }
func (*smallBoard) Close() error                    { return nil }

func (b *smallBoard) Tx(addr uint16, w, r []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch {
	case addr == 0x77 && len(w) == 1:
		copy(r, b.measured[w[0]:])
	case addr == 0x77:
		for i := 0; i+1 < len(w); i += 2 {
			switch w[i] {
			case 0xE0: // starts it anew
			case 0xF4: // forced: it measures and sleeps again
				b.measured[0xF4] = w[i+1] &^ 3
			default:
				b.measured[w[i]] = w[i+1]
			}
		}
	case addr == 0x76 && len(w) == 1 && w[0] >= 0xA0 && w[0] <= 0xAE:
		words := [8]uint16{0x9340, 34982, 36352, 20328, 22354, 26646, 26146, 0x1234}
		binary.BigEndian.PutUint16(r, words[(w[0]-0xA0)/2])
	case addr == 0x76 && len(w) == 1 && w[0] == 0:
		n := 4509371 + b.n%3 // by the formulas of the data sheet, 1006 hPa, less its second order
		if b.n++; b.asked&0xF0 == 0x50 {
			n = 6815414
		}
		copy(r, []byte{byte(n >> 16), byte(n >> 8), byte(n)})
	case addr == 0x76 && len(w) == 1:
		b.asked = w[0]
	default:
		return errors.New("remote I/O error")
	}
	return nil
}

// TestSetupFindsThePartsOfASmallBoardAndProvesThem: parts on a bus and on one
// wire are found, taken by Enter, written, and read at open vent.
func TestSetupFindsThePartsOfASmallBoardAndProvesThem(t *testing.T) {
	const number = "197"
	board := newSmallBoard()
	if err := i2creg.Register("test-board", nil, 197, func() (i2c.BusCloser, error) { return board, nil }); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = i2creg.Unregister("test-board") }()
	root := t.TempDir()
	for _, name := range []string{"dev/i2c-" + number, "sys/bus/w1/devices/28-0316a2795cff/w1_slave", "sys/bus/w1/devices/w1_bus_master1/x"} {
		file := filepath.Join(root, name)
		if err := errors.Join(os.MkdirAll(filepath.Dir(file), 0o777), os.WriteFile(file, nil, 0o666)); err != nil {
			t.Fatal(err)
		}
	}
	defer func(was discover.Root) { machine = was }(machine)
	machine = discover.Root(root)

	dir := t.TempDir()
	file := filepath.Join(dir, "bench.toml")
	args := []string{"setup", "--bench", file, "--state", dir, "--records", dir, "--acknowledge"}
	answers := []string{"pot-1", "", "", "", "9500", "120", "", "8", "7",
		"", "", "ms5837-30ba", "", "", "", "", "", "", // i2c, transducer, part and where, barometer, accuracy, in the chamber
		"", "", "", "", "", // the room's, and where; none inside
		""} // wall
	var out, errs bytes.Buffer
	w := world{ctx: context.Background(), in: strings.NewReader(strings.Join(answers, "\n") + "\n"), out: &out, errs: &errs}
	if code := run(w, append(args, "--only")); code != exitDone {
		t.Fatalf("exit code %d\n%s%s", code, &out, &errs)
	}
	for _, want := range []string{"bus 197, address 0x76: ms5837-30ba or ms5837-02ba", "bus 197, address 0x77: bmp280", "28-0316a2795cff  thermometer",
		"a part on the I2C bus? (serial, i2c) [i2c]", "Part that reads the room's pressure, a barometer (bme280, bmp280) [bmp280]"} {
		if !strings.Contains(errs.String(), want) {
			t.Errorf("%q is not said in\n%s", want, &errs)
		}
	}
	bench, err := setup.LoadBench(file)
	if err != nil {
		t.Fatal(err)
	}
	if s := bench.Sensors; len(s) != 2 || s[0].Bus != number || s[0].Address != 0x76 || s[1].Address != 0x77 || s[1].Measures != "room pressure" || s[0].AccuracyPa != 3e4 {
		t.Fatalf("%+v", s)
	}
	if testing.Short() {
		return // the rest takes some seconds of a real clock
	}

	out.Reset()
	w.in = strings.NewReader("yes\nno\nno\n")
	if code := run(w, append(args, "--read", "4s")); code != exitDone {
		t.Fatalf("exit code %d\n%s%s", code, &out, &errs)
	}
	for _, want := range []string{"1. The reading at open vent", "ok  the sensors answer, and the chamber reads the room's pressure at open vent: chamber 1006", "room 100653 Pa absolute (barometer)",
		"later: proofpot blank", "tells"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is not said in\n%s", want, &out)
		}
	}
}
