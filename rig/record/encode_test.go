package record

import (
	"bytes"
	"math"
	"testing"

	"pgregory.net/rapid"

	"proofpot/sensors"
)

// TestEveryLineIsReadBackAsItWasWritten writes lines with names, texts and
// numbers of every kind and reads them back through the library.
func TestEveryLineIsReadBackAsItWasWritten(t *testing.T) {
	word := rapid.OneOf(rapid.StringMatching(`[a-z0-9_.-]{0,8}`), rapid.StringMatching(`[a-z ,="äß\\]{1,6}[a-z]`))
	text := rapid.OneOf(rapid.StringMatching(`[ -~]{0,20}`), rapid.String())
	number := rapid.OneOf(rapid.Just(math.NaN()), rapid.Float64Range(0, 2e7), rapid.Float64(), rapid.Just(0.0))
	rapid.Check(t, func(t *rapid.T) {
		var l Line
		l.Clear()
		l.Measurement = Measurement(rapid.IntRange(int(Chamber), int(measurements)-1).Draw(t, "measurement"))
		l.TimeNS = rapid.Int64Range(1, math.MaxInt64).Draw(t, "time")
		l.Sensor, l.Kind = word.Draw(t, "sensor"), word.Draw(t, "kind")
		l.Name, l.Text = text.Draw(t, "name"), text.Draw(t, "text")
		for _, f := range l.floats() {
			*f = number.Draw(t, "number")
		}
		l.MonoNS = rapid.Int64Range(-1, math.MaxInt64).Draw(t, "mono")
		if l.Measurement == Chain {
			l.Lines = 3
		}
		e := newEncoder()
		if err := e.line(&l); err != nil {
			if len(e.buf) != 0 {
				t.Fatalf("%v left %q behind", err, e.buf)
			}
			for _, f := range l.floats() {
				if math.IsInf(*f, 0) {
					return
				}
			}
			if bytes.ContainsAny([]byte(l.Sensor+l.Kind), "\\") || l.MonoNS < 0 && l.Name+l.Text == "" {
				return // the format has no way to write it, or nothing was there to write
			}
			t.Fatalf("%+v: %v", l, err)
		}
		if n := bytes.Count(e.buf, []byte("\n")); n != 1 {
			t.Fatalf("%d lines: %q", n, e.buf)
		}
		var got Line
		got.Clear()
		d := newDecoder()
		if err := d.lib.decode(d, bytes.TrimSuffix(e.buf, []byte("\n")), &got); err != nil {
			t.Fatalf("%q: %v", e.buf, err)
		}
		got.Name, l.Name = valid(got.Name), valid(l.Name)
		got.Text, l.Text = valid(got.Text), valid(l.Text)
		if !same(got, l) {
			t.Fatalf("%q\nwrote %+v\nread  %+v", e.buf, l, got)
		}
	})
}

func valid(s string) string { return string(bytes.ToValidUTF8([]byte(s), []byte("\uFFFD"))) }

func TestAPressureIsWrittenAsAnEditorShowsIt(t *testing.T) {
	var f memory
	w := NewWriter(&f, start)
	w.Readings([]sensors.Reading{{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: 1351325.5}})
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if want := "chamber,sensor=p1 pressure_pa=1351325.5 1773476102000000000\n"; !bytes.HasPrefix(f.Bytes(), []byte(want)) {
		t.Fatalf("%s", f.Bytes())
	}
}

func TestWritingAReadingAllocatesNothing(t *testing.T) {
	w := NewWriter(&memory{}, start)
	defer w.Close()
	rs := pressure(0)
	if n := testing.AllocsPerRun(1000, func() {
		w.enc.buf, w.hashed = w.enc.buf[:0], 0
		w.Readings(rs)
	}); n != 0 {
		t.Fatalf("%v allocations a reading", n)
	}
}
