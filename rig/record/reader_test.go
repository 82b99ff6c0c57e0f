package record

import (
	"bytes"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"pgregory.net/rapid"

	"proofpot/sensors"
)

// memory is a File in memory.
type memory struct {
	bytes.Buffer
	syncs  int
	closed bool
}

func (m *memory) Sync() error  { m.syncs++; return nil }
func (m *memory) Close() error { m.closed = true; return nil }

var start = time.Date(2026, 3, 14, 8, 15, 2, 0, time.UTC)

// short writes a small record: a start, two minutes of readings, an end.
func short(t testing.TB) []byte { return written(t, 240) }

// written writes a record of n half-second readings.
func written(t testing.TB, n int) []byte {
	t.Helper()
	var f memory
	w := NewWriter(&f, start)
	w.Wait = true
	w.Run(0, "start", "demo")
	w.Valve(0, "fill", false)
	w.Stage(0, "ramp", 0, "shallow", 3, 131084.35)
	w.Setpoint(0, 131084.35)
	for i := range n {
		at := time.Duration(i) * 500 * time.Millisecond
		p := 101325 + 250*float64(i)
		w.Readings([]sensors.Reading{
			{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: p, At: at},
			{Sensor: "p1", Quantity: sensors.ChamberGas, Value: 20.25, At: at},
			{Sensor: "w1", Quantity: sensors.ProbeWet, Value: 0, At: at},
		})
		if i == 100 {
			w.Readings([]sensors.Reading{sensors.Fault("u1", sensors.UnitPressure, sensors.NoReading, at, "no answer")})
			w.Note(at, `tapped the pot, "twice"`)
		}
		if err := w.Flush(at); err != nil {
			t.Fatal(err)
		}
	}
	w.Run(time.Duration(n)*500*time.Millisecond, "end", "")
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if !f.closed || f.syncs == 0 {
		t.Fatal("the record was not synced and closed")
	}
	return f.Bytes()
}

func readAll(t testing.TB, src io.Reader) ([]Line, Integrity) {
	t.Helper()
	r := NewReader(src)
	var ls []Line
	for {
		var l Line
		err := r.Next(&l)
		if err == io.EOF {
			return ls, r.Integrity()
		}
		if err != nil {
			t.Fatal(err)
		}
		ls = append(ls, l)
	}
}

func TestWhatIsWrittenIsReadBack(t *testing.T) {
	data := short(t)
	for _, src := range []io.Reader{bytes.NewReader(data), iotest.OneByteReader(bytes.NewReader(data)), iotest.DataErrReader(bytes.NewReader(data))} {
		ls, in := readAll(t, src)
		if !in.Intact || !in.Chained || in.Unchained != 0 || in.TornBytes != 0 {
			t.Fatalf("a whole record is reported as %+v", in)
		}
		var pressures, wets, faults, notes int
		for _, l := range ls {
			switch l.Measurement {
			case Chamber:
				want := 101325 + 250*float64(pressures)
				if l.PressurePa != want || l.GasC != 20.25 || l.Sensor != "p1" || !math.IsNaN(l.WaterC) {
					t.Fatalf("chamber line %d: %+v", pressures, l)
				}
				if at := start.Add(time.Duration(pressures) * 500 * time.Millisecond).UnixNano(); l.TimeNS != at {
					t.Fatalf("line at %d, want %d", l.TimeNS, at)
				}
				pressures++
			case Probe:
				if l.Wet || !l.HasWet {
					t.Fatal("a dry probe reads wet")
				}
				wets++
			case Fault:
				faults++
				if l.Sensor != "u1" || l.Kind != "no-reading" || l.Text != "no answer" {
					t.Fatalf("%+v", l)
				}
			case Note:
				notes++
				if l.Text != `tapped the pot, "twice"` {
					t.Fatalf("note %q", l.Text)
				}
			case RunEvent:
				if l.Event == "end" && l.MonoNS != int64(2*time.Minute) {
					t.Fatalf("%+v", l)
				}
			}
		}
		if pressures != 240 || wets != 240 || faults != 1 || notes != 1 {
			t.Fatalf("%d pressures, %d probes, %d faults, %d notes", pressures, wets, faults, notes)
		}
	}
}

func TestABlockIsNoLongerThanTenSeconds(t *testing.T) {
	ls, _ := readAll(t, bytes.NewReader(short(t)))
	var first int64
	for _, l := range ls {
		if l.Measurement == Chain {
			if l.Lines > blockLines {
				t.Fatalf("a block of %d lines", l.Lines)
			}
			first = 0
			continue
		}
		if first == 0 {
			first = l.TimeNS
		}
		if l.TimeNS-first > int64(blockTime) {
			t.Fatalf("a block lasts %s", time.Duration(l.TimeNS-first))
		}
	}
}

