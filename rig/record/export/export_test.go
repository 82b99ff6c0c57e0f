package export

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"

	"proofpot/rig/record"
	"proofpot/sensors"
)

type memory struct{ bytes.Buffer }

func (*memory) Sync() error  { return nil }
func (*memory) Close() error { return nil }

var start = time.Date(2026, 3, 14, 8, 15, 2, 123456789, time.UTC)

// recorded is a record with every kind of line, and texts that a table must guard.
func recorded(t testing.TB, n int) []byte {
	t.Helper()
	var f memory
	w := record.NewWriter(&f, start)
	w.Wait = true
	w.Run(0, "start", "proofpot")
	w.Valve(0, "vent", true)
	w.Setpoint(0, 131084.35)
	for i := range n {
		at := time.Duration(i) * 250 * time.Millisecond
		if i == n/2 {
			w.Stage(at, "hold", 1, `deep, "cold"`, 30, 402000.1)
			w.Valve(at, "vent", false)
			w.Note(at, "tapped, \"twice\"\nand again; ölig")
			w.Note(at, "a second remark at the moment")
		}
		rs := []sensors.Reading{
			{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: 101325 + 1e3*math.Sin(float64(i)), At: at},
			{Sensor: "p1", Quantity: sensors.ChamberGas, Value: 20.25, At: at},
			{Sensor: "w1", Quantity: sensors.ProbeWet, Value: float64(i & 1), At: at},
		}
		if i%3 == 0 {
			rs = append(rs, sensors.Reading{Sensor: "p2", Quantity: sensors.ChamberPressure, Value: 1e5 + float64(i)/3, At: at + 7})
		}
		w.Readings(rs)
		if i == 5 {
			w.Fault(at, "u1", "", "no-reading", "no answer")
		}
		if err := w.Flush(at); err != nil {
			t.Fatal(err)
		}
	}
	w.Run(time.Duration(n)*250*time.Millisecond, "end", "")
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return f.Bytes()
}

func lines(t testing.TB, b []byte) (ls []record.Line) {
	t.Helper()
	r := record.NewReader(bytes.NewReader(b))
	if err := each(r, func(l *record.Line) error { ls = append(ls, *l); return nil }); err != nil {
		t.Fatal(err)
	}
	return ls
}

// row is a row of a table that was read again: what is missing is not there.
type row map[string]any

func fromCSV(t testing.TB, b []byte, columns []Column) (rows []row) {
	t.Helper()
	all, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range columns {
		if all[0][i] != c.Name {
			t.Fatalf("column %d is %q, want %q", i, all[0][i], c.Name)
		}
	}
	for _, cells := range all[1:] {
		r := row{}
		for i, s := range cells {
			if s == "" {
				continue
			}
			var v any = s
			var err error
			switch columns[i].Kind {
			case Number:
				v, err = strconv.ParseFloat(s, 64)
			case Count:
				v, err = strconv.ParseInt(s, 10, 64)
			case Truth:
				v = s == "1"
			case Time:
				var at time.Time
				at, err = time.Parse(time.RFC3339Nano, s)
				v = at.UnixNano()
			}
			if err != nil {
				t.Fatal(err)
			}
			r[columns[i].Name] = v
		}
		rows = append(rows, r)
	}
	return rows
}

