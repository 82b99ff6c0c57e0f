package ms58xx_test

import (
	"context"
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2ctest"

	"proofpot/sensors"
	"proofpot/sensors/ms5803"
	"proofpot/sensors/ms5837"
	"proofpot/sensors/ms58xx"
	"proofpot/sensors/poll"
	"proofpot/sensors/scale"
	"proofpot/sensors/sensortest"
	"proofpot/sensors/sensortest/parttest"
)

// part is one model with the words and numbers of its data sheet's example, of
// which the words are completed with a CRC of their own. All of the traffic below
// is assembled by hand from the sheets; none was recorded.
type part struct {
	model  *ms58xx.Model
	words  [8]uint16
	d1, d2 uint32
	pa, c  float64 // as the reference table has them, to PUnitPa
}

func parts() []part {
	all := []part{
		{&ms5837.Model30BA, [8]uint16{0x1A << 5, 34982, 36352, 20328, 22354, 26646, 26146}, 4958179, 6815414, 399980, 19.81},
		{&ms5837.Model02BA, [8]uint16{0x15 << 5, 46372, 43981, 29059, 27842, 31553, 28165}, 6465444, 8077636, 110002, 20.00},
		{&ms5803.Model14BA, [8]uint16{0x0456, 46546, 42845, 29751, 29457, 32745, 29059, 0x4500}, 4311550, 8387300, 100050, 20.15},
	}
	for i := range all {
		p := &all[i]
		if _, right := p.model.Layout.CRC(p.words); p.model.Layout == ms58xx.CRCFirst {
			p.words[0] |= uint16(right) << 12
		} else {
			p.words[7] |= uint16(right)
		}
	}
	return all
}

func three(n uint32) []byte { return []byte{byte(n >> 16), byte(n >> 8), byte(n)} }

// traffic is a start and one measurement.
func (p *part) traffic() []i2ctest.IO {
	io := func(w byte, r ...byte) i2ctest.IO { return i2ctest.IO{Addr: 0x76, W: []byte{w}, R: r} }
	ops := []i2ctest.IO{io(0x1E)}
	for i := range p.model.Layout.Words() {
		ops = append(ops, io(0xA0+2*byte(i), byte(p.words[i]>>8), byte(p.words[i])))
	}
	return append(ops, io(p.model.Convert2), io(0x00, three(p.d2)...), io(p.model.Convert1), io(0x00, three(p.d1)...))
}

// try starts and measures once.
func try(ctx context.Context, bus i2c.Bus, model *ms58xx.Model) (values []float64, err error) {
	d, err := ms58xx.New(bus, 0x76, model)
	if err != nil {
		return nil, err
	}
	if err := d.Start(ctx); err != nil {
		return nil, err
	}
	results := make([]poll.Result, ms58xx.Outputs)
	if err := d.Measure(ctx, results); err != nil {
		return nil, err
	}
	for _, r := range results {
		if r.Kind != sensors.OK {
			return nil, errors.New(r.Text)
		}
		values = append(values, r.Value)
	}
	return values, nil
}

func TestEveryTransferThatIsSpoiledGivesNoValue(t *testing.T) {
	for _, p := range parts() {
		ops := p.traffic()
		words := p.model.Layout.Words()
		parttest.EachTransfer(t, ops, func(ctx context.Context, bus i2c.Bus) ([]float64, error) {
			return try(ctx, bus, p.model)
		}, func(at, bit int) bool {
			// Nothing protects a bit of D1 and D2; no bits or all of them are told. The
			// low byte of the last word counts as 0 in the CRC, and its upper half is
			// used for nothing.
			return at > words && bit >= 0 || p.model.Layout == ms58xx.CRCLast && at == words && bit >= 8 && bit < 12
		})
	}
}

