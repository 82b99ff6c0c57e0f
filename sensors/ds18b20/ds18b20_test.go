package ds18b20

import (
	"context"
	"encoding/hex"
	"fmt"
	"io/fs"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2ctest"

	"proofpot/sensors"
	"proofpot/sensors/poll"
	"proofpot/sensors/scale"
	"proofpot/sensors/sensortest"
	"proofpot/sensors/sensortest/parttest"
)

// pad makes a scratchpad as the part has it after a measurement at 12 bits.
func pad(register uint16) (p [9]byte) {
	p = [9]byte{byte(register), byte(register >> 8), alarmHigh, alarmLow, twelveBits, 0xFF, 0x0C, 0x10}
	p[8] = CRC(p[:8])
	return p
}

func TestTheTableOfTheDataSheetComesOut(t *testing.T) {
	for _, row := range sensortest.Table(t, "../../testdata/reference/ds18b20_temperature.csv", 7) {
		register, err := strconv.ParseUint(row[0], 16, 16)
		if err != nil {
			t.Fatal(err)
		}
		want := sensortest.Number(t, row[1])
		if got := Celsius(uint16(register)); got != want {
			t.Errorf("%s hex is %v °C, want %v", row[0], got, want)
		}
		r, err := celsius(pad(uint16(register)))
		if register == powerOn {
			if poll.StatusOf(err).Kind != sensors.Restarted {
				t.Errorf("the 85 °C of power on are taken: %+v %v", r, err)
			}
			continue
		}
		if err != nil || r.Kind != sensors.OK || r.Value != want {
			t.Errorf("%s hex reads %+v %v, want %v", row[0], r, err, want)
		}
	}
}

func TestTheCheckByteIsThatOfOneWire(t *testing.T) {
	for _, row := range sensortest.Table(t, "../../testdata/reference/onewire_crc8.csv", 2) {
		b, err := hex.DecodeString(strings.ReplaceAll(row[0], " ", ""))
		if err != nil {
			t.Fatal(err)
		}
		if got := fmt.Sprintf("%02X", CRC(b)); got != row[1] {
			t.Errorf("%s: %s, want %s", row[0], got, row[1])
		}
	}
}

func TestAScratchpadThatCannotBeTrustedGivesNoTemperature(t *testing.T) {
	sum := func(p [9]byte) [9]byte { p[8] = CRC(p[:8]); return p }
	flat := pad(0x0190)
	flat[8] ^= 1
	signs, cold := pad(0x1190), pad(0xF800)
	for _, f := range []struct {
		name string
		pad  [9]byte
		kind sensors.Status
	}{
		{"shorted bus", [9]byte{}, sensors.Garbled},
		{"nobody pulls the bus down", [9]byte{255, 255, 255, 255, 255, 255, 255, 255, 255}, sensors.Garbled},
		{"check byte", flat, sensors.Garbled},
		{"signs", signs, sensors.Garbled},
		{"power on", sum([9]byte{0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10}), sensors.Restarted},
		{"too cold", cold, sensors.OutOfRange},
		{"too warm", pad(2001), sensors.OutOfRange},
	} {
		r, err := celsius(f.pad)
		if err != nil {
			r.Status = poll.StatusOf(err)
		}
		if r.Kind != f.kind || r.Text == "" {
			t.Errorf("%s: %+v", f.name, r)
		}
	}
	nine := sum([9]byte{0x97, 0x01, 0, 0, 0x1F, 0xFF, 0, 0x10}) // 25.4375 °C with three undefined bits
	if r, err := celsius(nine); err != nil || r.Value != 25 {
		t.Errorf("at 9 bits: %+v %v", r, err)
	}
}

const name = "28-0316a2795cff"

func TestANameIsAnAddress(t *testing.T) {
	a, err := Address(name)
	if err != nil || byte(a) != Family || uint64(a)>>8&(1<<48-1) != 0x0316a2795cff {
		t.Fatalf("%016x %v", uint64(a), err)
	}
	if _, err := New(nil, a); err != nil {
		t.Error(err)
	}
	if _, err := New(nil, a^1<<60); err == nil {
		t.Error("an address whose check byte is wrong is taken")
	}
	for _, bad := range []string{"", "28", "28-", "28-1", "10-0316a2795cff", "28-0316A2795CFF", "28-0316a2795cfg", "../../etc/passwd", "28-0316a2795cff/.."} {
		if _, err := Address(bad); err == nil {
			t.Errorf("%q is taken", bad)
		}
	}
}

