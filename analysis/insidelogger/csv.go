package insidelogger

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/scale"
)

// Row is one row of a logger. A value that it does not have is NaN.
type Row struct {
	T            float64 // s of the logger's clock: since 1970, or since its start
	PressurePa   float64 // absolute
	TemperatureC float64
	RHPct        float64
}

// columns are the headers that are understood, in small letters, with what they
// measure and the unit.
var columns = []struct {
	names    []string
	quantity sensors.Quantity
	unit     string
}{
	{[]string{"pressure_pa", "p_pa"}, sensors.UnitPressure, "Pa"},
	{[]string{"pressure_hpa", "p_hpa"}, sensors.UnitPressure, "hPa"},
	{[]string{"pressure_mbar", "p_mbar"}, sensors.UnitPressure, "mbar"},
	{[]string{"pressure_kpa", "p_kpa"}, sensors.UnitPressure, "kPa"},
	{[]string{"pressure_bar", "p_bar"}, sensors.UnitPressure, "bar"},
	{[]string{"temperature_c", "t_c"}, sensors.UnitTemperature, "C"},
	{[]string{"temperature_f", "t_f"}, sensors.UnitTemperature, "F"},
	{[]string{"temperature_k", "t_k"}, sensors.UnitTemperature, "K"},
	{[]string{"rh_pct", "humidity_pct", "rh"}, sensors.UnitHumidity, "%"},
}

// Headers lists the headers of columns that are understood.
func Headers() []string {
	all := []string{"time"}
	for _, c := range columns {
		all = append(all, c.names[0])
	}
	return all
}

const maxRows = 5_000_000

// ReadCSV reads a logger's file: a first line that names the columns, time among
// them (RFC 3339, "2006-01-02 15:04:05" taken as UTC, or a number of seconds), and
// a row a reading. Commas or semicolons part the columns; lines that begin with #
// are passed over. Rows must go forward in time. The error is one line that names
// the row.
func ReadCSV(name string, from io.Reader) ([]Row, error) {
	b := bufio.NewReader(from)
	start, _ := b.Peek(4096) // an error shows when it is read
	r := csv.NewReader(b)
	r.Comment, r.TrimLeadingSpace, r.ReuseRecord = '#', true, true
	if strings.Count(string(start), ";") > strings.Count(string(start), ",") {
		r.Comma = ';'
	}
	header, err := r.Read()
	if err != nil {
		return nil, fmt.Errorf("%s: no header line: %w", name, err)
	}
	timeAt := -1
	fields := map[int]scale.Scale{}
	for i, h := range header {
		h = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\ufeff")))
		if h == "time" {
			timeAt = i
			continue
		}
		for _, c := range columns {
			if slices.Contains(c.names, h) {
				f := scale.Scale{From: h, Quantity: c.quantity, Unit: c.unit}
				if c.quantity == sensors.UnitPressure {
					f.Reference = scale.Absolute
				}
				for _, other := range fields {
					if other.Quantity == c.quantity {
						return nil, fmt.Errorf("%s: columns %s and %s measure the same; rename one", name, other.From, h)
					}
				}
				fields[i] = f
			}
		}
	}
	if timeAt < 0 || len(fields) == 0 {
		return nil, fmt.Errorf("%s: the header has %s; it must have time and one of %s", name, strings.Join(header, ", "), strings.Join(Headers()[1:], ", "))
	}
	var rows []Row
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		line, _ := r.FieldPos(0)
		row := Row{PressurePa: math.NaN(), TemperatureC: math.NaN(), RHPct: math.NaN()}
		if row.T, err = parseTime(cells[timeAt]); err != nil {
			return nil, fmt.Errorf("%s:%d: %w", name, line, err)
		}
		if n := len(rows); n > 0 && !(row.T > rows[n-1].T) {
			return nil, fmt.Errorf("%s:%d: time does not go forward; was the clock set while it logged? Cut the file there", name, line)
		}
		for i, f := range fields {
			text := strings.TrimSpace(cells[i])
			if r.Comma == ';' {
				text = strings.Replace(text, ",", ".", 1)
			}
			if text == "" || strings.EqualFold(text, "nan") {
				continue
			}
			x, err := strconv.ParseFloat(text, 64)
			if err != nil {
				return nil, fmt.Errorf("%s:%d: %s is %q, no number", name, line, f.From, text)
			}
			reading := f.Reading("", 0, x, nil)
			if reading.Status != sensors.OK {
				return nil, fmt.Errorf("%s:%d: %s", name, line, reading.Text)
			}
			switch f.Quantity {
			case sensors.UnitPressure:
				row.PressurePa = reading.Value
			case sensors.UnitTemperature:
				row.TemperatureC = reading.Value
			default:
				row.RHPct = reading.Value
			}
		}
		if len(rows) == maxRows {
			return nil, fmt.Errorf("%s: more than %d rows", name, maxRows)
		}
		rows = append(rows, row)
	}
	if len(rows) < 2 {
		return nil, fmt.Errorf("%s: %d rows; a logger's file has more", name, len(rows))
	}
	return rows, nil
}

// parseTime reads a time of the logger's clock, in s.
func parseTime(text string) (float64, error) {
	text = strings.TrimSpace(text)
	if s, err := strconv.ParseFloat(text, 64); err == nil && !math.IsNaN(s) && math.Abs(s) < 1e11 {
		return s, nil
	}
	for _, layout := range []string{time.RFC3339Nano, "2006-01-02 15:04:05.999999999", "2006-01-02T15:04:05.999999999", "2006/01/02 15:04:05"} {
		if t, err := time.Parse(layout, text); err == nil {
			return float64(t.UnixNano()) / 1e9, nil
		}
	}
	return 0, fmt.Errorf("%q is no time; RFC 3339, 2006-01-02 15:04:05 or seconds are", text)
}