func TestTheExamplesOfTheSheetsAreRead(t *testing.T) {
	for _, p := range parts() {
		bus := parttest.Play(p.traffic()...)
		values, err := try(t.Context(), bus, p.model)
		if err := errors.Join(err, bus.Close()); err != nil {
			t.Fatal(err)
		}
		if off := values[ms58xx.Pressure] - p.pa; off < 0 || off >= p.model.PUnitPa || values[ms58xx.Temperature] != p.c {
			t.Errorf("%s: %v, want %v Pa, %v °C", p.model.Name, values, p.pa, p.c)
		}
	}
}

func TestWhatAPartIsNotMadeForIsAFault(t *testing.T) {
	p := parts()[0]
	for _, c := range []struct {
		name   string
		d1, d2 uint32
		status sensors.Status
		which  []int
	}{
		{"over 30 bar", 16000000, 6815414, sensors.OutOfRange, []int{ms58xx.Pressure}},
		{"below nothing", 1000000, 6815414, sensors.OutOfRange, []int{ms58xx.Pressure}},
		{"too cold to know", 4958179, 5500000, sensors.OutOfRange, []int{ms58xx.Pressure, ms58xx.Temperature}},
		{"too warm to know", 4958179, 9200000, sensors.OutOfRange, []int{ms58xx.Pressure, ms58xx.Temperature}},
	} {
		p.d1, p.d2 = c.d1, c.d2
		d, _ := ms58xx.New(parttest.Play(p.traffic()...), 0x76, p.model)
		results := make([]poll.Result, ms58xx.Outputs)
		if err := errors.Join(d.Start(t.Context()), d.Measure(t.Context(), results)); err != nil {
			t.Fatal(err)
		}
		for _, i := range c.which {
			if r := results[i]; r.Kind != c.status || !math.IsNaN(r.Value) {
				t.Errorf("%s: %+v", c.name, r)
			}
		}
	}
	for d1, status := range map[uint32]sensors.Status{0: sensors.NoReading, 0xFFFFFF: sensors.Saturated} {
		p.d1, p.d2 = d1, 6815414
		_, err := try(t.Context(), parttest.Play(p.traffic()...), p.model)
		if err == nil || poll.StatusOf(err).Kind != status {
			t.Errorf("D1 %x: %v", d1, err)
		}
	}
}

// The table names the source of each row; the first two are AN520's own example.
func TestTheCalibrationsCheckWordIsThatOfTheApplicationNote(t *testing.T) {
	for _, row := range sensortest.Table(t, "../../testdata/reference/ms58xx_prom_crc4.csv", 7) {
		var words [8]uint16
		for i, w := range strings.Fields(row[1]) {
			n, err := strconv.ParseUint(w, 16, 16)
			if err != nil {
				t.Fatal(err)
			}
			words[i] = uint16(n)
		}
		model := &ms5837.Model30BA
		if row[0] == "last" {
			model = &ms5803.Model14BA
		} else if words[0]>>5&0x7F == 0x15 {
			model = &ms5837.Model02BA
		}
		if _, right := model.Layout.CRC(words); strconv.FormatUint(uint64(right), 16) != strings.ToLower(row[2]) {
			t.Errorf("%s: CRC %X, want %s", row[1], right, row[2])
		}
		if _, err := model.Coefficients(words); (err == nil) != (row[3] == "1") && !strings.HasPrefix(row[3], "crc") {
			t.Errorf("%s (%s): %v", row[1], row[3], err)
		}
	}
}

