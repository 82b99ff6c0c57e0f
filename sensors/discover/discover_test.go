package discover

import (
	"encoding/binary"
	"os"
	"path/filepath"
	"reflect"
	"testing"

	"periph.io/x/conn/v3/physic"
)

// tree makes files and links as the kernel shows them (assembled by hand after a
// board with a USB adapter).
func tree(t *testing.T, files, links map[string]string) Root {
	t.Helper()
	root, err := filepath.EvalSymlinks(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	for name, content := range files {
		file := filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, []byte(content+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for name, to := range links {
		file := filepath.Join(root, name)
		os.MkdirAll(filepath.Dir(file), 0o755)
		if err := os.Symlink(filepath.Join(root, to), file); err != nil {
			t.Fatal(err)
		}
	}
	return Root(root)
}

func TestWhatTheKernelShowsIsListedWithoutOpeningIt(t *testing.T) {
	r := tree(t, map[string]string{
		"sys/devices/usb1/1-1/idVendor": "0403", "sys/devices/usb1/1-1/idProduct": "6001",
		"sys/devices/usb1/1-1/product": "RS485 adapter", "sys/devices/usb1/1-1/serial": "A10",
		"sys/devices/usb1/1-1/1-1:1.0/ttyUSB0/x": "", "dev/ttyUSB0": "",
		"sys/devices/serial0/x": "", "sys/class/tty/ttyS0/type": "0", "sys/class/tty/ttyAMA0/type": "32",
		"dev/i2c-1": "", "sys/class/i2c-dev/i2c-1/name": "bcm2835 (i2c@7e804000)",
		"sys/bus/i2c/devices/1-0068/driver/x": "", "sys/bus/i2c/devices/1-0050/x": "",
		"sys/bus/w1/devices/28-0316a2794bff/x": "", "sys/bus/w1/devices/w1_bus_master1/x": "",
	}, map[string]string{
		"sys/class/tty/ttyUSB0/device": "sys/devices/usb1/1-1/1-1:1.0/ttyUSB0",
		"sys/class/tty/ttyS0/device":   "sys/devices/serial0", "sys/class/tty/ttyAMA0/device": "sys/devices/serial0",
		"dev/serial/by-id/usb-rs485": "dev/ttyUSB0",
	})
	if got, want := r.Ports(), []Port{
		{Path: "/dev/ttyAMA0", Device: "/dev/ttyAMA0", Mounted: true},
		{Path: "/dev/serial/by-id/usb-rs485", Device: "/dev/ttyUSB0", What: "RS485 adapter A10", USB: "0403:6001"},
	}; !reflect.DeepEqual(got, want) {
		t.Errorf("%+v", got)
	}
	if got, want := r.Buses(), []Bus{{Number: "1", Name: "bcm2835 (i2c@7e804000)", Held: []string{"68"}}}; !reflect.DeepEqual(got, want) {
		t.Errorf("%+v", got)
	}
	if got, want := r.OneWires(), []OneWire{{"28-0316a2794bff", true}}; !reflect.DeepEqual(got, want) {
		t.Errorf("%+v", got)
	}
	empty := tree(t, nil, nil)
	if len(empty.Ports())+len(empty.Buses())+len(empty.OneWires()) != 0 {
		t.Error("an empty computer has something")
	}
}

// watchedBus has parts at addresses, and keeps what was written to others.
type watchedBus struct {
	parts map[uint16]func(w, r []byte)
	asked map[uint16]int
	long  bool
}

func (*watchedBus) String() string                  { return "watched" }
func (*watchedBus) SetSpeed(physic.Frequency) error { return nil }
func (b *watchedBus) Tx(addr uint16, w, r []byte) error {
	b.asked[addr]++
	b.long = b.long || len(w) > 1
	part := b.parts[addr]
	if part == nil {
		return os.ErrNotExist
	}
	part(w, r)
	return nil
}

func prom(words ...uint16) func(w, r []byte) {
	return func(w, r []byte) {
		if len(w) == 1 && w[0] >= 0xA0 && w[0] <= 0xAE && len(r) == 2 {
			binary.BigEndian.PutUint16(r, words[(w[0]-0xA0)/2])
		}
	}
}

func TestPartsThatCarryAnIdentityAreKnownAndOthersLeftAlone(t *testing.T) {
	id := func(n byte) func(w, r []byte) {
		return func(w, r []byte) {
			if len(w) == 1 && w[0] == 0xD0 {
				r[0] = n
			}
		}
	}
	// AN520's example with its CRC stored; the coefficients of MS5837-30BA's data
	// sheet with a factory word that is invented.
	an520 := prom(0x3132, 0x3334, 0x3536, 0x3738, 0x3940, 0x4142, 0x4344, 0x450B)
	ms5837 := prom(0x2013, 0x88A6, 0x8E00, 0x4F68, 0x5752, 0x6816, 0x6622, 0x1234)
	either := prom(0x9340, 34982, 36352, 20328, 22354, 26646, 26146, 0) // both CRCs are right, the second by chance
	damaged := prom(0x2013, 0x88A6, 0x8E00, 0x4F78, 0x5752, 0x6816, 0x6622, 0x1234)
	serial := func(w, r []byte) { copy(r, []byte{0xBE, 0xEF, 0x92, 0x66, 0x66, 0x93}) } // the SHT data sheets' CRC(BEEF) = 92
	for _, c := range []struct {
		name  string
		parts map[uint16]func(w, r []byte)
		want  []Part
	}{
		{"nothing", nil, nil},
		{"a barometer and a hygrometer", map[uint16]func(w, r []byte){0x76: id(0x60), 0x77: id(0x58), 0x44: serial},
			[]Part{{0x44, "sht4x"}, {0x76, "bme280"}, {0x77, "bmp280"}}},
		{"pressure sensors", map[uint16]func(w, r []byte){0x76: ms5837, 0x77: an520}, []Part{{0x76, "ms5837-30ba or ms5837-02ba"}, {0x77, "ms5803-14ba"}}},
		{"one that may be either", map[uint16]func(w, r []byte){0x76: either}, []Part{{0x76, "ms5803-14ba, ms5837-30ba or ms5837-02ba"}}},
		{"one whose words are damaged", map[uint16]func(w, r []byte){0x76: damaged}, nil},
		{"a bus that is stuck", map[uint16]func(w, r []byte){0x76: prom(0, 0, 0, 0, 0, 0, 0, 0), 0x44: func(_, r []byte) { clear(r) }}, nil},
	} {
		bus := &watchedBus{parts: c.parts, asked: map[uint16]int{}}
		if got := Probe(bus, nil); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: %+v", c.name, got)
		}
		for addr := range bus.asked {
			if addr < 0x44 || addr > 0x46 && addr < 0x76 {
				t.Errorf("%s: address %02x was disturbed", c.name, addr)
			}
		}
		if bus.long {
			t.Errorf("%s: more than one byte was written", c.name)
		}
	}
	bus := &watchedBus{parts: map[uint16]func(w, r []byte){0x76: id(0x60)}, asked: map[uint16]int{}}
	if got := Probe(bus, []string{"76"}); len(got) != 0 || bus.asked[0x76] != 0 {
		t.Error("an address that the kernel holds was asked")
	}
}
