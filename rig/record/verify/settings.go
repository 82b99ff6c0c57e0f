package verify

import (
	"maps"
	"math"
	"slices"
	"strings"

	"proofpot/profiles"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

// settings compares run.toml with what the readings say: the sensors, the
// stages, the pressures.
type settings struct {
	rep    *Report
	run    setup.Run
	column *profiles.Column
	listed map[string]bool
	seen   map[string]int64 // sensor: first line
	silent map[string]bool  // listed, and only faults were seen of it
	over   int              // readings in a row above the rating
	said   map[string]bool
}

func newSettings(rep *Report, run setup.Run) *settings {
	s := &settings{rep: rep, run: run, listed: map[string]bool{}, seen: map[string]int64{}, silent: map[string]bool{}, said: map[string]bool{}}
	for _, x := range run.Bench.Sensors {
		s.listed[x.ID] = true
	}
	if c, err := profiles.NewColumn(run.Profile.Water); err == nil {
		s.column = &c
	}
	return s
}

const (
	maxSensors = 1000
	// overReadings above the rating by more than overShare are no spike.
	overReadings = 3
	overShare    = 1.02
	// depthApart: a stage's depth is the profile's, m. targetShare and targetPa:
	// another convention of depth, and rounding, may lie between the two.
	depthApart  = 0.05
	targetShare = 0.02
	targetPa    = 2e3
)

// once says whether something has not been said yet.
func (s *settings) once(what string) bool {
	if s.said[what] || len(s.said) > maxSensors {
		return false
	}
	s.said[what] = true
	return true
}

func (s *settings) line(l *record.Line) {
	switch l.Measurement {
	case record.Chamber, record.UnitInside, record.Probe, record.Room, record.Switch:
		if _, ok := s.seen[l.Sensor]; !ok && len(s.seen) < maxSensors {
			s.seen[strings.Clone(l.Sensor)] = int64(l.Number)
		}
	case record.Fault:
		if l.Sensor != "" && s.listed[l.Sensor] {
			s.silent[l.Sensor] = true
		}
	case record.Stage:
		s.stage(l)
	}
	if l.Measurement == record.Chamber && !math.IsNaN(l.PressurePa) && s.run.Bench.RatedPa > 0 {
		if l.PressurePa <= overShare*s.run.Bench.RatedPa {
			s.over = 0
		} else if s.over++; s.over == overReadings && s.once("over") {
			s.rep.bad(int64(l.Number), "the chamber reads %.2f bar absolute, and run.toml rates it for %.2f: a wrong rating, a wrong sensor, or a bench at its limit",
				l.PressurePa/1e5, s.run.Bench.RatedPa/1e5)
		}
	}
}

// stage compares the start of a ramp, settle or hold with the profile.
func (s *settings) stage(l *record.Line) {
	if l.Kind == "vent" || len(s.run.Profile.Stages) == 0 {
		return
	}
	if l.Index < 0 || l.Index >= len(s.run.Profile.Stages) {
		if s.once("index") {
			s.rep.bad(int64(l.Number), "stage %d, and run.toml has %d: they are not of one run", l.Index, len(s.run.Profile.Stages))
		}
		return
	}
	st := &s.run.Profile.Stages[l.Index]
	if l.Name != "" && !strings.HasPrefix(l.Name, st.Name) && s.once("name") {
		s.rep.bad(int64(l.Number), "stage %d is %q, and %q in run.toml: they are not of one run", l.Index, l.Name, st.Name)
	}
	if st.Kind != "" && st.Kind != profiles.KindHold || st.Cycles > 1 || len(st.Pauses) > 0 || math.IsNaN(l.DepthM) {
		return // goes to more than one depth
	}
	if math.Abs(l.DepthM-st.DepthM) > depthApart && s.once("depth") {
		s.rep.bad(int64(l.Number), "stage %d (%s) goes to %.2f m, and to %.2f m in run.toml: they are not of one run", l.Index, st.Name, l.DepthM, st.DepthM)
	}
	sealed := s.run.Unit.SealedPa
	if s.column == nil || sealed == 0 || math.IsNaN(l.PressurePa) {
		return
	}
	want := s.column.GaugePa(l.DepthM)
	if got := l.PressurePa - sealed; math.Abs(got-want) > targetShare*want+targetPa && s.once("target") {
		s.rep.bad(int64(l.Number), "stage %d (%s) aims at %.0f Pa above the pressure in the unit, and %.2f m of the water of run.toml are %.0f Pa",
			l.Index, st.Name, got, l.DepthM, want)
	}
}

// end says what was not seen.
func (s *settings) end() {
	if len(s.listed) == 0 || len(s.seen) == 0 {
		return
	}
	any := false
	for _, id := range slices.Sorted(maps.Keys(s.listed)) {
		_, ok := s.seen[id]
		any = any || ok
		switch {
		case ok:
		case s.silent[id]:
			s.rep.remark(0, "sensor %s of run.toml gave faults and no reading", id)
		default:
			s.rep.remark(0, "sensor %s of run.toml never gave a reading", id)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(s.seen)) {
		if !s.listed[id] {
			s.rep.remark(s.seen[id], "sensor %s is not in run.toml", id)
		}
	}
	if !any {
		s.rep.bad(0, "none of the sensors of run.toml is in the readings: they are not of one run")
	}
}
