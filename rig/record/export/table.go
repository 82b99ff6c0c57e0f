package export

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"proofpot/rig/record"
)

// Kind is the kind of a column's cells.
type Kind uint8

// The kinds of cells.
const (
	Number Kind = iota
	Count
	Truth
	Text
	Time // ns since 1970, UTC
)

// Column is one column of a table.
type Column struct {
	Name string
	Kind Kind
}

// Cell is one value; which of its fields counts is its column's kind.
type Cell struct {
	Set    bool
	Number float64
	Count  int64 // Time too; Truth: 0 or 1
	Text   string
}

func number(v float64) Cell { return Cell{Set: !math.IsNaN(v), Number: v} }
func count(v int64) Cell    { return Cell{Set: true, Count: v} }
func text(s string) Cell    { return Cell{Set: s != "", Text: s} }
func truth(b bool) Cell {
	if b {
		return count(1)
	}
	return count(0)
}

// Sink takes the rows of a table.
type Sink interface {
	Row(cells []Cell) error
	Close() error
}

// Lines gives the lines of a record: record.Record is one.
type Lines interface {
	Next(l *record.Line) error
}

// value is one field of a line.
type value struct {
	name string
	kind Kind
	cell Cell
}

// values lists the fields that a line carries, in a fixed order.
func values(l *record.Line, into []value) []value {
	into = into[:0]
	for _, f := range []struct {
		name string
		v    float64
	}{{"pressure_abs_pa", l.PressurePa}, {"gas_c", l.GasC}, {"water_c", l.WaterC}, {"wall_c", l.WallC},
		{"temperature_c", l.TemperatureC}, {"rh_pct", l.RHPct}, {"level", l.Level}, {"depth_m", l.DepthM}} {
		if !math.IsNaN(f.v) {
			into = append(into, value{f.name, Number, number(f.v)})
		}
	}
	if l.HasWet {
		into = append(into, value{"wet", Truth, truth(l.Wet)})
	}
	if l.HasOpen {
		into = append(into, value{"open", Truth, truth(l.Open)})
	}
	if l.Index >= 0 {
		into = append(into, value{"index", Count, count(int64(l.Index))})
	}
	if l.MonoNS >= 0 {
		into = append(into, value{"mono_ns", Count, count(l.MonoNS)})
	}
	if l.Name != "" {
		into = append(into, value{"name", Text, text(l.Name)})
	}
	if l.Text != "" {
		into = append(into, value{"text", Text, text(l.Text)})
	}
	return into
}

// each calls do for every line but chain lines.
func each(src Lines, do func(*record.Line) error) error {
	var l record.Line
	for {
		err := src.Next(&l)
		if err == io.EOF {
			return nil
		}
		if err == nil && l.Measurement != record.Chain {
			err = do(&l)
		}
		if err != nil {
			return err
		}
	}
}

// LongColumns are those of a long table: one row for each value. `quantity` is the
// record's field, with its unit; truths are 0 or 1.
var LongColumns = []Column{{"line", Count}, {"time_utc", Time}, {"elapsed_s", Number}, {"measurement", Text},
	{"sensor", Text}, {"valve", Text}, {"kind", Text}, {"event", Text}, {"quantity", Text}, {"value", Number}, {"text", Text}}

// Long writes a record as a long table.
func Long(src Lines, to Sink) error {
	var vs []value
	var row [11]Cell
	first := int64(math.MinInt64)
	return each(src, func(l *record.Line) error {
		if first == math.MinInt64 {
			first = l.TimeNS
		}
		row[0], row[1], row[2] = count(int64(l.Number)), count(l.TimeNS), number(elapsed(l.TimeNS, first))
		row[3], row[4], row[5], row[6], row[7] = text(l.Measurement.String()), text(l.Sensor), text(l.Valve), text(l.Kind), text(l.Event)
		vs = values(l, vs)
		for _, v := range vs {
			row[8], row[9], row[10] = text(v.name), Cell{}, Cell{}
			switch v.kind {
			case Number:
				row[9] = v.cell
			case Text:
				row[10] = v.cell
			default:
				row[9] = number(float64(v.cell.Count))
			}
			if err := to.Row(row[:]); err != nil {
				return err
			}
		}
		return nil
	})
}

func elapsed(ns, first int64) float64 { return float64(ns-first) / 1e9 }