// TestAnyChangedByteShows changes, drops and adds bytes of a finished record,
// outside its chain lines. What no chain can show: a tail cut off behind a chain
// line (the missing end of the run shows that), and the time of a chain line.
func TestAnyChangedByteShows(t *testing.T) {
	data := short(t)
	var places []int // every byte that is not in a chain line
	for at := 0; at < len(data); {
		end := at + bytes.IndexByte(data[at:], '\n') + 1
		for i := at; i < end && !bytes.HasPrefix(data[at:], []byte("chain ")); i++ {
			places = append(places, i)
		}
		at = end
	}
	rapid.Check(t, func(t *rapid.T) {
		i := rapid.SampledFrom(places).Draw(t, "at")
		bad := bytes.Clone(data)
		switch rapid.IntRange(0, 3).Draw(t, "how") {
		case 0:
			bad[i] ^= byte(1 << rapid.IntRange(0, 7).Draw(t, "bit"))
		case 1:
			bad = append(bad[:i], bad[i+1:]...)
		case 2:
			bad = append(bad[:i], append([]byte{bad[i]}, bad[i:]...)...)
		case 3: // a whole line is dropped
			s := bytes.LastIndexByte(bad[:i], '\n') + 1
			e := s + bytes.IndexByte(bad[s:], '\n') + 1
			bad = append(bad[:s], bad[e:]...)
		}
		r := NewReader(bytes.NewReader(bad))
		var l Line
		var err error
		for err == nil {
			err = r.Next(&l)
		}
		in := r.Integrity()
		if err == io.EOF && in.Intact && in.Unchained == 0 && in.TornBytes == 0 {
			t.Fatalf("the change at byte %d of %d is not seen", i, len(data))
		}
	})
}

func TestAPowerCutAtAnyByteLosesNothingBeforeIt(t *testing.T) {
	data := short(t)
	whole, _ := readAll(t, bytes.NewReader(data))
	for cut := 0; cut <= len(data); cut++ {
		r := NewReader(bytes.NewReader(data[:cut]))
		var l Line
		n := 0
		for {
			err := r.Next(&l)
			if err != nil {
				if err != io.EOF && bytes.Count(data[:cut], []byte("\n")) > 0 {
					t.Fatalf("cut at %d: %v", cut, err)
				}
				break
			}
			if l.TimeNS != whole[n].TimeNS || l.Measurement != whole[n].Measurement {
				t.Fatalf("cut at %d: line %d differs", cut, n)
			}
			n++
		}
		if lines := bytes.Count(data[:cut], []byte("\n")); n < lines || n > lines+1 {
			t.Fatalf("cut at %d: %d of %d lines read", cut, n, lines)
		}
		if in := r.Integrity(); !in.Intact {
			t.Fatalf("cut at %d: a power cut counts as damage: %v", cut, in.Problems)
		}
	}
}

func TestRecordsMadeElsewhere(t *testing.T) {
	text := "# a comment\n" +
		"chamber,sensor=p\\ 1 gas_c=20i,pressure_pa=1.01325e5 1772000000000000000\r\n" +
		"\n" +
		"weather,place=shore wind=3.5 1772000000000000000\n" +
		"probe,sensor=w1 level=0.25,wet=t 1772000001000000000\n" +
		"stage,kind=hold pressure_pa=301325,depth_m=20,name=\"low \\\"first\\\"\",index=1i 1772000002000000000"
	ls, in := readAll(t, strings.NewReader(text))
	if !in.Intact || in.Chained || len(ls) != 3 {
		t.Fatalf("%d lines, %+v", len(ls), in)
	}
	if ls[0].Sensor != "p 1" || ls[0].PressurePa != 101325 || ls[0].GasC != 20 {
		t.Errorf("%+v", ls[0])
	}
	if !ls[1].Wet || ls[1].Level != 0.25 {
		t.Errorf("%+v", ls[1])
	}
	if ls[2].Name != `low "first"` || ls[2].Index != 1 || ls[2].DepthM != 20 {
		t.Errorf("%+v", ls[2])
	}
}

func TestWhatIsNoRecordSaysSo(t *testing.T) {
	for name, data := range map[string]string{
		"binary": "\x00\x01\x02\xff\n\x00\n", "prose": "it was dry\nI think\n",
		"one endless line": strings.Repeat("x", 3<<20),
	} {
		r := NewReader(strings.NewReader(data))
		var l Line
		if err := r.Next(&l); err == nil || err == io.EOF {
			t.Errorf("%s: read as a record (%v)", name, err)
		}
	}
	r := NewReader(strings.NewReader(""))
	var l Line
	if err := r.Next(&l); err != io.EOF {
		t.Errorf("an empty file: %v", err)
	}
}

// TestCorpusChainsAreIntact reads records of another writer.
func TestCorpusChainsAreIntact(t *testing.T) {
	files, _ := filepath.Glob("../../../shared/corpus/*/readings.lp")
	for _, name := range files {
		f, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		_, in := readAll(t, f)
		f.Close()
		if !in.Chained || !in.Intact || in.Unchained != 0 {
			t.Errorf("%s: %+v", filepath.Base(filepath.Dir(name)), in)
		}
	}
	t.Logf("%d records of another writer read", len(files))
}
