// Package sht is what the humidity sensors SHT3x and SHT4x share: words of two
// bytes with a CRC-8 each, and the straight lines that make temperature and
// humidity of them. The parts are in sht3x and sht4x.
//
// Sources: Sensirion SHT3x-DIS data sheet, version 5, May 2018 (CRC: table 20;
// conversion 4.13), SHT4x data sheet (conversion 4.6, from memory). Values:
// testdata/reference.
package sht

import (
	"proofpot/sensors"
	"proofpot/sensors/poll"
)

// The outputs of both parts, in the order of their results.
const (
	Temperature = iota // °C
	Humidity           // %
	Outputs
)

// CRC is the check byte of a word: polynomial 31 hex, from FF hex.
func CRC(word [2]byte) byte {
	crc := byte(0xFF)
	for _, b := range word {
		crc ^= b
		for range 8 {
			carry := crc & 0x80
			crc <<= 1
			if carry != 0 {
				crc ^= 0x31
			}
		}
	}
	return crc
}

// Word reads a word and its check byte.
func Word(b [3]byte, what string) (uint16, error) {
	if right := CRC([2]byte{b[0], b[1]}); b[2] != right {
		return 0, poll.Fault(sensors.Garbled, "the check byte of its %s is %02X hex, should be %02X", what, b[2], right)
	}
	return uint16(b[0])<<8 | uint16(b[1]), nil
}

// Celsius is the temperature of a word, −45 to 130 °C.
func Celsius(word uint16) float64 { return -45 + 175*float64(word)/65535 }

// Results reads what both parts answer to a measurement, temperature first. The
// humidity is offset + span × word / 65535, in %, and is not cut to 0 to 100.
func Results(b [6]byte, offset, span float64, results []poll.Result) error {
	t, err := Word([3]byte{b[0], b[1], b[2]}, "temperature")
	if err != nil {
		return err
	}
	h, err := Word([3]byte{b[3], b[4], b[5]}, "humidity")
	if err != nil {
		return err
	}
	c := Celsius(t)
	switch {
	case t == 0 || t == 0xFFFF:
		results[Temperature] = poll.Bad(sensors.Saturated, "its temperature stands at the end, %04X hex", t)
	case c < lowC || c > highC:
		results[Temperature] = poll.Bad(sensors.OutOfRange, "%.2f °C is outside the %d to %d °C that it is specified for", c, lowC, highC)
	default:
		results[Temperature] = poll.Result{Value: c}
	}
	switch {
	case h == 0 || h == 0xFFFF:
		results[Humidity] = poll.Bad(sensors.Saturated, "its humidity stands at the end, %04X hex", h)
	case results[Temperature].Kind != sensors.OK:
		// The humidity is worked out for that temperature.
		results[Humidity] = results[Temperature]
	default:
		results[Humidity] = poll.Result{Value: offset + span*float64(h)/65535}
	}
	return nil
}

const lowC, highC = -40, 125 // both sheets, table of specifications
