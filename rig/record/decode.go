package record

import (
	"bytes"
	"errors"
	"math"
	"strconv"
	"unsafe"
)

// decoder turns the bytes of one line into a Line. Lines in the plain shape
// that format 1 writes are taken apart here; anything unusual (escapes, other
// types, other spacing) goes through the line-protocol library, so that both
// ways give the same result: see TestBothDecodersAgree and FuzzDecode.
type decoder struct {
	names map[string]string // every tag, name and text seen, kept once
	lib   libraryDecoder
}

func newDecoder() *decoder { return &decoder{names: make(map[string]string, 64)} }

// maxNames bounds the memory of kept strings against a hostile record.
const maxNames = 4096

func (d *decoder) keep(b []byte) string {
	if s, ok := d.names[string(b)]; ok {
		return s
	}
	s := string(b)
	if len(d.names) < maxNames {
		d.names[s] = s
	}
	return s
}

// errNUL is a line with a hole, as a power cut leaves it.
var errNUL = errors.New("NUL bytes, as a power cut leaves them: the disk never had this part")

// errUnusual says that a line is not in the plain shape; it is not an error of the record.
var errUnusual = errors.New("not in the plain shape")

// decode fills l from one line without its newline, and says whether it was in
// the plain shape.
func (d *decoder) decode(b []byte, l *Line) (plain bool, err error) {
	if err = d.plain(b, l); err != errUnusual {
		return true, err
	}
	if bytes.IndexByte(b, 0) >= 0 {
		return false, errNUL
	}
	l.Clear()
	return false, d.lib.decode(d, b, l)
}

func measurementOf(b []byte) Measurement {
	for m := Chamber; m < measurements; m++ {
		if string(b) == measurementNames[m] {
			return m
		}
	}
	return Other
}

// plainByte marks the bytes of names, tags and numbers in the plain shape.
var plainByte = func() (t [256]bool) {
	for c := '0'; c <= '9'; c++ {
		t[c] = true
	}
	for c := 'a'; c <= 'z'; c++ {
		t[c], t[c-32] = true, true
	}
	for _, c := range "_-.+" {
		t[c] = true
	}
	return
}()

func word(b []byte, i int) int {
	for i < len(b) && plainByte[b[i]] {
		i++
	}
	return i
}

// plain takes apart `name,tag=word field=value,field=value time`, with words of
// letters, digits and _-.+ only, floats, integers, booleans, and strings
// without a backslash.
func (d *decoder) plain(b []byte, l *Line) error {
	i := word(b, 0)
	if i == 0 || i >= len(b) {
		return errUnusual
	}
	m := measurementOf(b[:i])
	if m == Other {
		return errUnusual
	}
	l.Measurement = m
	for b[i] == ',' {
		k := word(b, i+1)
		if k == i+1 || k >= len(b) || b[k] != '=' {
			return errUnusual
		}
		v := word(b, k+1)
		if v == k+1 || v >= len(b) {
			return errUnusual
		}
		d.tag(l, b[i+1:k], b[k+1:v])
		i = v
	}
	if b[i] != ' ' {
		return errUnusual
	}
	for {
		k := word(b, i+1)
		if k == i+1 || k+1 >= len(b) || b[k] != '=' {
			return errUnusual
		}
		key := b[i+1 : k]
		if b[k+1] == '"' {
			v := k + 2
			for v < len(b) && b[v] != '"' {
				if b[v] == '\\' || b[v] < ' ' || b[v] >= 0x80 {
					return errUnusual
				}
				v++
			}
			if v+1 >= len(b) {
				return errUnusual
			}
			d.text(l, key, b[k+2:v])
			i = v + 1
		} else {
			v := word(b, k+1)
			if v == k+1 || v >= len(b) || !d.value(l, key, b[k+1:v]) {
				return errUnusual
			}
			i = v
		}
		if b[i] == ',' {
			continue
		}
		if b[i] != ' ' {
			return errUnusual
		}
		break
	}
	t, ok := parseInt(b[i+1:])
	if !ok {
		return errUnusual
	}
	l.TimeNS = t
	return nil
}

func (d *decoder) tag(l *Line, key, value []byte) {
	switch string(key) {
	case "sensor":
		l.Sensor = d.keep(value)
	case "valve":
		l.Valve = d.keep(value)
	case "kind":
		l.Kind = d.keep(value)
	case "event":
		l.Event = d.keep(value)
	}
}

func (d *decoder) text(l *Line, key, value []byte) {
	switch string(key) {
	case "name":
		l.Name = d.keep(value)
	case "text":
		l.Text = d.keep(value)
	case "sha256":
		l.SHA256 = string(value)
	}
}

