package textline

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/scale"
)

// FuzzStream feeds bytes to a splitter and a parser of each shape. Whatever
// comes: no panic, no line beyond its bound, no value that is not finite and
// within what its quantity can be, no fault with a value or without a text, and
// the same readings however the bytes are cut up.
func FuzzStream(f *testing.F) {
	for _, seed := range []string{
		"x\np_bar=3.214 t_c=18.42\np_bar=nan t_c=1e9\n", "\n3.214;18,42\n3,214;18,42\n", "\ntime;p\n1;2\n1;2;3\n",
		"\n{\"a\":{\"b\":3.2},\"n\":1}\n{\"a\":{\"b\":[]}}\n", "\np=1 n=5\np=1 n=4\np=1 n=4\n", "\n$WIXDR,P,1.0135,B,BARO*44\n",
		"\n# boot\n\xff\xfe\n" + strings.Repeat("9", 3000) + "\np=1 w=wet\n", "\np=1 *00\np=1 *4C\n", "\n\"1\",\"2\"\n", "\np=-0.0 t=+.5e-3\n",
		"\nP 3.2 B 1001 W wet N 7\nP nan B \n", "\n$YXXDR,P,6.0,B,POT,S,1,,W*2C\n$YXXDR,P*0E\n",
		"\npot,s=a p=3.2,b=1001i 17\nw wet=t\nw wet=\"dry\" 1\n",
	} {
		f.Add([]byte(seed), uint8(3))
	}
	f.Fuzz(func(t *testing.T, stream []byte, cut uint8) {
		for _, c := range fuzzConfigs() {
			whole := readings(t, c, stream, len(stream)+1)
			pieces := readings(t, c, stream, int(cut)%16+1)
			if whole != pieces {
				t.Fatalf("%s: %s when whole, %s in pieces", c.Shape, whole, pieces)
			}
		}
	})
}

func fuzzConfigs() []Config {
	fields := func(a, b, w string) []Field {
		return []Field{{From: a, Quantity: pot, Unit: "bar", Reference: scale.Gauge, Low: -1, High: 60},
			{From: b, Quantity: baro, Unit: "hPa", Reference: scale.Absolute}, {From: w, Quantity: sensors.ProbeWet}}
	}
	return []Config{
		{Shape: KeyValue, Fields: fields("p", "b", "w")}, {Shape: KeyValue, DecimalComma: true, Fields: fields("p_bar", "b", "w")},
		{Shape: CSV, Fields: fields("1", "2", "3")}, {Shape: CSV, DecimalComma: true, Sequence: "1", Fields: fields("2", "3", "4")},
		{Shape: JSON, Fields: fields("p", "a.b", "a.0")}, {Shape: NMEA, Fields: fields("P:POT", "P:BARO", "S:W")},
		{Shape: Protocol, Fields: fields("pot,s=a.p", "pot.b", "w.wet")},
		{Shape: Pattern, Pattern: `P (?P<p>\S*) B (?P<b>\S*)(?: W (?P<w>\w+))?(?: N (?P<n>\d+))?`, Fields: fields("p", "b", "w")},
	}
}

func readings(t *testing.T, c Config, stream []byte, cut int) string {
	p := parser(t, c, scale.NewRoom(101325, false))
	var s Splitter
	var got []sensors.Reading
	for len(stream) > 0 {
		n := min(cut, len(stream))
		s.Feed(stream[:n], func(line []byte, tooLong bool) {
			if len(line) > MaxLine || bytes.ContainsAny(line, "\r\n") {
				t.Fatalf("a line of %d bytes: %q", len(line), line)
			}
			if tooLong {
				got = append(got, p.TooLong(time.Second, line))
				return
			}
			got = p.Line(time.Second, line, got)
		})
		stream = stream[n:]
	}
	for _, r := range got {
		l := scale.Possible(r.Quantity)
		switch {
		case r.Status == sensors.OK && !(r.Value >= l.Low && r.Value <= l.High):
			t.Fatalf("%s: %+v cannot be", c.Shape, r)
		case r.Status != sensors.OK && (!math.IsNaN(r.Value) || r.Text == "" || len(r.Text) > 400):
			t.Fatalf("%s: fault %+v", c.Shape, r)
		case strings.ContainsAny(r.Text, "\n\r\x00"):
			t.Fatalf("%s: a text that is no line: %q", c.Shape, r.Text)
		}
	}
	return said(got)
}
