package record

import (
	"bytes"
	"encoding/binary"
	"math/bits"
	"unsafe"
)

// A record repeats a few shapes of line, thousands of times: the same names,
// tags and keys, other numbers. A shape is learnt from a line that the plain
// decoder took, and then read by comparing what stays and taking the numbers
// eight digits at a time. Whatever differs by a byte goes the long way; so the
// result is the same, see TestEveryWayOfReadingAgrees and FuzzDecode.
type shape struct {
	head   literal // up to the first number
	fields []shapeField
	line   Line   // everything but the numbers and the time
	next   *shape // which followed last
}

type shapeField struct {
	at   uintptr // where in a Line the number goes
	tail literal // what follows it, up to the next number or the time
}

// literal is text by words of eight bytes; mask takes from the last what counts.
type literal struct {
	words []uint64
	mask  uint64
	n     int
}

const (
	maxShapes    = 64
	maxShapeText = 512 // bytes of a line that is learnt
	// shapeMargin is how far behind its line a match may look.
	shapeMargin = 2 * maxShapeText
)

func newLiteral(b []byte) literal {
	l := literal{n: len(b), mask: ^uint64(0)}
	for ; len(b) > 8; b = b[8:] {
		l.words = append(l.words, binary.LittleEndian.Uint64(b))
	}
	var last [8]byte
	copy(last[:], b)
	if len(b) < 8 {
		l.mask = 1<<(8*len(b)) - 1
	}
	l.words = append(l.words, binary.LittleEndian.Uint64(last[:]))
	return l
}

func word8(b []byte, i int) uint64 { return binary.LittleEndian.Uint64(b[i:]) }

func (l *literal) at(b []byte, i int) bool {
	last := len(l.words) - 1
	for k, w := range l.words[:last] {
		if word8(b, i+8*k) != w {
			return false
		}
	}
	return word8(b, i+8*last)&l.mask == l.words[last]
}

// shapes are the shapes seen so far.
type shapes struct {
	all  []*shape
	last *shape
}

// match reads the line that begins b, newline included, and gives its length; 0
// where it has no known shape. b goes on for shapeMargin bytes behind the line.
func (s *shapes) match(b []byte, l *Line) int {
	if s.last == nil {
		return 0
	}
	guess := s.last.next
	if guess != nil {
		if n := guess.match(b, l); n > 0 {
			s.last = guess
			return n
		}
	}
	for _, sh := range s.all {
		if sh != guess && sh.head.at(b, 0) {
			if n := sh.match(b, l); n > 0 {
				s.last.next, s.last = sh, sh
				return n
			}
		}
	}
	return 0
}

func (sh *shape) match(b []byte, l *Line) int {
	if !sh.head.at(b, 0) {
		return 0
	}
	i := sh.head.n
	*l = sh.line
	for k := range sh.fields {
		f := &sh.fields[k]
		v, next := number(b, i)
		if next == 0 || !f.tail.at(b, next) {
			return 0
		}
		*(*float64)(unsafe.Add(unsafe.Pointer(l), f.at)) = v
		i = next + f.tail.n
	}
	t, ok := stamp(b, i)
	if !ok || b[i+digitsOfNow] != '\n' {
		return 0
	}
	l.TimeNS = t
	return i + digitsOfNow + 1
}

// learn makes a shape of a line (without its newline) that was read as l. Lines
// with text, counts or a key twice are not worth it.
func (s *shapes) learn(b []byte, l *Line) {
	if len(s.all) >= maxShapes || len(b) > maxShapeText || l.Text != "" || l.Name != "" || l.SHA256 != "" || l.Index >= 0 || l.MonoNS >= 0 || l.Lines != 0 {
		return
	}
	i := bytes.IndexByte(b, ' ')
	if bytes.IndexByte(b, '"') >= 0 {
		return
	}
	sh := &shape{line: *l}
	from := 0
	var seen [8]uintptr
	for i < len(b) {
		k := i + 1
		i = word(b, k)
		if i >= len(b) || b[i] != '=' {
			break // the time
		}
		key, v := b[k:i], i+1
		i = word(b, v)
		at, isFloat := floatAt(key)
		switch _, ok := parseFloat(b[v:i]); {
		case !ok && !isFloat: // a boolean, which is part of the shape
		case !ok || !isFloat || len(sh.fields) == len(seen):
			return
		default:
			for j := range sh.fields {
				if seen[j] == at {
					return
				}
			}
			seen[len(sh.fields)] = at
			sh.close(b[from:v])
			sh.fields = append(sh.fields, shapeField{at: at})
			from = i
		}
	}
	sh.close(b[from : bytes.LastIndexByte(b, ' ')+1])
	s.all = append(s.all, sh)
	if s.last != nil {
		s.last.next = sh
	}
	s.last = sh
}