// value sets a numeric or boolean field; false sends the line to the library.
func (d *decoder) value(l *Line, key, v []byte) bool {
	switch c := v[0]; {
	case c == 't' || c == 'T' || c == 'f' || c == 'F':
		switch string(v) {
		case "true", "t", "T", "True", "TRUE":
			setBool(l, key, true)
		case "false", "f", "F", "False", "FALSE":
			setBool(l, key, false)
		default:
			return false
		}
		return true
	case v[len(v)-1] == 'i':
		n, ok := parseInt(v[:len(v)-1])
		if ok {
			setInt(l, key, n)
		}
		return ok
	default:
		f, ok := parseFloat(v)
		if ok {
			setFloat(l, key, f)
		}
		return ok
	}
}

func setBool(l *Line, key []byte, v bool) {
	switch string(key) {
	case "wet":
		l.Wet, l.HasWet = v, true
	case "open":
		l.Open, l.HasOpen = v, true
	}
}

func setInt(l *Line, key []byte, v int64) {
	switch string(key) {
	case "index":
		l.Index = -1
		if v >= 0 && v <= math.MaxInt32 {
			l.Index = int(v)
		}
	case "lines":
		l.Lines = v
	case "mono_ns":
		l.MonoNS = v
	default: // a writer without floats in a whole number
		setFloat(l, key, float64(v))
	}
}

func setFloat(l *Line, key []byte, v float64) {
	switch string(key) {
	case "pressure_pa":
		l.PressurePa = v
	case "gas_c":
		l.GasC = v
	case "water_c":
		l.WaterC = v
	case "wall_c":
		l.WallC = v
	case "temperature_c":
		l.TemperatureC = v
	case "rh_pct":
		l.RHPct = v
	case "level":
		l.Level = v
	case "depth_m":
		l.DepthM = v
	case "raw":
		l.Raw = v
	case "index":
		setInt(l, key, whole(v))
	case "lines":
		setInt(l, key, whole(v))
	case "mono_ns":
		setInt(l, key, whole(v))
	}
}

// whole gives a float that another writer used for a count; −1 where it is none.
func whole(v float64) int64 {
	if v != math.Trunc(v) || math.Abs(v) > 1<<53 {
		return -1
	}
	return int64(v)
}

// parseInt reads a decimal int64 of at most 18 digits; longer ones go to strconv.
func parseInt(b []byte) (int64, bool) {
	i, neg := 0, false
	if len(b) > 0 && b[0] == '-' {
		i, neg = 1, true
	}
	if i == len(b) {
		return 0, false
	}
	if len(b)-i > 18 {
		n, err := strconv.ParseInt(unsafeString(b), 10, 64)
		return n, err == nil && b[0] != '+'
	}
	var n int64
	for ; i < len(b); i++ {
		c := b[i] - '0'
		if c > 9 {
			return 0, false
		}
		n = n*10 + int64(c)
	}
	if neg {
		n = -n
	}
	return n, true
}

var powersOf10 = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// parseFloat reads a decimal number. Up to 15 digits and no exponent is exact
// as an integer over a power of ten (both are exact doubles, and IEEE 754
// division rounds once); anything else goes to strconv.
func parseFloat(b []byte) (float64, bool) {
	i, neg := 0, false
	if b[0] == '-' {
		i, neg = 1, true
	}
	var n uint64
	digits, point := 0, -1
	for ; i < len(b); i++ {
		c := b[i]
		if c == '.' && point < 0 {
			point = digits
			continue
		}
		if c -= '0'; c > 9 {
			return slowFloat(b)
		}
		n = n*10 + uint64(c)
		if digits++; digits > 15 {
			return slowFloat(b)
		}
	}
	if digits == 0 || point == 0 || point == digits {
		return slowFloat(b)
	}
	f := float64(n)
	if point >= 0 {
		f /= powersOf10[digits-point]
	}
	if neg {
		f = -f
	}
	return f, true
}

// slowFloat reads a longer number of the shape -123.456; other shapes are the library's.
func slowFloat(b []byte) (float64, bool) {
	point := false
	for i, c := range b {
		switch {
		case c >= '0' && c <= '9':
		case c == '-' && i == 0 && len(b) > 1 && b[1] != '.':
		case c == '.' && !point && i > 0 && i < len(b)-1:
			point = true
		default:
			return 0, false
		}
	}
	f, err := strconv.ParseFloat(unsafeString(b), 64)
	return f, err == nil
}

// unsafeString views bytes as a string for the length of one call of strconv.
func unsafeString(b []byte) string { return unsafe.String(unsafe.SliceData(b), len(b)) }
