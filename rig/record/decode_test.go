package record

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"testing/iotest"

	"github.com/influxdata/line-protocol/v2/lineprotocol"
	"pgregory.net/rapid"
)

// same compares two lines, with NaN equal to NaN.
func same(a, b Line) bool {
	va, vb := reflect.ValueOf(a), reflect.ValueOf(b)
	for i := range va.NumField() {
		x, y := va.Field(i), vb.Field(i)
		if x.Kind() == reflect.Float64 {
			if math.Float64bits(x.Float()) != math.Float64bits(y.Float()) && !(math.IsNaN(x.Float()) && math.IsNaN(y.Float())) {
				return false
			}
		} else if !x.Equal(y) {
			return false
		}
	}
	return true
}

// agree checks that where the plain decoder takes a line, the library's reads
// the same.
func agree(t *testing.T, b []byte) {
	t.Helper()
	d := newDecoder()
	var fast, slow Line
	fast.Clear()
	slow.Clear()
	if err := d.plain(b, &fast); err != nil {
		return
	}
	if err := d.lib.decode(d, b, &slow); err != nil {
		t.Fatalf("%q is read as plain, and the library says %v", b, err)
	}
	if !same(fast, slow) {
		t.Fatalf("%q\nplain   %+v\nlibrary %+v", b, fast, slow)
	}
}

func TestBothDecodersAgree(t *testing.T) {
	for b := range bytes.SplitSeq(short(t), []byte("\n")) {
		agree(t, b)
	}
	d := newDecoder()
	var l Line
	l.Clear()
	if err := d.plain([]byte("chamber,sensor=p1 pressure_pa=102147.0,gas_c=23.45 1767386317500000000"), &l); err != nil {
		t.Fatalf("the most common line of all takes the slow way: %v", err)
	}
	if l.PressurePa != 102147 || l.GasC != 23.45 {
		t.Fatalf("%+v", l)
	}
}

// slowly reads lines one by one through the library.
func slowly(b []byte) (ls []Line) {
	d := newDecoder()
	var unit TimeUnit
	for line := range bytes.SplitSeq(b, []byte("\n")) {
		var l Line
		l.Clear()
		if bytes.IndexByte(line, 0) >= 0 || d.lib.decode(d, bytes.TrimSuffix(line, []byte("\r")), &l) != nil {
			continue
		}
		var err error
		if l.TimeNS, err = unit.NS(l.TimeNS); err == nil && l.Measurement != Other {
			ls = append(ls, l)
		}
	}
	return ls
}

// readerAgrees checks that a Reader gives what the library reads from each line.
func readerAgrees(t *testing.T, b []byte) {
	t.Helper()
	want := slowly(b)
	for _, src := range []io.Reader{bytes.NewReader(b), iotest.OneByteReader(bytes.NewReader(b))} {
		r := NewUncheckedReader(src)
		n := 0
		var l Line
		for r.Next(&l) == nil {
			if n >= len(want) {
				t.Fatalf("%q: the reader has more than %d lines: %+v", b, len(want), l)
			}
			l.Number = 0
			if !same(l, want[n]) {
				t.Fatalf("%q line %d\nreader  %+v\nlibrary %+v", b, n, l, want[n])
			}
			n++
		}
		if torn := r.in.TornBytes > 0; n != len(want) && !(torn && n == len(want)-1) && r.in.Lines > 0 && r.good > 0 {
			t.Fatalf("%q: %d of %d lines", b, n, len(want))
		}
	}
}

func TestEveryWayOfReadingAgrees(t *testing.T) {
	readerAgrees(t, short(t))
	names, _ := filepath.Glob("../../../shared/corpus/*/readings.lp")
	for _, name := range names {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		readerAgrees(t, b[:min(len(b), 1<<18)])
	}
	rapid.Check(t, func(rt *rapid.T) { // numbers of every length, in lines of one shape
		num := rapid.StringMatching(`-?[0-9]{1,10}(\.[0-9]{1,10})?`)
		var b []byte
		for range 8 {
			b = fmt.Appendf(b, "chamber,sensor=p1 pressure_pa=%s,gas_c=%s %d\nprobe,sensor=w1 wet=%t,level=%s 17723%014d\n", num.Draw(rt, "p"), num.Draw(rt, "t"),
				rapid.Int64().Draw(rt, "time"), rapid.Bool().Draw(rt, "wet"), num.Draw(rt, "level"), rapid.Int64Range(0, 99999999999999).Draw(rt, "time"))
		}
		readerAgrees(t, b)
	})
}

