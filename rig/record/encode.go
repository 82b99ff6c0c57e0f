package record

import (
	"fmt"
	"math"
	"time"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"proofpot/sensors"
)

// encoder turns readings and events into lines of readings.lp. A line that
// cannot be written leaves no bytes behind.
type encoder struct {
	lp lineprotocol.Encoder
}

func newEncoder() *encoder {
	e := &encoder{}
	e.lp.SetPrecision(lineprotocol.Nanosecond)
	return e
}

// line adds a line of l; only the fields that l carries are written.
func (e *encoder) line(l *Line) error {
	before := len(e.lp.Bytes())
	e.lp.StartLine(l.Measurement.String())
	e.tag("event", l.Event)
	e.tag("kind", l.Kind)
	e.tag("sensor", l.Sensor)
	e.tag("valve", l.Valve)
	if l.Index >= 0 {
		e.lp.AddField("index", lineprotocol.IntValue(int64(l.Index)))
	}
	e.text("name", l.Name)
	e.float("depth_m", l.DepthM)
	e.float("pressure_pa", l.PressurePa)
	e.float("gas_c", l.GasC)
	e.float("water_c", l.WaterC)
	e.float("wall_c", l.WallC)
	e.float("temperature_c", l.TemperatureC)
	e.float("rh_pct", l.RHPct)
	if l.HasWet {
		e.lp.AddField("wet", lineprotocol.BoolValue(l.Wet))
	}
	e.float("level", l.Level)
	if l.HasOpen {
		e.lp.AddField("open", lineprotocol.BoolValue(l.Open))
	}
	if l.Measurement == Chain {
		e.lp.AddField("lines", lineprotocol.IntValue(l.Lines))
	}
	e.text("sha256", l.SHA256)
	e.text("text", l.Text)
	if l.MonoNS >= 0 {
		e.lp.AddField("mono_ns", lineprotocol.IntValue(l.MonoNS))
	}
	e.lp.EndLine(time.Unix(0, l.TimeNS))
	if err := e.lp.Err(); err != nil {
		kept := e.lp.Bytes()[:before]
		e.lp.ClearErr()
		e.lp.SetBuffer(kept)
		return fmt.Errorf("a %s line cannot be written: %w", l.Measurement, err)
	}
	return nil
}

func (e *encoder) tag(key, value string) {
	if value != "" {
		e.lp.AddTag(key, value)
	}
}

func (e *encoder) text(key, value string) {
	if value != "" {
		if v, ok := lineprotocol.StringValue(value); ok {
			e.lp.AddField(key, v)
		}
	}
}

func (e *encoder) float(key string, value float64) {
	if math.IsNaN(value) {
		return
	}
	if v, ok := lineprotocol.FloatValue(value); ok {
		e.lp.AddField(key, v)
	}
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
