package profiles

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"proofpot/profiles/strict"
)

// KeyError says what is wrong with a value, and at which key of its file.
type KeyError struct {
	Key  string // "water.temperature_c", "stage[1].depth_m"
	Text string
}

// Error gives the text.
func (e *KeyError) Error() string { return e.Text }

// The greatest values that a profile may ask for.
const (
	MaxDepthM  = 1200.0     // m, of a stage
	maxHoldS   = 30 * 86400 // s, of a hold or a settling
	maxRate    = 600.0      // m/min
	maxCycles  = 100000
	maxVacuum  = 50000.0 // Pa below the room: half an atmosphere, beyond which windows and covers are loaded the wrong way (common practice)
	maxWarmerK = 60.0
)

// Check says what is wrong with a profile: a *KeyError, or nil.
func (p Profile) Check() error {
	if strings.TrimSpace(p.Name) == "" {
		return &KeyError{"name", "name is missing: give the profile a name such as \"proof-30m-sea\""}
	}
	if p.Name != strings.TrimSpace(p.Name) || strings.ContainsAny(p.Name, "/\\\n\r\t") {
		return &KeyError{"name", fmt.Sprintf("name is %q; must be one line without slashes, tabs or blanks at its ends", p.Name)}
	}
	if err := p.Water.Check(); err != nil {
		return below("water", err)
	}
	if err := number("proof_factor", p.ProofFactor, 1, 4, "1.25 is usual, 1.5 for plastics and one-offs"); err != nil {
		return err
	}
	if !(p.RampMPerMin > 0 && p.RampMPerMin <= maxRate) {
		return &KeyError{"ramp_m_per_min", fmt.Sprintf("ramp_m_per_min is %g; must be more than 0 and at most %g (10 is usual)", p.RampMPerMin, maxRate)}
	}
	if len(p.Stages) == 0 {
		return &KeyError{"stage", "there is no stage: begin at least one with [[stage]]"}
	}
	names := map[string]bool{}
	deepest := 0.0
	for i, s := range p.Stages {
		at := fmt.Sprintf("stage[%d]", i)
		if err := s.check(deepest); err != nil {
			return below(at, err)
		}
		if names[s.Name] {
			return &KeyError{at + ".name", fmt.Sprintf("two stages are named %q; names must be unique", s.Name)}
		}
		names[s.Name] = true
		deepest = max(deepest, s.DepthM, s.LastDepthM)
	}
	return below("accept", p.Accept.check())
}

// below puts a table before the key of a KeyError.
func below(table string, err error) error {
	e, ok := err.(*KeyError)
	if !ok {
		return err
	}
	return &KeyError{table + "." + e.Key, e.Text}
}

// uses lists, for every kind of stage, the keys that only some kinds have.
var uses = map[string][]string{
	KindHold:         {"depth_m", "settle_s", "settle_max_s", "hold_s", "cycles", "low_depth_m", "low_hold_s", "ramp_m_per_min", "make_up"},
	KindSoak:         {"depth_m", "settle_s", "settle_max_s", "hold_s", "ramp_m_per_min", "make_up"},
	KindReturn:       {"depth_m", "settle_s", "settle_max_s", "hold_s", "ramp_m_per_min"},
	KindCycles:       {"depth_m", "settle_s", "settle_max_s", "hold_s", "cycles", "low_depth_m", "low_hold_s", "ramp_m_per_min"},
	KindSearch:       {"depth_m", "settle_s", "settle_max_s", "hold_s", "ramp_m_per_min", "step_m", "last_depth_m"},
	KindVacuum:       {"settle_s", "settle_max_s", "hold_s", "vacuum_pa"},
	KindConditioning: {"hold_s"},
	KindPlunge:       {"depth_m", "settle_s", "settle_max_s", "hold_s", "ramp_m_per_min", "warmer_k"},
	KindPowered:      {"depth_m", "settle_s", "settle_max_s", "hold_s", "ramp_m_per_min", "warmer_k"},
	KindDepressurise: {"depth_m", "ramp_m_per_min", "pause"},
}

