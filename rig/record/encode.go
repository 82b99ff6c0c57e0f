package record

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"proofpot/sensors"
)

// encoder turns readings and events into lines of readings.lp. A line that
// cannot be written leaves no bytes behind. Names and texts of plain characters
// are written here, with numbers as an editor shows them; what needs escaping
// goes through the line-protocol library, which the tests compare both with.
type encoder struct {
	buf []byte
	lp  lineprotocol.Encoder
}

func newEncoder() *encoder {
	e := &encoder{}
	e.lp.SetPrecision(lineprotocol.Nanosecond)
	return e
}

// line adds a line of l; only the fields that l carries are written.
func (e *encoder) line(l *Line) error {
	for _, f := range l.floats() {
		if math.IsInf(*f, 0) {
			return fmt.Errorf("a %s line cannot be written: a value is infinite", l.Measurement)
		}
	}
	if !l.plain() {
		return e.escaped(l)
	}
	b := append(e.buf, measurementNames[l.Measurement]...)
	b = appendTag(b, ",event=", l.Event)
	b = appendTag(b, ",kind=", l.Kind)
	b = appendTag(b, ",sensor=", l.Sensor)
	b = appendTag(b, ",valve=", l.Valve)
	head := len(b)
	if l.Index >= 0 {
		b = append(strconv.AppendInt(append(b, ",index="...), int64(l.Index), 10), 'i')
	}
	b = appendText(b, ",name=\"", l.Name)
	b = appendFloat(b, ",depth_m=", l.DepthM)
	b = appendFloat(b, ",pressure_pa=", l.PressurePa)
	b = appendFloat(b, ",gas_c=", l.GasC)
	b = appendFloat(b, ",water_c=", l.WaterC)
	b = appendFloat(b, ",wall_c=", l.WallC)
	b = appendFloat(b, ",temperature_c=", l.TemperatureC)
	b = appendFloat(b, ",rh_pct=", l.RHPct)
	if l.HasWet {
		b = strconv.AppendBool(append(b, ",wet="...), l.Wet)
	}
	b = appendFloat(b, ",level=", l.Level)
	b = appendFloat(b, ",raw=", l.Raw)
	if l.HasOpen {
		b = strconv.AppendBool(append(b, ",open="...), l.Open)
	}
	if l.Measurement == Chain {
		b = append(strconv.AppendInt(append(b, ",lines="...), l.Lines, 10), 'i')
	}
	b = appendText(b, ",sha256=\"", l.SHA256)
	b = appendText(b, ",text=\"", l.Text)
	if l.MonoNS >= 0 {
		b = append(strconv.AppendInt(append(b, ",mono_ns="...), l.MonoNS, 10), 'i')
	}
	if len(b) == head {
		return fmt.Errorf("a %s line cannot be written: it has no value", l.Measurement)
	}
	b[head] = ' '
	b = append(b, ' ')
	b = strconv.AppendInt(b, l.TimeNS, 10)
	e.buf = append(b, '\n')
	return nil
}

// floats are the numbers of a line.
func (l *Line) floats() [9]*float64 {
	return [9]*float64{&l.DepthM, &l.PressurePa, &l.GasC, &l.WaterC, &l.WallC, &l.TemperatureC, &l.RHPct, &l.Level, &l.Raw}
}

// plain says whether nothing in l needs escaping.
func (l *Line) plain() bool {
	for _, s := range [4]string{l.Event, l.Kind, l.Sensor, l.Valve} {
		for i := range len(s) {
			if !plainByte[s[i]] {
				return false
			}
		}
	}
	for _, s := range [3]string{l.Name, l.Text, l.SHA256} {
		for i := range len(s) {
			if c := s[i]; c < ' ' || c > '~' || c == '"' || c == '\\' {
				return false
			}
		}
	}
	return true
}

func appendTag(b []byte, key, value string) []byte {
	if value == "" {
		return b
	}
	return append(append(b, key...), value...)
}

func appendText(b []byte, key, value string) []byte {
	if value == "" {
		return b
	}
	return append(append(append(b, key...), value...), '"')
}

func appendFloat(b []byte, key string, v float64) []byte {
	if math.IsNaN(v) {
		return b
	}
	format := byte('f')
	if a := math.Abs(v); a != 0 && (a < 1e-9 || a >= 1e15) {
		format = 'g'
	}
	return strconv.AppendFloat(append(b, key...), v, format, -1, 64)
}

