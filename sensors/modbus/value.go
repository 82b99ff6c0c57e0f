package modbus

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"proofpot/sensors/scale"
)

// The types of a value.
const (
	Int16   = "int16"
	Uint16  = "uint16"
	Int32   = "int32"
	Uint32  = "uint32"
	Float32 = "float32" // IEEE 754
)

// Types lists the types of a value.
func Types() []string { return []string{Int16, Uint16, Int32, Uint32, Float32} }

// The orders of the two registers of a value of 32 bits. Within a register the
// high byte comes first (application protocol, 4.2).
const (
	HighFirst = "high-first"
	LowFirst  = "low-first"
)

// WordOrders lists the orders.
func WordOrders() []string { return []string{HighFirst, LowFirst} }

// maxDecimals is more than a value of 32 bits has digits.
const maxDecimals = 9

// Field is one value of a device.
type Field struct {
	Scale scale.Scale

	Function     byte   // ReadHolding or ReadInput
	Register     uint16 // from 0
	Type         string // see Types
	WordOrder    string // see WordOrders; empty: HighFirst
	Decimals     int    // 3: 3214 is 3.214
	DecimalsFrom *uint16
	UnitFrom     *uint16 // register that shows the unit of the device
	UnitCode     uint16  // what it holds while the unit is Scale.Unit
}

// RegisterNamed reads the number of a register, "4" or "0x0004".
func RegisterNamed(text string) (uint16, error) {
	n, err := strconv.ParseUint(text, 0, 16)
	if err != nil {
		return 0, fmt.Errorf("%q is no register; give its number from 0 to 65535 as text, \"4\" or \"0x0004\"", text)
	}
	return uint16(n), nil
}

// Check says what is wrong with a field: a *scale.Error, or nil. Its scale is
// checked by itself.
func (f *Field) Check() error {
	wrong := func(key, format string, args ...any) error {
		return &scale.Error{Key: key, Text: fmt.Sprintf(format, args...)}
	}
	switch {
	case f.Function != ReadHolding && f.Function != ReadInput:
		return wrong("function", "%d does not read registers; give 3 (holding registers) or 4 (input registers)", f.Function)
	case !slices.Contains(Types(), f.Type):
		return wrong("type", "%q is no type of a value; use %s", f.Type, scale.List(Types()))
	case f.WordOrder != "" && !slices.Contains(WordOrders(), f.WordOrder):
		return wrong("word_order", "%q is no order of two registers; use %s", f.WordOrder, scale.List(WordOrders()))
	case f.WordOrder != "" && f.words() == 1:
		return wrong("word_order", "a value of one register has no order; leave it out")
	case f.Decimals < 0 || f.Decimals > maxDecimals:
		return wrong("decimals", "%d must be 0 to %d", f.Decimals, maxDecimals)
	case f.Type == Float32 && (f.Decimals != 0 || f.DecimalsFrom != nil):
		return wrong("decimals", "a float32 has its own; leave them out")
	case f.Decimals != 0 && f.DecimalsFrom != nil:
		return wrong("decimals", "decimals_from reads them from the device; give one of the two")
	case int(f.Register)+int(f.words()) > 1<<16:
		return wrong("from", "a value of two registers cannot begin with the last one")
	}
	return nil
}

// words is how many registers the value has.
func (f *Field) words() uint16 {
	if f.Type == Int16 || f.Type == Uint16 {
		return 1
	}
	return 2
}

// value makes the number of a value's registers, without its decimals. ok is
// false where it is the device's word for "no value".
func (f *Field) value(r []uint16) (number float64, ok bool) {
	switch f.Type {
	case Int16:
		return float64(int16(r[0])), true
	case Uint16:
		return float64(r[0]), true
	}
	high, low := r[0], r[1]
	if f.WordOrder == LowFirst {
		high, low = low, high
	}
	bits := uint32(high)<<16 | uint32(low)
	switch f.Type {
	case Int32:
		return float64(int32(bits)), true
	case Uint32:
		return float64(bits), true
	}
	x := float64(math.Float32frombits(bits))
	return x, !math.IsNaN(x) && !math.IsInf(x, 0)
}
