package wiring

import (
	"errors"
	"strings"
	"testing"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"proofpot/rig/setup"
)

// dac is an I2C bus with an MCP4725 at 60 hex that starts at half of its scale, by
// hand after its data sheet.
type dac struct {
	code   uint16
	eeprom [2]byte
	closed int
}

func (d *dac) String() string                  { return "dac" }
func (d *dac) SetSpeed(physic.Frequency) error { return nil }
func (d *dac) Close() error                    { d.closed++; return nil }

func (d *dac) Tx(addr uint16, w, r []byte) error {
	switch {
	case addr != 0x60:
		return errors.New("remote I/O error")
	case len(w) == 3:
		d.code, d.eeprom = uint16(w[1])<<4|uint16(w[2])>>4, [2]byte{w[1] >> 4, w[1]<<4 | w[2]>>4}
	case len(w) == 2:
		d.code = uint16(w[0]&0x0F)<<8 | uint16(w[1])
	default:
		copy(r, []byte{0xC0, byte(d.code >> 4), byte(d.code << 4), d.eeprom[0], d.eeprom[1]})
	}
	return nil
}

func TestARegulatorSharesTheGuardedBusOfTheSensors(t *testing.T) {
	bus, opened := &dac{code: 0x800, eeprom: [2]byte{8, 0}}, 0
	defer func() { openBus = openI2C }()
	openBus = func(string) (i2c.BusCloser, error) { opened++; return bus, nil }
	with := shared{buses: newBuses()}
	sensors, err := with.i2cBus("1")
	if err != nil {
		t.Fatal(err)
	}
	set, err := openRegulator(setup.Regulator{Driver: "mcp4725", Bus: "1", Address: 0x60, FullScaleV: 10, HighV: 10, HighBarGauge: 8}, with)
	if err != nil || opened != 1 || bus.code != 0 || bus.eeprom != [2]byte{} {
		t.Fatal(err, opened, bus)
	}
	if err := set.SetGaugePa(4e5); err != nil || bus.code != 0x800 {
		t.Error(err, bus.code)
	}
	if err := set.Close(); err != nil || bus.code != 0 || bus.closed != 0 {
		t.Error(err, bus.code, bus.closed)
	}
	if err := sensors.guard.Tx(0x76, []byte{0}, nil); err == nil || !strings.Contains(err.Error(), "I2C bus 1, address 0x76") {
		t.Error("the sensors lost their bus with the regulator:", err)
	}
	if err := sensors.Close(); err != nil || bus.closed != 1 {
		t.Error(err, bus.closed)
	}
	if again, err := with.i2cBus("1"); err != nil || opened != 2 || again.Close() != nil {
		t.Error("a bus that was let go of cannot be opened again:", err)
	}
}

func TestARegulatorThatDoesNotAnswerLetsGoOfItsBus(t *testing.T) {
	bus := &dac{}
	defer func() { openBus = openI2C }()
	openBus = func(string) (i2c.BusCloser, error) { return bus, nil }
	_, err := openRegulator(setup.Regulator{Driver: "mcp4725", Bus: "1", Address: 0x61, FullScaleV: 10, HighV: 10, HighBarGauge: 8}, shared{buses: newBuses()})
	if err == nil || !strings.Contains(err.Error(), "does not answer") || bus.closed != 1 {
		t.Error(err, bus.closed)
	}
}
