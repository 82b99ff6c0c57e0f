package setup

import (
	"fmt"
	"strings"
	"time"

	"proofpot/profiles/strict"

	"proofpot/sensors/scale"
)

// What a person may write. Volumes: from a thimble to a cubic metre. A room
// where people work, and where units are closed, has 50 to 110 kPa (some 5,500 m
// up to a strong high); a unit may be closed with a partial vacuum or a little
// over-pressure.
const (
	maxVolumeML    = 1e6   // ml
	minRoomPa      = 50e3  // Pa absolute
	maxRoomPa      = 110e3 // Pa absolute
	minSealedPa    = 10e3  // Pa absolute
	maxSealedPa    = 200e3 // Pa absolute
	maxRatedPa     = 100e6 // Pa absolute
	maxIDLength    = 40
	maxLidMM       = 3000
	maxStiffness   = 1e4 // ml/bar
	maxBlankMLPerH = 1e4 // ml/h per bar
	minClosedC     = -40 // °C
	maxClosedC     = 80  // °C
	maxErrorPa     = 1e6 // Pa
	minPeriodMS    = 20
	maxPeriodMS    = 1000
)

func wrong(key, format string, args ...any) error {
	return &KeyError{Key: key, Text: fmt.Sprintf(format, args...)}
}

// Check says what is wrong with a unit: a *KeyError, or nil.
func (u Unit) Check() error {
	if err := checkID("id", u.ID, "KP-01"); err != nil {
		return err
	}
	if !(u.FreeVolumeML > 0 && u.FreeVolumeML <= maxVolumeML) {
		return wrong("free_volume_ml", "%g is not the air inside a unit; must be above 0 and at most %g ml", u.FreeVolumeML, maxVolumeML)
	}
	if u.OuterVolumeML != 0 && !(u.OuterVolumeML > u.FreeVolumeML && u.OuterVolumeML <= maxVolumeML) {
		return wrong("outer_volume_ml", "%g must be above free_volume_ml (%g), which lies inside it, and at most %g ml",
			u.OuterVolumeML, u.FreeVolumeML, maxVolumeML)
	}
	if u.SealedPa != 0 && !within(u.SealedPa, minSealedPa, maxSealedPa) {
		return wrong("sealed_pa", "%g is no pressure to close a unit at; %g to %g Pa absolute is (a day's air has some 100000)",
			u.SealedPa, minSealedPa, maxSealedPa)
	}
	if !within(u.SealedRHPct, 0, 100) {
		return wrong("sealed_rh_pct", "%g is no humidity; 0 to 100 %% is", u.SealedRHPct)
	}
	if !within(u.SealedC, minClosedC, maxClosedC) {
		return wrong("sealed_c", "%g is no temperature to close a unit at; %d to %d °C is", u.SealedC, minClosedC, maxClosedC)
	}
	if _, err := time.Parse(time.DateOnly, u.ClosedOn); u.ClosedOn != "" && err != nil {
		return wrong("closed_on", "%q is no date; write it as 2026-03-14", u.ClosedOn)
	}
	if u.Cells != "" {
		return checkWord("cells", u.Cells, []string{CellsInside, CellsDummy, CellsNone})
	}
	return nil
}

// makeAbsolute turns ratings stamped as gauge into absolute ones.
func (b *Bench) makeAbsolute() error {
	room := b.RoomPa
	if room == 0 {
		room = scale.StandardAtmospherePa
	}
	for _, r := range []struct {
		name     string
		absolute *float64
		gauge    *float64
		what     string
	}{
		{"rated", &b.RatedPa, &b.RatedBarGauge, "what the chamber is rated for"},
		{"relief", &b.ReliefPa, &b.ReliefBarGauge, "what the relief valve is set to"},
	} {
		pa, bar := r.name+"_pa", r.name+"_bar_gauge"
		switch {
		case *r.absolute != 0 && *r.gauge != 0:
			return wrong(bar, "%s is given already; give one of the two", pa)
		case *r.absolute == 0 && *r.gauge == 0:
			return wrong(bar, "nothing says %s; give %s, or %s (absolute)", r.what, bar, pa)
		case *r.gauge != 0:
			if !(*r.gauge > 0 && *r.gauge <= maxRatedPa/1e5) {
				return wrong(bar, "%g must be above 0 and at most %g bar gauge", *r.gauge, maxRatedPa/1e5)
			}
			*r.absolute, *r.gauge = *r.gauge*1e5+room, 0
		}
	}
	return nil
}

// Check says what is wrong with a bench whose pressures are absolute: a
// *KeyError, or nil.
func (b Bench) Check() error {
	if err := checkID("id", b.ID, "pot-1"); err != nil {
		return err
	}
	if err := checkWord("medium", b.Medium, []string{MediumWater, MediumGas}); err != nil {
		return err
	}
	if err := checkWord("supply", b.Supply, []string{SupplyGas, SupplyWater}); err != nil {
		return err
	}
	if b.Medium == MediumGas && b.Supply == SupplyWater {
		return wrong("supply", "water cannot be pumped into a chamber whose medium is gas; give medium = \"water\" with a gas cushion")
	}
	if err := b.checkVolumes(); err != nil {
		return err
	}
	if err := b.checkPressures(); err != nil {
		return err
	}
	if err := b.checkActuators(); err != nil {
		return err
	}
	if b.PeriodMS != 0 && !within(b.PeriodMS, minPeriodMS, maxPeriodMS) {
		return wrong("period_ms", "%g must be %d to %d ms; left out it is 500", b.PeriodMS, minPeriodMS, maxPeriodMS)
	}
	if err := b.checkNotices(); err != nil {
		return err
	}
	return b.checkSensors()
}

