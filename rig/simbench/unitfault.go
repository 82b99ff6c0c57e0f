package simbench

import (
	"fmt"
	"sort"
	"strings"
	"time"
)

// Modes of a unit's failure, named as in a verdict.
const (
	Seep     = "seep"
	Burst    = "burst"
	Collapse = "collapse"
	Reseal   = "reseal"
	Damp     = "damp"
)

// UnitFault is one way in which the unit fails.
type UnitFault struct {
	Mode   string
	DepthM float64       // m, depth-equivalent at which it begins; reseal: below which it is tight
	OpenPa float64       // Pa, the same as pressure over the sealed pressure; 0: from DepthM
	FlowM3 float64       // m³/s of water at that pressure
	DropM3 float64       // m³: collapse, volume lost; burst, water that breaks in at once
	After  time.Duration // how long the pressure must have stood before it begins
}

// UnitFaultKind describes a mode for help texts.
type UnitFaultKind struct {
	Mode    string
	Example string
	Does    string

	preposition string
	amount      dimension
	what        string
	value       float64 // m³/s, or m³ for collapse, where none is given
	drop        float64 // m³
}

var unitFaultKinds = []UnitFaultKind{
	{Seep, "seep at 24 m, 3 ml/h", "a laminar leak opens at a depth and goes on", "at", flowUnits, "a flow", 3 * mlPerH, 0},
	{Burst, "burst at 18 m, 900 ml/h", "a hole opens suddenly, water breaks in and goes on coming until the void is full", "at", flowUnits, "a flow", 900 * mlPerH, 1.5 * millilitre},
	{Collapse, "collapse at 31 m, 6 ml", "the unit loses volume at once and stays tight", "at", volumeUnits, "a volume", 6 * millilitre, 0},
	{Reseal, "reseal below 3 m, 1 ml/h", "leaks in the shallows, is pressed tight deeper", "below", flowUnits, "a flow", 1 * mlPerH, 0},
	{Damp, "damp at 10 m, 20 ul/h", "a leak so small that only the humidity inside shows it", "at", flowUnits, "a flow", 0.02 * mlPerH, 0},
}

// UnitFaultKinds lists what ParseUnitFault understands.
func UnitFaultKinds() []UnitFaultKind { return append([]UnitFaultKind(nil), unitFaultKinds...) }

// ParseUnitFault reads a fault of the unit: a mode, "at" a depth ("below" for a
// reseal), then, each optional, a comma and how much, and "after" a time at
// that depth: "seep at 24 m, 3 ml/h after 20 min". A depth in m is turned into
// a pressure by Config.GaugePa; "seep at 2.4 bar" gives the pressure itself, as
// the difference across the wall. Errors are of type *ParseError.
func ParseUnitFault(text string) (UnitFault, error) {
	s := scan(text)
	kind := -1
	for i, k := range unitFaultKinds {
		if s.word(k.Mode) {
			kind = i
			break
		}
	}
	if kind < 0 {
		names := make([]string, len(unitFaultKinds))
		for i, k := range unitFaultKinds {
			names[i] = k.Mode
		}
		sort.Strings(names)
		return UnitFault{}, s.wanted(strings.Join(names[:len(names)-1], ", ") + " or " + names[len(names)-1])
	}
	k := unitFaultKinds[kind]
	f := UnitFault{Mode: k.Mode, DropM3: k.drop}
	if !s.word(k.preposition) {
		return UnitFault{}, s.wanted(fmt.Sprintf("%q and a depth", k.preposition))
	}
	depth := s.at
	deep := dimension{depthUnits.example, pressureUnits.most, append(append([]unit(nil), depthUnits.units...), pressureUnits.units...)}
	x, err := s.amount(deep, "a depth")
	if err != nil {
		return UnitFault{}, err
	}
	if s.tokens[depth+1].text == "m" {
		f.DepthM = x
	} else {
		f.OpenPa = x
	}
	if x <= 0 || f.DepthM > depthUnits.most {
		s.at = depth
		return UnitFault{}, s.wanted("a depth above 0 and up to 11000 m")
	}
	value := k.value
	if s.word(",") {
		given := s.at
		if value, err = s.amount(k.amount, k.what); err != nil {
			return UnitFault{}, err
		}
		if value <= 0 {
			s.at = given
			return UnitFault{}, s.wanted(k.what + " above 0, " + k.amount.example + " say")
		}
	}
	if f.Mode == Collapse {
		f.DropM3 = value
	} else {
		f.FlowM3 = value
	}
	if s.word("after") {
		if f.After, err = s.duration("a time"); err != nil {
			return UnitFault{}, err
		}
	}
	if !s.end() {
		return UnitFault{}, s.wanted(`", ` + k.amount.example + `", "after 20 min" or the end`)
	}
	return f, nil
}
