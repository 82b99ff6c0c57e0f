package textline

import (
	"strconv"
	"strings"
)

// number is what stands where a value should.
type number struct {
	value float64
	none  bool   // the device itself says that it has no value
	wrong string // why it cannot be read, empty where it can
}

// parseNumber reads a decimal number: an optional sign, digits with an optional
// decimal mark, an optional exponent; nothing else. "nan", "inf", "null" and an
// empty place are the device's own word that it has no value.
func parseNumber(text string, decimalComma bool) number {
	switch strings.ToLower(strings.TrimLeft(text, "+-")) {
	case "", "nan", "inf", "infinity", "null", "none", "ovf":
		return number{none: true}
	}
	mark := byte('.')
	if decimalComma {
		mark = ','
	}
	if !isDecimal(text, mark) {
		return number{wrong: "is no number"}
	}
	if decimalComma {
		text = strings.Replace(text, ",", ".", 1)
	}
	value, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return number{wrong: "is no number that a sensor can mean"}
	}
	return number{value: value}
}

// isDecimal says whether text is a number with this decimal mark.
func isDecimal(text string, mark byte) bool {
	i := 0
	sign := func() {
		if i < len(text) && (text[i] == '+' || text[i] == '-') {
			i++
		}
	}
	digits := func() int {
		start := i
		for i < len(text) && text[i] >= '0' && text[i] <= '9' {
			i++
		}
		return i - start
	}
	sign()
	n := digits()
	if i < len(text) && text[i] == mark {
		i++
		n += digits()
	}
	if n == 0 {
		return false
	}
	if i < len(text) && (text[i] == 'e' || text[i] == 'E') {
		i++
		sign()
		if digits() == 0 {
			return false
		}
	}
	return i == len(text)
}

// Shorten quotes at most the first 48 bytes of what a device sent, in plain
// ASCII, and says how much there was where it is more.
func Shorten(text []byte) string {
	const most = 48
	if len(text) <= most {
		return strconv.QuoteToASCII(string(text))
	}
	return strconv.QuoteToASCII(string(text[:most])) + "… (" + strconv.Itoa(len(text)) + " bytes)"
}