// check says what is wrong with a stage; deepest is the depth of those before it.
func (s Stage) check(deepest float64) error {
	if strings.TrimSpace(s.Name) == "" {
		return &KeyError{"name", "name is missing: give every stage a name of its own"}
	}
	if strings.ContainsAny(s.Name, "\n\r") {
		return &KeyError{"name", "name must be one line"}
	}
	kind := s.Kind
	if kind == "" {
		kind = KindHold
	}
	used, ok := uses[kind]
	if !ok {
		text := fmt.Sprintf("unknown kind %q; ", s.Kind)
		if near, ok := strict.Nearest(s.Kind, StageKinds()); ok {
			text += fmt.Sprintf("did you mean %q? ", near)
		}
		return &KeyError{"kind", text + "there are " + strings.Join(StageKinds(), ", ")}
	}
	for _, v := range []struct {
		key       string
		value     float64
		low, high float64
		hint      string
	}{
		{"depth_m", s.DepthM, 0, MaxDepthM, "metres"},
		{"settle_s", s.SettleS, 0, maxHoldS, "seconds"},
		{"settle_max_s", s.SettleMaxS, 0, maxHoldS, "seconds"},
		{"hold_s", s.HoldS, 0, maxHoldS, "seconds"},
		{"cycles", float64(s.Cycles), 0, maxCycles, "times"},
		{"low_depth_m", s.LowDepthM, 0, MaxDepthM, "metres"},
		{"low_hold_s", s.LowHoldS, 0, maxHoldS, "seconds"},
		{"ramp_m_per_min", s.RampMPerMin, 0, maxRate, "metres a minute"},
		{"step_m", s.StepM, 0, MaxDepthM, "metres"},
		{"last_depth_m", s.LastDepthM, 0, MaxDepthM, "metres"},
		{"vacuum_pa", s.VacuumPa, 0, maxVacuum, "Pa below the room"},
		{"warmer_k", s.WarmerK, 0, maxWarmerK, "kelvin"},
		{"pause", float64(len(s.Pauses)), 0, 100, "pauses"},
		{"make_up", map[bool]float64{true: 1}[s.MakeUp], 0, 1, "true or false"},
	} {
		if v.value != 0 && !slices.Contains(used, v.key) {
			return &KeyError{v.key, fmt.Sprintf("%s is given, and a stage of kind %q has none; it has %s", v.key, kind, strings.Join(used, ", "))}
		}
		if err := number(v.key, v.value, v.low, v.high, v.hint); err != nil {
			return err
		}
	}
	return s.checkKind(kind, deepest)
}

// checkKind says what a kind of stage lacks.
func (s Stage) checkKind(kind string, deepest float64) error {
	needs := func(key string, value float64) error {
		if value > 0 {
			return nil
		}
		return &KeyError{key, fmt.Sprintf("%s must be more than 0 in a stage of kind %q", key, kind)}
	}
	pressed := slices.Contains(uses[kind], "depth_m") && kind != KindDepressurise
	if pressed {
		if err := needs("depth_m", s.DepthM); err != nil {
			return err
		}
	}
	switch {
	case kind != KindDepressurise && kind != KindCycles && !(s.HoldS > 0):
		return needs("hold_s", s.HoldS)
	case s.SettleMaxS > 0 && s.SettleMaxS < s.SettleS:
		return &KeyError{"settle_max_s", fmt.Sprintf("settle_max_s is %g, less than settle_s %g; it is the ceiling, settle_s the floor", s.SettleMaxS, s.SettleS)}
	case s.LowDepthM > 0 && s.LowDepthM >= s.DepthM:
		return &KeyError{"low_depth_m", fmt.Sprintf("low_depth_m is %g, not shallower than depth_m %g", s.LowDepthM, s.DepthM)}
	case kind == KindCycles && s.Cycles < 2:
		return &KeyError{"cycles", fmt.Sprintf("cycles is %d; must be 2 or more in a stage of kind %q", s.Cycles, kind)}
	case kind == KindReturn && s.DepthM >= deepest:
		return &KeyError{"depth_m", fmt.Sprintf("depth_m is %g, and no stage before it is deeper; a return is a shallow hold after a deep one", s.DepthM)}
	case kind == KindSearch && !(s.StepM > 0):
		return needs("step_m", s.StepM)
	case kind == KindSearch && s.LastDepthM != 0 && s.LastDepthM < s.DepthM:
		return &KeyError{"last_depth_m", fmt.Sprintf("last_depth_m is %g, shallower than depth_m %g where the search begins", s.LastDepthM, s.DepthM)}
	case kind == KindVacuum && !(s.VacuumPa > 0):
		return needs("vacuum_pa", s.VacuumPa)
	case (kind == KindPlunge || kind == KindPowered) && !(s.WarmerK > 0):
		return needs("warmer_k", s.WarmerK)
	}
	above := math.Inf(1)
	for i, p := range s.Pauses {
		key := fmt.Sprintf("pause[%d].", i)
		if !(p.DepthM > s.DepthM && p.DepthM < above) {
			return &KeyError{key + "depth_m", fmt.Sprintf("pause at %g m; pauses go from deep to shallow and lie below depth_m %g", p.DepthM, s.DepthM)}
		}
		above = p.DepthM
		if !(p.HoldS > 0 && p.HoldS <= maxHoldS) {
			return &KeyError{key + "hold_s", fmt.Sprintf("hold_s is %g; must be more than 0 and at most %d seconds", p.HoldS, maxHoldS)}
		}
	}
	return nil
}