// traffic is a start and a measurement on a 1-Wire bus, assembled by hand from
// the data sheet; none of it was recorded.
func traffic(t testing.TB, register uint16) []i2ctest.IO {
	t.Helper()
	d := device(t, nil)
	io := func(command []byte, r ...byte) i2ctest.IO {
		return i2ctest.IO{W: append(append([]byte{cmdMatch}, d.rom[:]...), command...), R: r}
	}
	first, then := pad(powerOn), pad(register)
	return []i2ctest.IO{
		io([]byte{cmdPower}, 0xFF), io([]byte{cmdWrite, 0x7D, 0xC9, 0x7F}), io([]byte{cmdRead}, first[:]...),
		io([]byte{cmdConvert}, 0), io([]byte{cmdRead}, then[:]...),
	}
}

func device(t testing.TB, bus i2c.Bus) *Device {
	t.Helper()
	addr, err := Address(name)
	if err != nil {
		t.Fatal(err)
	}
	d, err := New(parttest.OneWire(bus), addr)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestEveryTransferThatIsSpoiledGivesNoValue(t *testing.T) {
	parttest.EachTransfer(t, traffic(t, 0x0191), func(ctx context.Context, bus i2c.Bus) ([]float64, error) {
		d, results := device(t, bus), make([]poll.Result, 1)
		if err := d.Start(ctx); err != nil {
			return nil, err
		}
		err := d.Measure(ctx, results)
		if err != nil || results[0].Kind != sensors.OK {
			return nil, err
		}
		return []float64{results[0].Value}, nil
	}, nil)
}

func TestAPartThatDoesNotMeasureIsNotASteadyOne(t *testing.T) {
	ops := traffic(t, 0x0191)
	for _, f := range []struct {
		name string
		at   int
		r    []byte
		kind sensors.Status
	}{
		{"power from the data line", 0, []byte{0}, sensors.SupplyOff},
		{"it does not begin", 3, []byte{0xFF}, sensors.NoReading},
		{"85 °C at 9 bits", 4, func() []byte {
			p := [9]byte{0x55, 0x05, alarmHigh, alarmLow, 0x1F, 0xFF, 0x0C, 0x10}
			p[8] = CRC(p[:8])
			return p[:]
		}(), sensors.NoReading},
		{"it lost its settings", 4, func() []byte {
			p := [9]byte{0x91, 0x01, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10}
			p[8] = CRC(p[:8])
			return p[:]
		}(), sensors.NoReading},
	} {
		changed := append([]i2ctest.IO{}, ops...)
		changed[f.at].R = f.r
		d, results := device(t, parttest.Play(changed...)), make([]poll.Result, 1)
		err := d.Start(t.Context())
		if err == nil {
			err = d.Measure(t.Context(), results)
		}
		if err == nil || poll.StatusOf(err).Kind != f.kind {
			t.Errorf("%s: %v", f.name, err)
		}
	}
}

// kernelFile is what w1_therm writes, assembled by hand from the kernel's
// documentation (w1/slaves/w1_therm).
func kernelFile(p [9]byte, milli int) string {
	verdict := "NO"
	if CRC(p[:8]) == p[8] {
		verdict = "YES"
	}
	bytes := fmt.Sprintf("% x ", p[:])
	return fmt.Sprintf("%s: crc=%02x %s\n%st=%d\n", bytes, p[8], verdict, bytes, milli)
}

func TestTheKernelsFileIsReadAndNotBelieved(t *testing.T) {
	// The public capture of testdata/reference/onewire_crc8.csv, in the kernel's form.
	capture := "98 01 4b 46 7f ff 08 10 22 : crc=22 YES\n98 01 4b 46 7f ff 08 10 22 t=25500\n"
	if r, err := kernelText([]byte(capture)); err != nil || r.Value != 25.5 {
		t.Errorf("%+v %v", r, err)
	}
	for register, milli := range map[uint16]int{0xFF5E: -10125, 0xFFFF: -62, 0x0001: 62, 0: 0} {
		if r, err := kernelText([]byte(kernelFile(pad(register), milli))); err != nil || r.Value != Celsius(register) {
			t.Errorf("%04x: %+v %v", register, r, err)
		}
	}
	for n := range len(capture) {
		if r, err := kernelText([]byte(capture[:n])); err == nil {
			t.Errorf("cut after %d bytes it reads %+v", n, r)
		}
	}
	digits := "0123456789abcdef"
	for i := range 26 { // each digit of the first line's nine bytes
		for _, d := range digits {
			if c := capture[i]; c == ' ' || c == byte(d) {
				continue
			}
			if r, err := kernelText([]byte(capture[:i] + string(d) + capture[i+1:])); err == nil && r.Kind == sensors.OK {
				t.Errorf("with %q at %d it reads %+v", d, i, r)
			}
		}
	}
	for what, kind := range map[string]sensors.Status{
		"":                                       sensors.Disconnected,
		strings.Replace(capture, "YES", "NO", 1): sensors.Garbled,
		strings.Replace(capture, "t=25500", "t=25000", 1):                               sensors.Garbled,
		strings.Replace(capture, "\n98 01", "\n99 01", 1):                               sensors.Garbled,
		"00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n":     sensors.Garbled,
		"50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n": sensors.Restarted,
		"ff ff ff ff ff ff ff ff ff : crc=c9 NO\n98 01 4b 46 7f ff 08 10 22 t=25500\n":  sensors.Garbled,
	} {
		if _, err := kernelText([]byte(what)); err == nil || poll.StatusOf(err).Kind != kind {
			t.Errorf("%q: %v", what, err)
		}
	}
}

// sysfs is the kernel's folder with one part in it.
type sysfs struct {
	mu   sync.Mutex
	text string
	gone bool
}

func (s *sysfs) Open(file string) (fs.File, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	files := fstest.MapFS{}
	if !s.gone {
		files[name+"/w1_slave"] = &fstest.MapFile{Data: []byte(s.text)}
	}
	return files.Open(file)
}

func TestThroughTheKernelItDoesWhatADriverMust(t *testing.T) {
	const interval = 5 * time.Millisecond
	sensortest.Suite(t, func(t *testing.T, clock *sensortest.Clock) sensortest.Subject {
		good := kernelFile(pad(0x0191), 25062)
		files := &sysfs{text: good}
		d, err := NewKernel(files, name)
		if err != nil {
			t.Fatal(err)
		}
		gated := parttest.NewGated(d)
		driver, err := poll.New(gated, options(clock, interval))
		if err != nil {
			t.Fatal(err)
		}
		set := func(text string, gone bool) {
			files.mu.Lock()
			defer files.mu.Unlock()
			files.text, files.gone = text, gone
		}
		turn := func(text string) func() { return func() { set(text, false); gated.Turn() } }
		return sensortest.Subject{
			Driver: driver, Sensor: "t1", Silence: poll.SilentIntervals * interval,
			Want: map[sensors.Quantity]float64{sensors.ChamberWater: 25.0625},
			Good: turn(good), Garbled: turn("98 01 4b"), OutOfRange: turn(kernelFile(pad(2001), 125062)),
			Gone: func() { set(good, true); gated.Turn() },
			Back: func() { set(good, false) },
		}
	})
}

func options(clock *sensortest.Clock, interval time.Duration) poll.Options {
	return poll.Options{Sensor: "t1", Interval: interval, Clock: clock.Now,
		Fields: []scale.Scale{{From: "temperature", Quantity: sensors.ChamberWater, Unit: "C"}}}
}

func TestOnABusItDoesWhatADriverMust(t *testing.T) {
	const interval = 5 * time.Millisecond
	sensortest.Suite(t, func(t *testing.T, clock *sensortest.Clock) sensortest.Subject {
		now := pad(0x0191)
		bus := parttest.NewPart(0, func(w, r []byte) error {
			switch w[9] {
			case cmdPower:
				r[0] = 0xFF
			case cmdConvert:
				r[0] = 0
			case cmdRead:
				copy(r, now[:])
			}
			return nil
		})
		d := device(t, bus)
		d.wait = func(context.Context, time.Duration) error { return nil }
		gated := parttest.NewGated(d)
		driver, err := poll.New(gated, options(clock, interval))
		if err != nil {
			t.Fatal(err)
		}
		turn := func(p [9]byte) func() { return func() { bus.Do(func() { now = p }); gated.Turn() } }
		bad := pad(0x0191)
		bad[0] ^= 4
		return sensortest.Subject{
			Driver: driver, Sensor: "t1", Silence: poll.SilentIntervals * interval,
			Want: map[sensors.Quantity]float64{sensors.ChamberWater: 25.0625},
			Good: turn(pad(0x0191)), Garbled: turn(bad), OutOfRange: turn(pad(2001)),
			Gone: func() { bus.Unplug(true); gated.Turn() },
			Back: func() { bus.Unplug(false) },
		}
	})
}

func FuzzAKernelFile(f *testing.F) {
	f.Add([]byte(kernelFile(pad(0x0191), 25062)))
	f.Add([]byte(kernelFile(pad(powerOn), 85000)))
	f.Fuzz(func(t *testing.T, text []byte) {
		r, err := kernelText(text)
		if err == nil && r.Kind == sensors.OK && !(r.Value >= lowC && r.Value <= highC && r.Value != 85) {
			t.Fatalf("%q reads %+v", text, r)
		}
	})
}

func FuzzAScratchpad(f *testing.F) {
	p := pad(0x0191)
	f.Add(p[:])
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) < 8 {
			return
		}
		var p [9]byte
		copy(p[:8], b)
		p[8] = CRC(p[:8])
		r, err := celsius(p)
		if err == nil && r.Kind == sensors.OK && !(r.Value >= lowC && r.Value <= highC && r.Value != 85) {
			t.Fatalf("% x reads %+v", p, r)
		}
	})
}
