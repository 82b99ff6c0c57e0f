package discover

import (
	"fmt"
	"slices"

	"periph.io/x/conn/v3/i2c"
)

// Part is a part that told who it is.
type Part struct {
	Addr uint16
	Name string
}

// identities are the parts that can be told from others without being disturbed,
// and how: one byte is written, which chooses a register or is a read command,
// and what comes back must carry the part's id or a right check word. Parts
// without either (ADS1115, TCA9548A, MCP4725) are not looked for: what answers at
// their address may be anything, the coil of a valve among it. The SHT3x is not
// either: its commands have two bytes, and a register of another part would take
// the second for a value.
var identities = []struct {
	addrs []uint16
	ask   func(bus i2c.Bus, addr uint16) (name string)
}{
	{[]uint16{0x76, 0x77}, bosch},
	{[]uint16{0x76, 0x77}, ms58xx},
	{[]uint16{0x44, 0x45, 0x46}, sht4x},
}

// Probe asks a bus for the parts that it knows. Addresses that a driver of the
// kernel holds (in hexadecimal) are left alone.
func Probe(bus i2c.Bus, held []string) []Part {
	var all []Part
	for _, id := range identities {
		for _, addr := range id.addrs {
			known := slices.ContainsFunc(all, func(p Part) bool { return p.Addr == addr })
			if known || slices.Contains(held, fmt.Sprintf("%02x", addr)) {
				continue
			}
			if name := id.ask(bus, addr); name != "" {
				all = append(all, Part{addr, name})
			}
		}
	}
	slices.SortFunc(all, func(a, b Part) int { return int(a.Addr) - int(b.Addr) })
	return all
}

// bosch reads register D0 hex: 60 BME280 (data sheet BST-BME280-DS002, 5.4.1),
// 58 BMP280 (BST-BMP280-DS001, 4.3.1).
func bosch(bus i2c.Bus, addr uint16) string {
	id := make([]byte, 1)
	if bus.Tx(addr, []byte{0xD0}, id) != nil {
		return ""
	}
	return map[byte]string{0x60: "BME280", 0x58: "BMP280"}[id[0]]
}

// ms58xx reads the calibration words A0 to AC or AE hex and their CRC-4
// (application note AN520; MS5837 data sheet, which keeps it in the first word).
func ms58xx(bus i2c.Bus, addr uint16) string {
	var words [8]uint16
	for i := range words {
		var b [2]byte
		if bus.Tx(addr, []byte{0xA0 + 2*byte(i)}, b[:]) != nil {
			return ""
		}
		words[i] = uint16(b[0])<<8 | uint16(b[1])
	}
	some := words[1] != 0 && words[1] != 0xFFFF && words[1] != words[2]
	last := words
	stored := byte(last[7] & 0xF)
	last[7] &= 0xFF00
	if some && crc4(last) == stored {
		return "MS5803"
	}
	first := words
	stored = byte(first[0] >> 12)
	first[0] &= 0x0FFF
	first[7] = 0
	if some && crc4(first) == stored {
		return "MS5837"
	}
	return ""
}

// crc4 is the routine of AN520.
func crc4(words [8]uint16) byte {
	rem := uint16(0)
	for i := range 16 {
		if i%2 == 0 {
			rem ^= words[i/2] >> 8
		} else {
			rem ^= words[i/2] & 0xFF
		}
		for range 8 {
			if rem&0x8000 != 0 {
				rem = rem<<1 ^ 0x3000
			} else {
				rem <<= 1
			}
		}
	}
	return byte(rem >> 12 & 0xF)
}

// sht4x reads the serial number, command 89 hex: two words with a CRC-8 each
// (data sheet SHT4x, 4.4 and 4.5).
func sht4x(bus i2c.Bus, addr uint16) string {
	b := make([]byte, 6)
	if bus.Tx(addr, []byte{0x89}, nil) != nil || bus.Tx(addr, nil, b) != nil {
		return ""
	}
	if crc8(b[:2]) != b[2] || crc8(b[3:5]) != b[5] || b[0] == 0 && b[1] == 0 && b[3] == 0 && b[4] == 0 {
		return ""
	}
	return "SHT4x"
}

// crc8 has polynomial 31 hex and starts at FF hex.
func crc8(data []byte) byte {
	crc := byte(0xFF)
	for _, b := range data {
		crc ^= b
		for range 8 {
			if crc&0x80 != 0 {
				crc = crc<<1 ^ 0x31
			} else {
				crc <<= 1
			}
		}
	}
	return crc
}