func TestEachOfThemDoesWhatADriverMust(t *testing.T) {
	const interval = 5 * time.Millisecond
	for _, p := range parts() {
		t.Run(p.model.Name, func(t *testing.T) {
			quick := *p.model // conversions that take 20 ms would make the suite slow
			quick.ConvertMS = 0
			sensortest.Suite(t, func(t *testing.T, clock *sensortest.Clock) sensortest.Subject {
				now, asked := p, byte(0)
				bus := parttest.NewPart(0x76, func(w, r []byte) error {
					switch {
					case w[0] == 0x00 && asked == p.model.Convert1:
						copy(r, three(now.d1))
					case w[0] == 0x00 && asked == p.model.Convert2:
						copy(r, three(now.d2))
					case w[0] >= 0xA0:
						word := now.words[(w[0]-0xA0)/2]
						copy(r, []byte{byte(word >> 8), byte(word)})
					}
					asked = w[0]
					return nil
				})
				device, err := ms58xx.New(bus, 0x76, &quick)
				if err != nil {
					t.Fatal(err)
				}
				gated := parttest.NewGated(device)
				d, err := poll.New(gated, poll.Options{Sensor: "p1", Interval: interval, Clock: clock.Now,
					Room: scale.NewRoom(0, false), Fields: []scale.Scale{
						{From: "pressure", Quantity: sensors.UnitPressure, Unit: "Pa", Reference: scale.Absolute},
						{From: "temperature", Quantity: sensors.UnitTemperature, Unit: "C"}}})
				if err != nil {
					t.Fatal(err)
				}
				turn := func(change func()) func() { return func() { bus.Do(change); gated.Turn() } }
				return sensortest.Subject{
					Driver: d, Sensor: "p1", Silence: poll.SilentIntervals * interval,
					Want:       map[sensors.Quantity]float64{sensors.UnitPressure: p.pa + p.model.PUnitPa/2, sensors.UnitTemperature: p.c},
					Within:     map[sensors.Quantity]float64{sensors.UnitPressure: p.model.PUnitPa / 2},
					Good:       turn(func() { now = p }),
					OutOfRange: turn(func() { now.d2 = 100 }),
					Gone:       func() { bus.Unplug(true); gated.Turn() },
					Back:       func() { bus.Unplug(false) },
				}
			})
		})
	}
}

func FuzzACalibrationThatIsTakenHasARightCheckWord(f *testing.F) {
	f.Add(uint16(0x2013), uint16(0x88A6), uint16(0x8E00), uint16(0x4F68), uint16(0x5752), uint16(0x6816), uint16(0x6622), uint16(0), uint32(4958179), uint32(6815414))
	f.Fuzz(func(t *testing.T, w0, w1, w2, w3, w4, w5, w6, w7 uint16, d1, d2 uint32) {
		d1, d2 = d1&0xFFFFFF, d2&0xFFFFFF
		words := [8]uint16{w0, w1, w2, w3, w4, w5, w6, w7}
		for _, m := range []*ms58xx.Model{&ms5837.Model30BA, &ms5837.Model02BA, &ms5803.Model14BA} {
			for _, right := range []bool{false, true} {
				stored, want := m.Layout.CRC(words)
				if right && m.Layout == ms58xx.CRCFirst {
					words[0] = words[0]&0x0FFF | uint16(want)<<12
				} else if right {
					words[7] = words[7]&0xFFF0 | uint16(want)
				} else if stored == want {
					continue
				}
				c, err := m.Coefficients(words)
				if err != nil {
					continue
				}
				if !right {
					t.Fatalf("%s: taken with a wrong CRC", m.Name)
				}
				got := m.Compensate(c, d1, d2)
				// First order in floating point, as the flow chart has it.
				dT := float64(d2) - float64(c.TRef)*256
				off := float64(c.Off)*math.Pow(2, float64(16+m.Shift)) + float64(c.TCO)*dT/math.Pow(2, float64(7-m.Shift))
				sens := float64(c.Sens)*math.Pow(2, float64(15+m.Shift)) + float64(c.TCS)*dT/math.Pow(2, float64(8-m.Shift))
				p := (float64(d1)*sens/math.Pow(2, 21) - off) / math.Pow(2, float64(m.PShift))
				if math.Abs(p-float64(got.P1)) > 2 || math.IsNaN(got.Pa) {
					t.Fatalf("%s: P1 %d, in floating point %v", m.Name, got.P1, p)
				}
			}
		}
	})
}
