package discover

import (
	"fmt"
	"slices"

	"periph.io/x/conn/v3/i2c"

	"proofpot/sensors/ms58xx"
	"proofpot/sensors/sht"
)

// Part is a part that told who it is.
type Part struct {
	Addr uint16
	Name string // the driver word of bench.toml
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
	{[]uint16{0x76, 0x77}, pressure},
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
	return map[byte]string{0x60: "bme280", 0x58: "bmp280"}[id[0]]
}

// ms58xx reads the calibration words A0 to AC or AE hex and their CRC-4
// (application note AN520; MS5837 data sheet, which keeps it in the first word).
func pressure(bus i2c.Bus, addr uint16) string {
	var words [8]uint16
	for i := range words {
		var b [2]byte
		if bus.Tx(addr, []byte{0xA0 + 2*byte(i)}, b[:]) != nil {
			return ""
		}
		words[i] = uint16(b[0])<<8 | uint16(b[1])
	}
	if words[1] == 0 || words[1] == 0xFFFF || words[1] == words[2] {
		return ""
	}
	last, rightLast := ms58xx.CRCLast.CRC(words)
	first, rightFirst := ms58xx.CRCFirst.CRC(words)
	switch {
	case last == rightLast && first == rightFirst: // four bits are right by chance once in sixteen times
		return "ms5803-14ba, ms5837-30ba or ms5837-02ba"
	case last == rightLast:
		return "ms5803-14ba"
	case first == rightFirst:
		return "ms5837-30ba or ms5837-02ba"
	}
	return ""
}

// sht4x reads the serial number, command 89 hex: two words with a CRC-8 each
// (data sheet SHT4x, 4.4 and 4.5).
func sht4x(bus i2c.Bus, addr uint16) string {
	b := make([]byte, 6)
	if bus.Tx(addr, []byte{0x89}, nil) != nil || bus.Tx(addr, nil, b) != nil {
		return ""
	}
	if sht.CRC([2]byte(b[:2])) != b[2] || sht.CRC([2]byte(b[3:5])) != b[5] || b[0] == 0 && b[1] == 0 && b[3] == 0 && b[4] == 0 {
		return ""
	}
	return "sht4x"
}