// Wide is a wide table. What a stage, a setpoint, a valve or a switch says holds
// until the next such line, and stands in every row; what was read stands in
// the row of its moment alone. Faults, notes and events of the run are text in
// `event`. Two values of one sensor at one moment are two rows.
type Wide struct {
	Columns []Column
	at      map[string]int
	state   []bool // the column holds on
}

const (
	timeColumn = iota
	elapsedColumn
	eventColumn
	fixedColumns
)

// mostColumns bounds the memory against a hostile record.
const mostColumns = 4096

// NewWide reads a record for the columns that it needs.
func NewWide(src Lines) (*Wide, error) {
	w := &Wide{at: map[string]int{}}
	kinds := map[string]Kind{}
	var vs []value
	err := each(src, func(l *record.Line) error {
		prefix, ok := column(l)
		if !ok {
			return nil
		}
		vs = values(l, vs)
		for _, v := range vs {
			kinds[prefix+v.name] = v.kind
		}
		if prefix == "stage." {
			kinds["stage.kind"] = Text
		}
		if len(kinds) > mostColumns {
			return fmt.Errorf("more than %d columns: a wide table is of no use here, take a long one", mostColumns)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	names := make([]string, 0, len(kinds))
	for name := range kinds {
		names = append(names, name)
	}
	slices.Sort(names)
	w.Columns = append(w.Columns, Column{"time_utc", Time}, Column{"elapsed_s", Number}, Column{"event", Text})
	for _, name := range names {
		w.at[name] = len(w.Columns)
		w.Columns = append(w.Columns, Column{name, kinds[name]})
	}
	w.state = make([]bool, len(w.Columns))
	for i, c := range w.Columns {
		for _, p := range []string{"stage.", "setpoint.", "valve.", "switch."} {
			w.state[i] = w.state[i] || strings.HasPrefix(c.Name, p)
		}
	}
	return w, nil
}

// column gives the first part of a line's column names; false for what is an event.
func column(l *record.Line) (string, bool) {
	id := l.Sensor
	switch l.Measurement {
	case record.Fault, record.Note, record.RunEvent:
		return "", false
	case record.Valve:
		id = l.Valve
	}
	if id == "" {
		return l.Measurement.String() + ".", true
	}
	return l.Measurement.String() + "." + id + ".", true
}

// event puts a line into words.
func event(l *record.Line) string {
	words := []string{l.Measurement.String()}
	for _, s := range []string{l.Event, l.Sensor, l.Valve, l.Kind} {
		if s != "" {
			words = append(words, s)
		}
	}
	return strings.Join(words, " ") + ": " + l.Text
}

// Write writes the record, read again from its start.
func (w *Wide) Write(src Lines, to Sink) error {
	row := make([]Cell, len(w.Columns))
	var vs []value
	first, at := int64(math.MinInt64), int64(math.MinInt64)
	flush := func() error {
		if at == math.MinInt64 {
			return nil
		}
		row[timeColumn], row[elapsedColumn] = count(at), number(elapsed(at, first))
		err := to.Row(row)
		for i := range row {
			if !w.state[i] {
				row[i] = Cell{}
			}
		}
		return err
	}
	err := each(src, func(l *record.Line) error {
		if first == math.MinInt64 {
			first = l.TimeNS
		}
		prefix, ok := column(l)
		vs = values(l, vs)
		again := l.TimeNS != at
		for _, v := range vs {
			if i, known := w.at[prefix+v.name]; ok && known && row[i].Set && !w.state[i] {
				again = true
			}
		}
		if again {
			if err := flush(); err != nil {
				return err
			}
			at = l.TimeNS
		}
		if !ok {
			said := event(l)
			if row[eventColumn].Set {
				said = row[eventColumn].Text + "; " + said
			}
			row[eventColumn] = text(said)
			return nil
		}
		if prefix == "stage." { // all of it is new
			for i, c := range w.Columns {
				if strings.HasPrefix(c.Name, prefix) {
					row[i] = Cell{}
				}
			}
			row[w.at["stage.kind"]] = text(l.Kind)
		}
		for _, v := range vs {
			i, known := w.at[prefix+v.name]
			if !known {
				return errors.New("the record has grown while it was exported; export it again")
			}
			row[i] = v.cell
		}
		return nil
	})
	if err != nil {
		return err
	}
	return flush()
}