// fromParquet reads with a library that has nothing in common with what wrote.
func fromParquet(t testing.TB, b []byte, columns []Column) (rows []row) {
	t.Helper()
	f, err := parquet.OpenFile(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	for i, field := range f.Schema().Fields() {
		if field.Name() != columns[i].Name || !field.Optional() {
			t.Fatalf("column %d is %q, want %q", i, field.Name(), columns[i].Name)
		}
		if lt := field.Type().LogicalType(); columns[i].Kind == Time && (lt == nil || lt.String() != "TIMESTAMP(isAdjustedToUTC=true,unit=NANOS)") {
			t.Fatalf("%s is no time in nanoseconds of UTC: %v", columns[i].Name, lt)
		}
	}
	for _, g := range f.RowGroups() {
		rs := g.Rows()
		buf := make([]parquet.Row, 100)
		for {
			n, err := rs.ReadRows(buf)
			for _, cells := range buf[:n] {
				r := row{}
				for _, v := range cells {
					if v.IsNull() {
						continue
					}
					c := columns[v.Column()]
					switch c.Kind {
					case Number:
						r[c.Name] = v.Double()
					case Text:
						r[c.Name] = string(v.ByteArray())
					case Truth:
						r[c.Name] = v.Boolean()
					default:
						r[c.Name] = v.Int64()
					}
				}
				rows = append(rows, r)
			}
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		rs.Close()
	}
	return rows
}

var formats = map[string]struct {
	write func(io.Writer, []Column) (Sink, error)
	read  func(testing.TB, []byte, []Column) []row
}{"CSV": {CSV, fromCSV}, "Parquet": {Parquet, fromParquet}}

// again makes lines of the rows of a long table.
func again(rows []row) (ls []record.Line) {
	last := int64(-1)
	for _, r := range rows {
		str := func(name string) string { s, _ := r[name].(string); return s }
		if n := r["line"].(int64); n != last {
			last = n
			var l record.Line
			l.Clear()
			l.Number, l.TimeNS = int(n), r["time_utc"].(int64)
			l.Sensor, l.Valve, l.Kind, l.Event = str("sensor"), str("valve"), str("kind"), str("event")
			for m := record.Chamber; m <= record.Switch; m++ {
				if m.String() == str("measurement") {
					l.Measurement = m
				}
			}
			ls = append(ls, l)
		}
		l := &ls[len(ls)-1]
		v, _ := r["value"].(float64)
		switch str("quantity") {
		case "pressure_abs_pa":
			l.PressurePa = v
		case "gas_c":
			l.GasC = v
		case "depth_m":
			l.DepthM = v
		case "wet":
			l.Wet, l.HasWet = v == 1, true
		case "open":
			l.Open, l.HasOpen = v == 1, true
		case "index":
			l.Index = int(v)
		case "mono_ns":
			l.MonoNS = int64(v)
		case "name":
			l.Name = str("text")
		case "text":
			l.Text = str("text")
		}
	}
	return ls
}

func TestALongTableIsTheRecordAgain(t *testing.T) {
	data := recorded(t, 400)
	want := lines(t, data)
	for name, f := range formats {
		var b bytes.Buffer
		sink, err := f.write(&b, LongColumns)
		if err == nil {
			err = Long(record.NewReader(bytes.NewReader(data)), sink)
		}
		if err == nil {
			err = sink.Close()
		}
		if err != nil {
			t.Fatal(err)
		}
		got := again(f.read(t, b.Bytes(), LongColumns))
		if len(got) != len(want) {
			t.Fatalf("%s: %d lines, want %d", name, len(got), len(want))
		}
		for i := range got {
			if a, b := fmt.Sprintf("%+v", got[i]), fmt.Sprintf("%+v", want[i]); a != b {
				t.Fatalf("%s:\ngot  %s\nwant %s", name, a, b)
			}
		}
	}
}

func TestAWideTableHoldsEveryReadingAtItsMoment(t *testing.T) {
	data := recorded(t, 400)
	all := lines(t, data)
	tables := map[string][]row{}
	for name, f := range formats {
		wide, err := NewWide(record.NewReader(bytes.NewReader(data)))
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		sink, err := f.write(&b, wide.Columns)
		if err == nil {
			err = wide.Write(record.NewReader(bytes.NewReader(data)), sink)
		}
		if err == nil {
			err = sink.Close()
		}
		if err != nil {
			t.Fatal(err)
		}
		rows := f.read(t, b.Bytes(), wide.Columns)
		tables[name] = rows
		at := map[int64]row{}
		for _, r := range rows {
			ns := r["time_utc"].(int64)
			if at[ns] != nil {
				t.Fatalf("%s: two rows at %d", name, ns)
			}
			at[ns] = r
		}
		cells := 0
		for _, l := range all {
			r := at[l.TimeNS]
			switch l.Measurement {
			case record.Chamber:
				if r["chamber."+l.Sensor+".pressure_abs_pa"] != l.PressurePa {
					t.Fatalf("%s: %v, want %v", name, r, l.PressurePa)
				}
				cells++
			case record.Probe:
				if r["probe.w1.wet"] != l.Wet {
					t.Fatalf("%s: %v", name, r)
				}
				cells++
			}
		}
		for _, r := range rows {
			for column := range r {
				if column == "chamber.p1.pressure_abs_pa" || column == "chamber.p2.pressure_abs_pa" || column == "probe.w1.wet" {
					cells--
				}
			}
		}
		if cells != 0 {
			t.Errorf("%s: %d values more or fewer than the record has", name, cells)
		}
		middle := start.Add(200 * 250 * time.Millisecond).UnixNano()
		r := at[middle]
		if !strings.Contains(r["event"].(string), "ölig; note: a second remark") {
			t.Errorf("%s: event %q", name, r["event"])
		}
		last := rows[len(rows)-1] // a state holds on
		if last["stage.kind"] != "hold" || last["stage.name"] != `deep, "cold"` || last["stage.depth_m"] != 30.0 || last["valve.vent.open"] != false || last["setpoint.pressure_abs_pa"] != 131084.35 {
			t.Errorf("%s: %v", name, last)
		}
		if rows[3]["valve.vent.open"] != true || rows[3]["stage.kind"] != nil {
			t.Errorf("%s: %v", name, rows[3])
		}
	}
	if !reflect.DeepEqual(tables["CSV"], tables["Parquet"]) {
		t.Error("CSV and Parquet hold different tables")
	}
}

func TestGroupsOfRowsOfParquetJoin(t *testing.T) {
	columns := []Column{{"n", Count}, {"odd", Truth}, {"text", Text}, {"empty", Number}}
	var b bytes.Buffer
	sink, err := Parquet(&b, columns)
	if err != nil {
		t.Fatal(err)
	}
	const n = 2*groupRows + 13
	for i := range n {
		if err := sink.Row([]Cell{count(int64(i)), truth(i%2 == 1), text(strings.Repeat("x", i%3)), {}}); err != nil {
			t.Fatal(err)
		}
	}
	if err := sink.Close(); err != nil {
		t.Fatal(err)
	}
	rows := fromParquet(t, b.Bytes(), columns)
	if len(rows) != n {
		t.Fatalf("%d rows, want %d", len(rows), n)
	}
	for i, r := range rows {
		words, _ := r["text"].(string)
		if r["n"] != int64(i) || r["odd"] != (i%2 == 1) || len(words) != i%3 || r["empty"] != nil {
			t.Fatalf("row %d: %v", i, r)
		}
	}
	if b.String()[:4] != "PAR1" || !bytes.HasSuffix(b.Bytes(), []byte("PAR1")) {
		t.Error("no Parquet by its magic")
	}
}

func TestLineProtocolInAnotherUnitReadsBackAtItsTimes(t *testing.T) {
	data := recorded(t, 100)
	want := lines(t, data)
	for unit, per := range Units {
		var b bytes.Buffer
		n, problems, err := LineProtocol(bytes.NewReader(data), &b, unit)
		if err != nil || problems > 0 || int(n) != len(want) {
			t.Fatalf("%s: %d lines, %d problems, %v", unit, n, problems, err)
		}
		got := lines(t, b.Bytes())
		for i := range got {
			w := want[i]
			w.Number, w.TimeNS = got[i].Number, w.TimeNS/per*per
			if a, b := fmt.Sprintf("%+v", got[i]), fmt.Sprintf("%+v", w); a != b {
				t.Fatalf("%s:\ngot  %s\nwant %s", unit, a, b)
			}
		}
	}
	odd := "# by another tool\nsonar,at=pier range=3.5 1773476102000000000\r\n\nroom  pressure_pa=1 1773476103000000000  \nbroken\nnote text=\"a\" 1773476104999999999"
	var b bytes.Buffer
	n, problems, err := LineProtocol(strings.NewReader(odd), &b, "s")
	wantText := "sonar,at=pier range=3.5 1773476102\nnote text=\"a\" 1773476104\n"
	if strings.Contains(b.String(), "room") {
		wantText = "sonar,at=pier range=3.5 1773476102\nroom  pressure_pa=1 1773476103\nnote text=\"a\" 1773476104\n"
	}
	if err != nil || problems == 0 || b.String() != wantText {
		t.Errorf("%d lines, %d problems, %v:\n%s", n, problems, err, b.String())
	}
	if _, _, err := LineProtocol(strings.NewReader(odd), &b, "min"); err == nil {
		t.Error("minutes were taken")
	}
}

func TestTheColumnsOfALongTableStandInTheirPlaces(t *testing.T) {
	var names []string
	for _, c := range LongColumns {
		names = append(names, c.Name)
	}
	if !slices.Equal(names[:3], []string{"line", "time_utc", "elapsed_s"}) || len(names) != 11 {
		t.Error(names)
	}
}
