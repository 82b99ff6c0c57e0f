package ads1115

import (
	"context"
	"errors"
	"math"
	"testing"

	"periph.io/x/conn/v3/physic"

	"proofpot/sensors"
	"proofpot/sensors/poll"
)

// part is an ADS1115 by hand, after the registers of its data sheet: no recorded
// traffic. It converts what its channels hold.
type part struct {
	volts  [4]float64
	config uint16
	n      int                      // transfers so far
	fail   int                      // the transfer that fails, from 1
	spoil  func(reg byte, r []byte) // what is read
	never  bool                     // a conversion never ends
}

var errBus = errors.New("remote I/O error")

func (p *part) String() string                    { return "by hand" }
func (p *part) SetSpeed(f physic.Frequency) error { return nil }
func (p *part) Tx(addr uint16, w, r []byte) error {
	if p.n++; p.n == p.fail || addr != 0x48 {
		return errBus
	}
	if len(w) == 3 {
		p.config = uint16(w[1])<<8 | uint16(w[2])
		return nil
	}
	v := p.config | ready
	if p.never {
		v &^= ready
	}
	if w[0] == regConversion {
		channel, span := p.config>>12&3, fullScale[p.config>>9&7]
		v = uint16(int16(max(-32768, min(32767, math.Round(p.volts[channel]/span*32768)))))
	}
	r[0], r[1] = byte(v>>8), byte(v)
	if p.spoil != nil {
		p.spoil(w[0], r)
	}
	return nil
}

var (
	five   = Supply{Channel: 3, Low: 4.5, High: 5.5}
	inputs = []Input{
		{Channel: 0, Kind: Ratiometric, High: 60},
		{Channel: 1, Range: V4, Kind: Loop, ShuntOhm: 150, High: 100},
		{Channel: 2, Kind: WetProbe, SeriesOhm: 100e3, EndOhm: 100e3},
	}
)

func opened(t *testing.T, p *part) *Device {
	t.Helper()
	d, err := New(p, 0x48, five, inputs)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestEachInputIsReadAgainstItsSupply(t *testing.T) {
	p := &part{volts: [4]float64{2.45, 1.8, 2.45, 4.9}} // the supply sags by 2 %, the middle stays the middle
	d := opened(t, p)
	if err := d.Start(context.Background()); err != nil {
		t.Fatal(err)
	}
	got := make([]poll.Result, 3)
	if err := d.Measure(context.Background(), got); err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{30, 50, 0} {
		if got[i].Kind != sensors.OK || math.Abs(got[i].Value-want) > 0.01 {
			t.Errorf("input %d reads %+v, want %g", i, got[i], want)
		}
	}
	p.volts = [4]float64{2.45, 4.2, 4.9, 4.9}
	if err := d.Measure(context.Background(), got); err != nil {
		t.Fatal(err)
	}
	if got[1].Kind != sensors.Saturated || got[2].Kind != sensors.Disconnected {
		t.Errorf("beyond its range: %+v; open wire: %+v", got[1], got[2])
	}
	p.volts = [4]float64{0, 1.8, 0, 0}
	if err := d.Measure(context.Background(), got); err != nil {
		t.Fatal(err)
	}
	if got[0].Kind != sensors.SupplyOff || got[1].Kind != sensors.OK || got[2].Kind != sensors.SupplyOff {
		t.Errorf("without supply: %+v", got)
	}
}

func TestEachTransferThatFailsIsAFaultOfAll(t *testing.T) {
	whole := &part{volts: [4]float64{2.5, 1.8, 2.5, 5}}
	d := opened(t, whole)
	if err := errors.Join(d.Start(context.Background()), d.Measure(context.Background(), make([]poll.Result, 3))); err != nil {
		t.Fatal(err)
	}
	for fail := 1; fail <= whole.n; fail++ {
		p := &part{volts: whole.volts, fail: fail}
		d := opened(t, p)
		err := d.Start(context.Background())
		if err == nil {
			err = d.Measure(context.Background(), make([]poll.Result, 3))
		}
		if !errors.Is(err, errBus) {
			t.Errorf("transfer %d of %d failed, and %v came of it", fail, whole.n, err)
		}
	}
}

func TestAConfigurationThatComesBackChangedIsGarbled(t *testing.T) {
	p := &part{spoil: func(reg byte, r []byte) {
		if reg == regConfig {
			r[0] ^= 0x10
		}
	}}
	d := opened(t, p)
	if d.Start(context.Background()) == nil || d.Measure(context.Background(), make([]poll.Result, 3)) == nil {
		t.Error("another channel than was asked for was taken")
	}
	if opened(t, &part{never: true}).Measure(context.Background(), make([]poll.Result, 3)) == nil {
		t.Error("a conversion that never ends was taken")
	}
}