func (a Accept) check() error {
	for _, v := range []struct {
		key   string
		value float64
		high  float64
		unit  string
	}{
		{"leak_ml_per_h", a.LeakMLPerH, 1e5, "ml/h"},
		{"moisture_mg_per_h", a.MoistureMGPerH, 1e6, "mg/h"},
		{"inside_rise_pa", a.InsideRisePa, 1e6, "Pa"},
		{"dive_min", a.DiveMin, 60 * 24 * 30, "minutes"},
		{"leak_ml_per_dive", a.LeakMLPerDive, 1e5, "ml"},
		{"leak_drops_per_dive", a.LeakDropsPerDive, 1e6, "drops"},
		{"moisture_mg_per_dive", a.MoistureMGPerDive, 1e6, "mg"},
		{"fog_dives", a.FogDives, 1e5, "dives"},
		{"fog_water_c", a.FogWaterC, 40, "°C"},
	} {
		if err := number(v.key, v.value, 0, v.high, v.unit); err != nil {
			return err
		}
	}
	perDive := a.LeakMLPerDive > 0 || a.LeakDropsPerDive > 0 || a.MoistureMGPerDive > 0 || a.FogDives > 0
	switch {
	case a.FogWaterC > 0 && a.FogDives == 0:
		return &KeyError{"fog_dives", "fog_dives is missing: fog_water_c is the water in which the inside must not fog before so many dives"}
	case perDive && !(a.DiveMin > 0):
		return &KeyError{"dive_min", "dive_min is missing: a limit by the dive needs the minutes of a dive"}
	case a.LeakMLPerDive > 0 && a.LeakDropsPerDive > 0 && !close(a.LeakMLPerDive, a.LeakDropsPerDive*DropML):
		return &KeyError{"leak_drops_per_dive", fmt.Sprintf("leak_drops_per_dive is %g, which are %g ml, and leak_ml_per_dive is %g; give one of them", a.LeakDropsPerDive, a.LeakDropsPerDive*DropML, a.LeakMLPerDive)}
	}
	byDive := a.byHour()
	switch {
	case a.LeakMLPerH > 0 && byDive.LeakMLPerH > 0 && !close(a.LeakMLPerH, byDive.LeakMLPerH):
		return &KeyError{"leak_ml_per_h", fmt.Sprintf("leak_ml_per_h is %g, and the limit by the dive makes %.4g ml/h; give one of them", a.LeakMLPerH, byDive.LeakMLPerH)}
	case a.MoistureMGPerH > 0 && byDive.MoistureMGPerH > 0 && !close(a.MoistureMGPerH, byDive.MoistureMGPerH):
		return &KeyError{"moisture_mg_per_h", fmt.Sprintf("moisture_mg_per_h is %g, and the limit by the dive makes %.4g mg/h; give one of them", a.MoistureMGPerH, byDive.MoistureMGPerH)}
	case a.LeakMLPerH == 0 && a.MoistureMGPerH == 0 && a.InsideRisePa == 0 && !perDive:
		return &KeyError{"leak_ml_per_h", "there is no limit of acceptance: give at least one of leak_ml_per_h, moisture_mg_per_h, inside_rise_pa, or one by the dive"}
	}
	return nil
}

// byHour gives the limits by the dive as limits by the hour.
func (a Accept) byHour() Accept {
	if !(a.DiveMin > 0) {
		return Accept{}
	}
	ml := a.LeakMLPerDive
	if ml == 0 {
		ml = a.LeakDropsPerDive * DropML
	}
	return Accept{LeakMLPerH: ml * 60 / a.DiveMin, MoistureMGPerH: a.MoistureMGPerDive * 60 / a.DiveMin}
}

// close tells whether two limits are the same to the digits a person writes.
func close(a, b float64) bool { return math.Abs(a-b) <= 1e-3*math.Max(a, b) }

func number(key string, v, low, high float64, hint string) error {
	if v >= low && v <= high {
		return nil
	}
	return &KeyError{key, fmt.Sprintf("%s is %g; must be %g to %s (%s)", key, v, low, strconv.FormatFloat(high, 'f', -1, 64), hint)}
}
