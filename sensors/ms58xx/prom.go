package ms58xx

import (
	"slices"

	"proofpot/sensors"
	"proofpot/sensors/poll"
)

// Layout says where the calibration words keep their CRC.
type Layout uint8

// The two layouts.
const (
	CRCFirst Layout = iota // seven words, CRC in the top four bits of the first (MS5837)
	CRCLast                // eight words, CRC in the lowest four bits of the last (MS5803; AN520)
)

// Words is how many words there are.
func (l Layout) Words() int {
	if l == CRCFirst {
		return 7
	}
	return 8
}

// CRC gives the stored CRC-4 of calibration words and what it should be.
func (l Layout) CRC(words [8]uint16) (stored, right byte) {
	if l == CRCFirst {
		stored = byte(words[0] >> 12)
		words[0] &= 0x0FFF
		words[7] = 0
	} else {
		stored = byte(words[7] & 0xF)
		words[7] &= 0xFF00
	}
	return stored, crc4(words)
}

// crc4 is the CRC of AN520: polynomial x⁴+x+1 over the words, high byte first.
func crc4(words [8]uint16) byte {
	var rest uint16
	for _, w := range words {
		for _, b := range [2]uint16{w >> 8, w & 0xFF} {
			rest ^= b
			for range 8 {
				carry := rest & 0x8000
				rest <<= 1
				if carry != 0 {
					rest ^= 0x3000
				}
			}
		}
	}
	return byte(rest >> 12)
}

// Coefficients are the factory's calibration, C1 to C6 of the data sheets.
type Coefficients struct {
	Sens, Off uint16 // C1, C2: sensitivity and offset of pressure
	TCS, TCO  uint16 // C3, C4: what temperature does to them
	TRef      uint16 // C5: reference temperature
	TempSens  uint16 // C6: sensitivity of temperature
}

// Coefficients reads calibration words. The error is a fault: a wrong CRC, words
// that no factory writes, or those of another model.
func (m *Model) Coefficients(words [8]uint16) (Coefficients, error) {
	stored, right := m.Layout.CRC(words)
	if stored != right {
		return Coefficients{}, poll.Fault(sensors.Garbled, "its calibration words are damaged: CRC-4 %X, should be %X; or it is no %s", stored, right, m.Name)
	}
	c := Coefficients{words[1], words[2], words[3], words[4], words[5], words[6]}
	// All zeros have a right CRC: a bus that is held low. One in sixteen wrong
	// words has a right one too.
	for i, w := range words[:7] {
		if w == 0xFFFF || w == 0 && i > 0 {
			return Coefficients{}, poll.Fault(sensors.Garbled, "its calibration word %d is %04X, which no factory writes", i, w)
		}
	}
	if m.Layout == CRCFirst && slices.Contains(m.Others, byte(words[0]>>5&0x7F)) {
		return Coefficients{}, poll.Fault(sensors.Garbled, "its product type is %02X hex, so it is no %s; change driver in bench.toml", words[0]>>5&0x7F, m.Name)
	}
	return c, nil
}
