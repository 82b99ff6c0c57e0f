// Package record writes and reads the record of a run, format 1: a folder with
// run.toml, the settings as used, and readings.lp, line protocol, append-only,
// everything that was read, done or noted. See FORMAT.md in this folder.
package record

import "math"

// Measurement is the kind of a line of readings.lp.
type Measurement uint8

// The measurements of format 1. Other is a line of another writer's that
// format 1 does not know: it is kept in the chain and otherwise passed over.
const (
	Other Measurement = iota
	Chamber
	UnitInside
	Probe
	Room
	Valve
	Setpoint
	Stage
	Fault
	Note
	RunEvent
	Chain
	Switch
	measurements
)

var measurementNames = [measurements]string{
	"", "chamber", "unit", "probe", "room", "valve", "setpoint", "stage", "fault", "note", "run", "chain", "switch",
}

// String gives the measurement's name in the file.
func (m Measurement) String() string { return measurementNames[m] }

// Line is one line of readings.lp. Fields that the line does not carry are NaN,
// empty, or zero with the matching Has bit unset.
type Line struct {
	Number      int   // from 1
	TimeNS      int64 // UTC, ns since 1970
	Measurement Measurement
	Sensor      string // tags
	Valve       string
	Kind        string
	Event       string

	PressurePa   float64 // absolute
	GasC         float64
	WaterC       float64
	WallC        float64
	TemperatureC float64
	RHPct        float64
	Level        float64
	DepthM       float64
	Raw          float64 // what PressurePa was before calibration, Pa absolute

	Wet, HasWet   bool
	Open, HasOpen bool
	Index         int // stage number, −1 where absent
	Name, Text    string
	SHA256        string
	Lines         int64
	MonoNS        int64 // −1 where absent
}

// Clear makes l a line without fields.
func (l *Line) Clear() {
	nan := math.NaN()
	*l = Line{PressurePa: nan, GasC: nan, WaterC: nan, WallC: nan, TemperatureC: nan, RHPct: nan,
		Level: nan, DepthM: nan, Raw: nan, Index: -1, MonoNS: -1}
}