// escaped writes a line through the library.
func (e *encoder) escaped(l *Line) error {
	lp := &e.lp
	lp.SetBuffer(nil)
	lp.StartLine(l.Measurement.String())
	for _, t := range [...][2]string{{"event", l.Event}, {"kind", l.Kind}, {"sensor", l.Sensor}, {"valve", l.Valve}} {
		if t[1] != "" {
			lp.AddTag(t[0], t[1])
		}
	}
	number := func(key string, v float64) {
		if f, ok := lineprotocol.FloatValue(v); ok { // NaN is absent
			lp.AddField(key, f)
		}
	}
	text := func(key, s string) {
		if v, ok := lineprotocol.StringValue(s); ok && s != "" {
			lp.AddField(key, v)
		} else if s != "" {
			v, _ := lineprotocol.StringValue(strings.ToValidUTF8(s, "\uFFFD"))
			lp.AddField(key, v)
		}
	}
	if l.Index >= 0 {
		lp.AddField("index", lineprotocol.IntValue(int64(l.Index)))
	}
	text("name", l.Name)
	for i, key := range [...]string{"depth_m", "pressure_pa", "gas_c", "water_c", "wall_c", "temperature_c", "rh_pct"} {
		number(key, *l.floats()[i])
	}
	if l.HasWet {
		lp.AddField("wet", lineprotocol.BoolValue(l.Wet))
	}
	number("level", l.Level)
	number("raw", l.Raw)
	if l.HasOpen {
		lp.AddField("open", lineprotocol.BoolValue(l.Open))
	}
	if l.Measurement == Chain {
		lp.AddField("lines", lineprotocol.IntValue(l.Lines))
	}
	text("sha256", l.SHA256)
	text("text", l.Text)
	if l.MonoNS >= 0 {
		lp.AddField("mono_ns", lineprotocol.IntValue(l.MonoNS))
	}
	lp.EndLine(time.Unix(0, l.TimeNS))
	if err := lp.Err(); err != nil {
		lp.ClearErr()
		return fmt.Errorf("a %s line cannot be written: %w", l.Measurement, err)
	}
	e.buf = append(e.buf, lp.Bytes()...)
	return nil
}

// place says where a quantity stands in the file.
func place(q sensors.Quantity) Measurement {
	switch q {
	case sensors.ChamberPressure, sensors.ChamberGas, sensors.ChamberWater, sensors.ChamberWall:
		return Chamber
	case sensors.UnitPressure, sensors.UnitTemperature, sensors.UnitHumidity:
		return UnitInside
	case sensors.ProbeWet, sensors.ProbeLevel:
		return Probe
	case sensors.RoomPressure, sensors.RoomTemperature, sensors.RoomHumidity:
		return Room
	case sensors.LidOpen, sensors.StopOpen, sensors.FloatOpen:
		return Switch
	}
	return Other
}

// switchKinds are the words of the kind tag of a switch line.
var switchKinds = map[sensors.Quantity]string{
	sensors.LidOpen: "lid", sensors.StopOpen: "stop", sensors.FloatOpen: "float",
}

// SwitchQuantity finds what a switch line of a kind measures.
func SwitchQuantity(kind string) (sensors.Quantity, bool) {
	for q, k := range switchKinds {
		if k == kind {
			return q, true
		}
	}
	return 0, false
}

// put sets the field of l that holds reading r.
func put(l *Line, r *sensors.Reading) {
	if r.HasRaw {
		l.Raw = r.Raw
	}
	switch r.Quantity {
	case sensors.ChamberPressure, sensors.UnitPressure, sensors.RoomPressure:
		l.PressurePa = r.Value
	case sensors.ChamberGas:
		l.GasC = r.Value
	case sensors.ChamberWater:
		l.WaterC = r.Value
	case sensors.ChamberWall:
		l.WallC = r.Value
	case sensors.UnitTemperature, sensors.RoomTemperature:
		l.TemperatureC = r.Value
	case sensors.UnitHumidity, sensors.RoomHumidity:
		l.RHPct = r.Value
	case sensors.ProbeWet:
		l.Wet, l.HasWet = r.Value != 0, true
	case sensors.ProbeLevel:
		l.Level = r.Value
	case sensors.LidOpen, sensors.StopOpen, sensors.FloatOpen:
		l.Kind = switchKinds[r.Quantity]
		l.Open, l.HasOpen = r.Value != 0, true
	}
}
