package record

import (
	"bytes"
	"io"
	"math"
	"reflect"
	"testing"

	"github.com/influxdata/line-protocol/v2/lineprotocol"
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

func FuzzDecode(f *testing.F) {
	for _, s := range []string{
		"chamber,sensor=p1 pressure_pa=102147.0,gas_c=23.45 1767386317500000000",
		"unit,sensor=u1 pressure_pa=98455,temperature_c=17.3503,rh_pct=47.6153 1778464692000000000",
		"probe,sensor=w1 wet=false 1778464700000000000", "run,event=start text=\"start\" 1778464690000000000",
		"stage,kind=ramp index=0i,name=\"shallow\",depth_m=3.0,pressure_pa=127744.695 1778464690000000000",
		"chain lines=25i,sha256=\"7cd1ffa9\" 1767386326500000000", "note text=\"a \\\"b\\\" c\" 1",
		"room pressure_pa=-1e3,rh_pct=+5,temperature_c=.5 -7", "chamber gas_c=1.,gas_c=1u,water_c=00012 99999999999999999999",
		"setpoint pressure_pa=0x1p3 1", "chamber pressure_pa=1_0 1", "chamber pressure_pa=9007199254740993 1",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		if !bytes.ContainsAny(b, "\n") {
			agree(t, b)
		}
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
	data := written(b, 5000)
	b.Run("record", func(b *testing.B) {
		b.SetBytes(int64(len(data)))
		b.ReportAllocs()
		for b.Loop() {
			r := NewReader(bytes.NewReader(data))
			var l Line
			for r.Next(&l) != io.EOF {
			}
		}
	})
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
			n := 0
			for rest := data; ; n++ {
				i := bytes.IndexByte(rest, '\n')
				if i < 0 {
					break
				}
				rest = rest[i+1:]
			}
		}
	})
}