func (b *Bench) checkVolumes() error {
	if !(b.ChamberVolumeML > 0 && b.ChamberVolumeML <= maxVolumeML) {
		return wrong("chamber_volume_ml", "%g is no chamber; must be above 0 and at most %g ml", b.ChamberVolumeML, maxVolumeML)
	}
	if !within(b.LidDiameterMM, 0, maxLidMM) {
		return wrong("lid_diameter_mm", "%g is no lid; must be 0 (not known) to %d mm", b.LidDiameterMM, maxLidMM)
	}
	if b.Medium == MediumGas && b.GasCushionML != 0 {
		return wrong("gas_cushion_ml", "a chamber that holds gas alone has no cushion; leave it out")
	}
	if !(b.GasCushionML >= 0 && b.GasCushionML < b.ChamberVolumeML) {
		return wrong("gas_cushion_ml", "%g must be at least 0 and below chamber_volume_ml (%g)", b.GasCushionML, b.ChamberVolumeML)
	}
	for _, v := range []struct {
		key   string
		value float64
		most  float64
		unit  string
	}{
		{"stiffness_ml_per_bar", b.StiffnessMLPerBar, maxStiffness, "ml/bar"},
		{"blank_leak_ml_per_h_per_bar", b.BlankLeakMLPerHPerBar, maxBlankMLPerH, "ml/h per bar"},
		{"blank_leak_sd_ml_per_h_per_bar", b.BlankLeakSDMLPerHPerBar, maxBlankMLPerH, "ml/h per bar"},
	} {
		if !within(v.value, 0, v.most) {
			return wrong(v.key, "%g must be 0 to %g %s", v.value, v.most, v.unit)
		}
	}
	return nil
}

func (b *Bench) checkPressures() error {
	if b.RoomPa != 0 && !within(b.RoomPa, minRoomPa, maxRoomPa) {
		return wrong("room_pa", "%g is no room's pressure; %g to %g Pa absolute is", b.RoomPa, minRoomPa, maxRoomPa)
	}
	room := b.RoomPa
	if room == 0 {
		room = scale.StandardAtmospherePa
	}
	for _, p := range []struct {
		key   string
		value float64
	}{{"rated_pa", b.RatedPa}, {"relief_pa", b.ReliefPa}} {
		if !(p.value > room && p.value <= maxRatedPa) {
			return wrong(p.key, "%g Pa absolute must be above the room's %g and at most %g; a figure in bar gauge goes into %s",
				p.value, room, maxRatedPa, strings.TrimSuffix(p.key, "_pa")+"_bar_gauge")
		}
	}
	if b.ReliefPa > b.RatedPa {
		return wrong("relief_bar_gauge", "the relief valve opens at %.2f bar gauge, above the chamber's rating of %.2f bar gauge; it must open at or below it",
			(b.ReliefPa-room)/1e5, (b.RatedPa-room)/1e5)
	}
	return nil
}

func within(x, low, high float64) bool { return x >= low && x <= high }

// checkID looks at a name that becomes part of folder names and line tags.
func checkID(key, id, example string) error {
	bad := func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("-_.", r))
	}
	switch {
	case id == "":
		return wrong(key, "no name; give one, such as %q", example)
	case len(id) > maxIDLength:
		return wrong(key, "%q is longer than %d characters", id, maxIDLength)
	case strings.ContainsFunc(id, bad) || strings.Trim(id, ".") != id:
		return wrong(key, "%q is no name for folders and lines; use letters a to z, digits, - and _, such as %q", id, example)
	}
	return nil
}

// CheckSensorName says whether a sensor may be called so.
func CheckSensorName(name string) error { return checkID("id", name, "can") }

// checkWord looks for a word in a list and names the nearest one.
func checkWord(key, word string, allowed []string) error {
	for _, a := range allowed {
		if a == word {
			return nil
		}
	}
	text := fmt.Sprintf("%q is none of %s", word, strings.Join(quoted(allowed), ", "))
	if near, ok := strict.Nearest(word, allowed); ok && word != "" {
		text += fmt.Sprintf("; is %q meant?", near)
	}
	return &KeyError{Key: key, Text: text}
}

func quoted(words []string) []string {
	all := make([]string, len(words))
	for i, w := range words {
		all[i] = fmt.Sprintf("%q", w)
	}
	return all
}

// lastKey is the key without the tables that hold it.
func lastKey(key string) string {
	if i := strings.LastIndexByte(key, '.'); i >= 0 {
		key = key[i+1:]
	}
	return key
}
