// Package ms5837 knows the gel-filled pressure sensors MS5837-30BA (30 bar) and
// MS5837-02BA (1.2 bar), absolute, on I2C at address 76 hex.
//
// Data sheets: TE Connectivity MS5837-30BA, REV C2 12/2019 (commands p. 7,
// conversion and product type p. 9, calculation p. 11 and 12); MS5837-02BA,
// 09/2017. Known errors and gaps in them:
//   - 30BA, calculation flow: prints OFF = 2381326464 in its example; its own
//     formula gives 2381323464, and the same P = 3999.8 mbar.
//   - 30BA: the table of commands leaves out the oversampling of 8192 (4A and 5A
//     hex), which the table of resolutions has. Its conversion time of at most
//     18.08 ms is from memory.
//   - the product type (1A hex, 30BA; 15 hex and 00, 02BA, the latter two as
//     public drivers have them) is not in the 30BA's sheet of 10/2015: older parts
//     may carry anything.
//
// The two have the same address and commands but another scale: a 02BA read as a
// 30BA shows twenty times its pressure. What carries the other's product type is
// refused; of one that carries neither, only the room's pressure at open vent
// tells.
//
// The 02BA is a barometer, 10 to 1200 mbar by its calculation flow: what lies
// outside is a fault. It has no place in a chamber.
//
// The gel lets light through to the chip and heat to its bridge: shade it, and
// let it take the water's temperature before a hold counts.
package ms5837

import (
	"periph.io/x/conn/v3/i2c"

	"proofpot/sensors/ms58xx"
)

// Model30BA is the MS5837-30BA: 0 to 30 bar, −20 to 85 °C.
var Model30BA = ms58xx.Model{
	Name: "MS5837-30BA", Addresses: []uint16{0x76}, Layout: ms58xx.CRCFirst, Others: []byte{0x15},
	Convert1: 0x4A, Convert2: 0x5A, ConvertMS: 20,
	PShift: 13, PUnitPa: 10, SecondOrder: second30BA,
	LowPa: 0, HighPa: 30e5, LowC: -20, HighC: 85,
}

// Model02BA is the MS5837-02BA: 10 to 1200 mbar, −20 to 85 °C.
var Model02BA = ms58xx.Model{
	Name: "MS5837-02BA", Addresses: []uint16{0x76}, Layout: ms58xx.CRCFirst, Others: []byte{0x1A},
	Convert1: 0x4A, Convert2: 0x5A, ConvertMS: 20,
	Shift: 1, PShift: 15, PUnitPa: 1, SecondOrder: second02BA,
	LowPa: 10e2, HighPa: 1200e2, LowC: -20, HighC: 85,
}

// New30BA makes a MS5837-30BA.
func New30BA(bus i2c.Bus, addr uint16) (*ms58xx.Device, error) {
	return ms58xx.New(bus, addr, &Model30BA)
}

// New02BA makes a MS5837-02BA.
func New02BA(bus i2c.Bus, addr uint16) (*ms58xx.Device, error) {
	return ms58xx.New(bus, addr, &Model02BA)
}

// second30BA is the second order of the 30BA's flow chart, p. 12.
func second30BA(dT, temp int64) (ti, offi, sensi int64) {
	if temp >= 2000 {
		return 2 * dT * dT >> 37, (temp - 2000) * (temp - 2000) >> 4, 0
	}
	cold := (temp - 2000) * (temp - 2000)
	ti, offi, sensi = 3*dT*dT>>33, 3*cold>>1, 5*cold>>3
	if temp < -1500 {
		colder := (temp + 1500) * (temp + 1500)
		offi += 7 * colder
		sensi += 4 * colder
	}
	return ti, offi, sensi
}

// second02BA is the second order of the 02BA's flow chart.
func second02BA(dT, temp int64) (ti, offi, sensi int64) {
	if temp >= 2000 {
		return 0, 0, 0
	}
	cold := (temp - 2000) * (temp - 2000)
	return 11 * dT * dT >> 35, 31 * cold >> 3, 63 * cold >> 5
}
