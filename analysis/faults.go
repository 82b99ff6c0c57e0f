package analysis

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"proofpot/rig/record"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// A fault of a sensor that the verdict goes by is a doubt. Two kinds are told
// apart. Where a sensor gives no value, what is missing is missing, and the share
// of a hold that may be without readings is judged elsewhere (mayMiss); but a
// value beyond the sensor's range, and a supply that was off, say that there was
// something to see, or that what came before and after cannot be trusted either.
// Where a sensor goes on giving values that are not to be believed, they look
// like any others, from before it was noticed until it is over.

// noticedLate is how long a sensor may have given such values before that was
// noticed: the longest window of sensors/health.
const noticedLate = 60.0 // s

// trouble is one fault of a sensor, s.
type trouble struct {
	sensor, kind, text string
	start, end         float64
}

func misleading(kind string) bool {
	switch s, _ := sensors.StatusNamed(kind); s {
	case sensors.Stuck, sensors.Saturated, sensors.Jumping, sensors.Disagrees:
		return true
	}
	return false
}

func blind(kind string) bool {
	s, _ := sensors.StatusNamed(kind)
	return s == sensors.OutOfRange || s == sensors.SupplyOff
}

// fault takes in a fault line.
func (x *table) fault(t float64, l *record.Line) {
	x.faults++
	who := l.Sensor
	if who == "" {
		who = l.Valve
	}
	x.event(t, "fault", fmt.Sprintf("%s: %s %s", who, l.Kind, l.Text))
	if l.Sensor == "" {
		return
	}
	if _, known := x.blindAt[l.Sensor]; !known && len(x.blindAt) < maxSensors {
		x.blindAt[l.Sensor] = t
	}
	if len(x.troubles) >= maxSpans {
		return
	}
	switch {
	case misleading(l.Kind):
		x.troubles = append(x.troubles, trouble{l.Sensor, l.Kind, l.Text, t - noticedLate, math.Inf(1)})
	case blind(l.Kind):
		x.troubles = append(x.troubles, trouble{l.Sensor, l.Kind, l.Text, t, t})
	}
}

// maxSensors bounds what a hostile record can make the table hold.
const maxSensors = 256

// over takes in a note that says that a sensor has come to itself, as
// sensors/health writes it.
func (x *table) over(t float64, note string) {
	if !strings.Contains(note, ": no longer ") {
		return
	}
	for i := range x.troubles {
		f := &x.troubles[i]
		if math.IsInf(f.end, 1) && strings.Contains(note, fmt.Sprintf("of sensor %s: no longer %s,", f.sensor, f.kind)) {
			f.end = t
		}
	}
}

// leansOn says whether the verdict goes by what a sensor measures. A second
// sensor of the chamber only says whether the first can be right.
func (a *analysis) leansOn(id, kind string) bool {
	first := len(a.x.chambers) > 0 && a.x.chambers[0].sensor == id
	if first {
		return true
	}
	i := slices.IndexFunc(a.run.Bench.Sensors, func(s setup.Sensor) bool { return s.ID == id })
	if i < 0 {
		return false
	}
	s := a.run.Bench.Sensors[i]
	measures := []string{s.Measures}
	for _, f := range s.Fields {
		measures = append(measures, f.Measures)
	}
	return slices.ContainsFunc(measures, func(word string) bool {
		q, known := sensors.QuantityNamed(word)
		switch {
		case !known:
			return false
		case q == sensors.ChamberPressure:
			return kind == sensors.Disagrees.String()
		}
		switch q {
		case sensors.ChamberGas, sensors.ChamberWater, sensors.ChamberWall, sensors.UnitPressure, sensors.UnitTemperature, sensors.UnitHumidity:
			return true
		}
		return false
	})
}

// faultsIn are the doubts about a stage that faults of sensors leave: while it
// settled and held, and for a value beyond the range in its ramp too.
func (a *analysis) faultsIn(st *stage) []string {
	var list []string
	said := map[string]bool{}
	d := st.dwell()
	for i := range a.x.troubles {
		f := &a.x.troubles[i]
		from := d.start
		if f.kind == sensors.OutOfRange.String() && st.ramp.real() {
			from = st.ramp.start
		}
		if key := f.sensor + f.kind; f.end >= from && f.start <= d.end && !said[key] && a.leansOn(f.sensor, f.kind) {
			said[key] = true
			list = append(list, fmt.Sprintf("sensor %s was not to be believed (%s): %s", f.sensor, f.kind, f.text))
		}
	}
	lo, hi := between(a.s.split, d.start, d.end)
	if n := hi - lo; n >= splitLeast && !slices.ContainsFunc(list, func(s string) bool { return strings.Contains(s, "("+sensors.Disagrees.String()+")") }) {
		list = append(list, fmt.Sprintf("the two transducers disagreed in %d readings: one of them is wrong", n))
	}
	return list
}

// splitLeast readings in a stage make a disagreement.
const splitLeast = 3

// blindProbes are the doubts about wet probes that fell silent before the vent and
// did not speak again: water that had come in would not have been seen. One that
// is dry later was dry.
func (a *analysis) blindProbes() []string {
	var list []string
	for _, s := range a.run.Bench.Sensors {
		probe := s.Measures == sensors.ProbeWet.String()
		for _, f := range s.Fields {
			probe = probe || f.Measures == sensors.ProbeWet.String()
		}
		if at, faulty := a.x.blindAt[s.ID]; probe && faulty && at <= a.stopS() {
			list = append(list, fmt.Sprintf("wet probe %s could not be read at the end: water would not have been seen", s.ID))
		}
	}
	return list
}
