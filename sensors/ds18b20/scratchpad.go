package ds18b20

import (
	"fmt"
	"strconv"
	"strings"

	"periph.io/x/conn/v3/onewire"

	"proofpot/sensors"
	"proofpot/sensors/poll"
)

// Family is the first byte of the address of every DS18B20.
const Family = 0x28

const (
	lowC, highC = -55, 125 // data sheet, operating range
	powerOn     = 0x0550   // 85 °C
)

// Celsius is the temperature of a register, in 1/16 K, two's complement.
func Celsius(register uint16) float64 { return float64(int16(register)) / 16 }

// CRC is the check byte of 1-Wire: polynomial x⁸ + x⁵ + x⁴ + 1, lowest bit first.
func CRC(bytes []byte) byte { return onewire.CalcCRC(bytes) }

// Address reads a name as the kernel has it, "28-0316a2795cff": the family, and
// the 48 bits of the serial number, both in hexadecimal.
func Address(name string) (onewire.Address, error) {
	family, serial, _ := strings.Cut(name, "-")
	n, err := strconv.ParseUint(serial, 16, 48)
	if err != nil || len(serial) != 12 || strings.ToLower(name) != name {
		return 0, fmt.Errorf("%q is no name of a part on 1-Wire; it looks like \"28-0316a2795cff\"", name)
	}
	if family != "28" {
		return 0, fmt.Errorf("%q is no DS18B20; the name of one begins with 28-", name)
	}
	rom := [8]byte{Family, byte(n), byte(n >> 8), byte(n >> 16), byte(n >> 24), byte(n >> 32), byte(n >> 40)}
	return onewire.Address(n<<8 | Family | uint64(CRC(rom[:7]))<<56), nil
}

// celsius reads a scratchpad.
func celsius(pad [9]byte) (poll.Result, error) {
	if right := CRC(pad[:8]); pad[8] != right {
		return poll.Result{}, poll.Fault(sensors.Garbled, "the check byte of its scratchpad is %02X hex, should be %02X", pad[8], right)
	}
	if pad[4]&0x9F != 0x1F {
		return poll.Result{}, poll.Fault(sensors.Garbled, "its configuration reads %02X hex: the bus is shorted, or it is no DS18B20", pad[4])
	}
	register := uint16(pad[1])<<8 | uint16(pad[0])
	bits := 9 + pad[4]>>5&3
	register &^= 1<<(12-bits) - 1
	if register == powerOn {
		return poll.Result{}, poll.Fault(sensors.Restarted, "85 °C, which it holds after power on: it lost its supply or has not measured")
	}
	if sign := register & 0xF800; sign != 0 && sign != 0xF800 {
		return poll.Result{}, poll.Fault(sensors.Garbled, "its temperature register reads %04X hex, whose signs do not agree", register)
	}
	c := Celsius(register)
	if c < lowC || c > highC {
		return poll.Bad(sensors.OutOfRange, "%.4f °C is outside the %d to %d °C of a DS18B20", c, lowC, highC), nil
	}
	return poll.Result{Value: c}, nil
}