func TestReadingALineAllocatesNothing(t *testing.T) {
	var b []byte
	for i := range 50000 {
		b = fmt.Appendf(b, "chamber,sensor=p1 pressure_pa=%d.5,gas_c=20.25 %d\nprobe,sensor=w1 wet=false %d\n", 101325+i, start.UnixNano()+int64(i), start.UnixNano()+int64(i))
	}
	r := NewReader(bytes.NewReader(b))
	var l Line
	r.Next(&l)
	if n := testing.AllocsPerRun(40000, func() { r.Next(&l) }); n >= 1 {
		t.Fatalf("%v allocations a line", n)
	}
}

func FuzzDecode(f *testing.F) {
	for _, s := range []string{
		"chamber,sensor=p1 pressure_pa=102147.0,gas_c=23.45 1767386317500000000",
		"unit,sensor=u1 pressure_pa=98455,temperature_c=17.3503,rh_pct=47.6153 1778464692000000000",
		"probe,sensor=w1 wet=false 1778464700000000000", "run,event=start text=\"start\" 1778464690000000000",
		"stage,kind=ramp index=0i,name=\"shallow\",depth_m=3.0,pressure_pa=127744.695 1778464690000000000",
		"chain lines=25i,sha256=\"7cd1ffa9\" 1767386326500000000", "note text=\"a \\\"b\\\" c\" 1",
		"room pressure_pa=-1e3,rh_pct=+5,temperature_c=.5 -7", "chamber gas_c=1.,gas_c=1u,water_c=00012 99999999999999999999",
		"setpoint pressure_pa=0x1p3 1", "chamber pressure_pa=1_0 1", "chamber pressure_pa=9007199254740993 1",
		"chamber pressure_pa=1,pressure_pa=2i 1767386317500000000\nchamber pressure_pa=3,pressure_pa=2i 1767386317500000000\n",
		"chamber foo=\"a b=1\",gas_c=1 1767386317500000000\n", "chamber,sensor=\xff gas_c=1 1767386317500000000\n",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		if !bytes.ContainsAny(b, "\n") {
			agree(t, b)
			// The same line again, then with other numbers: learnt shapes.
			twice := append(append(append(bytes.Clone(b), '\n'), b...), '\n')
			readerAgrees(t, append(append(twice, bytes.ReplaceAll(b, []byte("1"), []byte("74"))...), '\n'))
		}
		readerAgrees(t, b)
		r := NewReader(bytes.NewReader(b))
		var l Line
		for {
			if err := r.Next(&l); err != nil {
				break
			}
		}
		if n := int64(bytes.Count(b, []byte("\n"))); r.in.Lines > n+1 {
			t.Fatalf("%d lines counted in %d", r.in.Lines, n)
		}
	})
}

// BenchmarkRead reads a record, chain checked, beside the library's decoder on
// the same bytes (every value taken) and a bare scan for newlines.
func BenchmarkRead(b *testing.B) {
	data := written(b, 50000)
	read := func(b *testing.B, reader func(io.Reader) *Reader) {
		b.SetBytes(int64(len(data)))
		b.ReportAllocs()
		for b.Loop() {
			r := reader(bytes.NewReader(data))
			var l Line
			for r.Next(&l) != io.EOF {
			}
			if !r.Integrity().Intact {
				b.Fatal(r.Integrity())
			}
		}
	}
	b.Run("record-chain-checked", func(b *testing.B) { read(b, NewReader) })
	b.Run("record", func(b *testing.B) { read(b, NewUncheckedReader) })
	b.Run("library", func(b *testing.B) {
		b.SetBytes(int64(len(data)))
		b.ReportAllocs()
		for b.Loop() {
			dec := lineprotocol.NewDecoderWithBytes(data)
			for dec.Next() {
				if _, err := dec.Measurement(); err != nil {
					b.Fatal(err)
				}
				for {
					if k, _, err := dec.NextTag(); err != nil || k == nil {
						break
					}
				}
				for {
					if k, _, err := dec.NextField(); err != nil || k == nil {
						break
					}
				}
				if _, err := dec.TimeBytes(); err != nil {
					b.Fatal(err)
				}
			}
		}
	})
	b.Run("newlines", func(b *testing.B) {
		b.SetBytes(int64(len(data)))
		for b.Loop() {
			sc := bufio.NewScanner(bytes.NewReader(data))
			for sc.Scan() {
			}
		}
	})
}