// close ends the text under way.
func (sh *shape) close(text []byte) {
	if n := len(sh.fields); n > 0 {
		sh.fields[n-1].tail = newLiteral(text)
	} else {
		sh.head = newLiteral(text)
	}
}

func floatAt(key []byte) (uintptr, bool) {
	switch string(key) {
	case "pressure_pa":
		return unsafe.Offsetof(Line{}.PressurePa), true
	case "gas_c":
		return unsafe.Offsetof(Line{}.GasC), true
	case "water_c":
		return unsafe.Offsetof(Line{}.WaterC), true
	case "wall_c":
		return unsafe.Offsetof(Line{}.WallC), true
	case "temperature_c":
		return unsafe.Offsetof(Line{}.TemperatureC), true
	case "rh_pct":
		return unsafe.Offsetof(Line{}.RHPct), true
	case "level":
		return unsafe.Offsetof(Line{}.Level), true
	case "depth_m":
		return unsafe.Offsetof(Line{}.DepthM), true
	case "raw":
		return unsafe.Offsetof(Line{}.Raw), true
	}
	return 0, false
}

const (
	zeros   = 0x3030303030303030
	low7    = 0x7f7f7f7f7f7f7f7f
	above9  = 0x7676767676767676
	topBits = 0x8080808080808080
)

// digits8 turns eight bytes, '0' already taken off, the first digit lowest, into
// their number: pairs, then fours, then all eight (multiplication adds the parts
// that lie in one word).
func digits8(x uint64) uint64 {
	x = x*10 + x>>8
	return (x&0x000000ff000000ff*(100+1000000<<32) + x>>16&0x000000ff000000ff*(1+10000<<32)) >> 32
}

// notDigits has the top bit of each byte that is no digit.
func notDigits(x uint64) uint64 { return (x&low7 + above9 | x) & topBits }

// number reads -123.456 at i: up to eight digits before the point and eight
// behind it, fifteen in all, exact as in parseFloat. It gives where the number
// ends, 0 where it is none of these.
func number(b []byte, i int) (float64, int) {
	neg := b[i] == '-'
	if neg {
		i++
	}
	x := word8(b, i) ^ zeros
	n := bits.TrailingZeros64(notDigits(x)) / 8
	if n == 0 {
		return 0, 0
	}
	v := digits8(x << (64 - 8*n))
	i += n
	f := float64(v)
	if b[i] == '.' {
		y := word8(b, i+1) ^ zeros
		m := bits.TrailingZeros64(notDigits(y)) / 8
		if m == 0 || n+m > 15 {
			return 0, 0
		}
		f = float64(v*tens[m]+digits8(y<<(64-8*m))) / powersOf10[m]
		i += m + 1
	}
	if neg {
		f = -f
	}
	return f, i
}

var tens = [9]uint64{1, 10, 100, 1000, 10000, 100000, 1000000, 10000000, 100000000}

// stamp reads a time of 19 digits at i, which is any from 2001 to 2262.
func stamp(b []byte, i int) (int64, bool) {
	x, y, z := word8(b, i)^zeros, word8(b, i+8)^zeros, word8(b, i+11)^zeros
	if (notDigits(x) | notDigits(y) | notDigits(z)) != 0 {
		return 0, false
	}
	hi := digits8(x)
	if hi >= 92233720 { // would not fit
		return 0, false
	}
	return int64(hi*1e11 + digits8(y)*1e3 + digits8(z>>40<<40)), true
}
