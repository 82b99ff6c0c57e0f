// Package ms5803 knows the pressure sensor MS5803-14BA (14 bar absolute) on I2C
// at address 76 hex (CSB high) or 77 hex (CSB low).
//
// Data sheet: MS5803-14BA, DA5803-14BA_005, September 7, 2012 (calculation p. 9).
// Conversion time at oversampling 4096 (48 and 58 hex), 9.04 ms at
// most, and the wait of 2.8 ms after a reset: from memory. Known gaps in it:
//   - the pressure that its example prints was not legible in the copies seen; dT
//     and TEMP are what the formula gives.
//   - calibration words 0 and 7 are the factory's: nothing in them names the
//     model. A MS5803 of another range at this address has a right CRC too and
//     shows a pressure that is far off: compare with the barometer at open vent.
package ms5803

import (
	"periph.io/x/conn/v3/i2c"

	"proofpot/sensors/ms58xx"
)

// Model14BA is the MS5803-14BA: 0 to 14 bar, −40 to 85 °C.
var Model14BA = ms58xx.Model{
	Name: "MS5803-14BA", Addresses: []uint16{0x76, 0x77}, Layout: ms58xx.CRCLast,
	Convert1: 0x48, Convert2: 0x58, ConvertMS: 11,
	PShift: 15, PUnitPa: 10, SecondOrder: second14BA,
	LowPa: 0, HighPa: 14e5, LowC: -40, HighC: 85,
}

// New14BA makes a MS5803-14BA.
func New14BA(bus i2c.Bus, addr uint16) (*ms58xx.Device, error) {
	return ms58xx.New(bus, addr, &Model14BA)
}

// second14BA is the second order of the data sheet's flow chart.
func second14BA(dT, temp int64) (ti, offi, sensi int64) {
	if temp >= 2000 {
		return 7 * dT * dT >> 37, (temp - 2000) * (temp - 2000) >> 4, 0
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
