package record

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf16"
)

func TestOtherUnitsOfTimeAreReadAsWhatTheyAre(t *testing.T) {
	for unit, per := range map[string]time.Duration{"s": time.Second, "ms": time.Millisecond, "µs": time.Microsecond, "ns": time.Nanosecond} {
		var b []byte
		for i := range 50 {
			at := start.Add(time.Duration(i) * time.Second)
			b = fmt.Appendf(b, "chamber,sensor=p1 pressure_pa=%d.5 %d\n", 101325+i, at.UnixNano()/int64(per))
		}
		ls, in := readAll(t, bytes.NewReader(b[:len(b)-1])) // the last line needs no end
		if len(ls) != 50 || !in.Intact || in.TornBytes != 0 {
			t.Fatalf("%s: %d lines, %+v", unit, len(ls), in)
		}
		for i, l := range ls {
			if want := start.Add(time.Duration(i) * time.Second).UnixNano(); l.TimeNS != want {
				t.Fatalf("%s line %d: at %d, want %d", unit, i+1, l.TimeNS, want)
			}
		}
		torn, in := readAll(t, bytes.NewReader(b[:len(b)-2]))
		if len(torn) != 49 || in.TornBytes == 0 {
			t.Errorf("%s: a stamp that lost its last digit is read as one", unit)
		}
	}
}

func TestMixedUnitsOfTimeAreRefusedWithTheLine(t *testing.T) {
	stamps := map[string]int64{"s": start.Unix(), "ms": start.UnixMilli(), "µs": start.UnixMicro(), "ns": start.UnixNano()}
	for first, a := range stamps {
		for second, b := range stamps {
			if first == second {
				continue
			}
			text := fmt.Sprintf("room pressure_pa=101325.0 %d\nroom pressure_pa=101325.0 %d\nroom pressure_pa=101325.0 %d\nroom pressure_pa=101325.0 %d\n", a, a, b, a)
			ls, in := readAll(t, strings.NewReader(text))
			if len(ls) != 3 || in.Intact || in.Count != 1 || in.Problems[0].Line != 3 || !strings.Contains(in.Problems[0].Text, "is in "+second+", the lines before are in "+first) {
				t.Errorf("%s among %s: %d lines, %+v", second, first, len(ls), in)
			}
		}
	}
}

func TestFilesThatAreNoRecordAreNamedForWhatTheyAre(t *testing.T) {
	data := short(t)
	var wide []byte
	for _, u := range utf16.Encode([]rune(string(data[:4000]))) {
		wide = append(wide, byte(u), byte(u>>8))
	}
	binary := bytes.Repeat([]byte{0x7f, 'E', 'L', 'F', 0, 1, 0xff, '\n'}, 4000)
	for name, c := range map[string]struct {
		b    []byte
		want string
	}{
		"UTF-16":              {wide, "NUL"},
		"UTF-16 with its BOM": {append([]byte{0xff, 0xfe}, wide...), "NUL"},
		"a program":           {binary, "NUL"},
		"text":                {[]byte("Dear club,\nhere are the readings.\n"), ""},
	} {
		r := NewReader(bytes.NewReader(c.b))
		var l Line
		err := r.Next(&l)
		if err == nil || err == io.EOF || !strings.Contains(err.Error(), "no line of it is a reading: line 1") || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
	r := NewReader(bytes.NewReader(nil))
	var l Line
	if err := r.Next(&l); err != io.EOF || r.Integrity().Lines != 0 {
		t.Errorf("0 bytes: %v", err)
	}
	crlf := bytes.ReplaceAll([]byte("room pressure_pa=101325.0 1773476102000000000\nnote text=\"a\" 1773476103000000000\n"), []byte("\n"), []byte("\r\n"))
	if ls, in := readAll(t, bytes.NewReader(crlf)); len(ls) != 2 || !in.Intact {
		t.Errorf("CRLF: %d lines, %+v", len(ls), in)
	}
}

// TestTenGigabytesOfNothingAreReadInConstantMemory reads what a disk that lost
// everything but a file's length leaves: a record's beginning, then a hole.
func TestTenGigabytesOfNothingAreReadInConstantMemory(t *testing.T) {
	const size = 10 << 30
	name := filepath.Join(t.TempDir(), ReadingsFile)
	if err := os.WriteFile(name, short(t), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(name, size); err != nil {
		t.Skipf("no sparse files here: %v", err)
	}
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	r := NewReader(f)
	var l Line
	n := 0
	for err = r.Next(&l); err == nil; err = r.Next(&l) {
		n++
	}
	runtime.ReadMemStats(&after)
	if err == io.EOF || !strings.Contains(err.Error(), "is longer than") || n < 400 {
		t.Errorf("%d lines, then %v", n, err)
	}
	if grown := after.TotalAlloc - before.TotalAlloc; grown > 16<<20 {
		t.Errorf("%d bytes were allocated", grown)
	}
}

// lines is a long record of one line after the other.
type lines struct {
	at, left int64
}

func (l *lines) Read(p []byte) (int, error) {
	n := 0
	for l.left > 0 && len(p)-n > 100 {
		b := append(p[n:n], "chamber,sensor=p1 pressure_pa=101325.5,gas_c=20.25 "...)
		b = append(strconv.AppendInt(b, l.at, 10), '\n')
		n += len(b)
		l.at += 1e6
		l.left -= int64(len(b))
	}
	if n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

func TestALongRecordIsReadInConstantMemory(t *testing.T) {
	size := int64(256 << 20)
	if testing.Short() {
		size = 32 << 20
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	r := NewUncheckedReader(&lines{at: start.UnixNano(), left: size})
	var l Line
	for r.Next(&l) == nil {
	}
	runtime.ReadMemStats(&after)
	if in := r.Integrity(); !in.Intact || in.Lines < size/80 {
		t.Fatalf("%+v", in)
	}
	if grown := after.TotalAlloc - before.TotalAlloc; grown > 4<<20 {
		t.Errorf("%d bytes were allocated for %d bytes of record", grown, size)
	}
}
