// Package profiles holds what a test claims and how it goes about it: the
// water, its depth and pressure, the stages of a test and the limits of
// acceptance.
package profiles

// Profile is a staged test, as a person writes it in TOML.
type Profile struct {
	Name        string  `toml:"name"`
	Purpose     string  `toml:"purpose,omitempty"` // one line: what the test is for
	Water       Water   `toml:"water"`
	ProofFactor float64 `toml:"proof_factor"`   // proved depth over rated depth, ≥ 1
	RampMPerMin float64 `toml:"ramp_m_per_min"` // m/min, > 0
	Stages      []Stage `toml:"stage"`
	Accept      Accept  `toml:"accept"`
}

// DeepestM gives the depth of the deepest stage, m; 0 where no stage presses.
func (p Profile) DeepestM() float64 {
	deepest := 0.0
	for _, s := range p.Stages {
		deepest = max(deepest, s.DepthM, s.LastDepthM)
	}
	return deepest
}

// RatedM gives the depth that the unit is rated for when every hold passes: that
// of the deepest hold over the proof factor, m. A search is no proof.
func (p Profile) RatedM() float64 {
	deepest := 0.0
	for _, s := range p.Stages {
		if s.Holds() {
			deepest = max(deepest, s.DepthM)
		}
	}
	if p.ProofFactor < 1 {
		return 0
	}
	return deepest / p.ProofFactor
}

// Water says which water a depth is meant in, and what lies above it.
type Water struct {
	Model        string  `toml:"model"`                // see WaterModels
	SalinityGKg  float64 `toml:"salinity_gkg"`         // g/kg absolute salinity (practical salinity for EOS-80); ignored by fresh water
	TemperatureC float64 `toml:"temperature_c"`        // °C, in place
	LatitudeDeg  float64 `toml:"latitude_deg"`         // degrees, north positive
	AltitudeM    float64 `toml:"altitude_m,omitempty"` // m, of the surface: a lake's
	SurfacePa    float64 `toml:"surface_pa,omitempty"` // Pa absolute, barometer at the surface; 0: the standard atmosphere at the altitude
	Layers       []Layer `toml:"layer,omitempty"`      // below the surface, downwards; none: the same water all the way down
}

// Layer is a point of a profile of the water with depth. Between points salinity
// and temperature go in a straight line, below the last they stay.
type Layer struct {
	DepthM       float64 `toml:"depth_m"`       // m, > 0
	SalinityGKg  float64 `toml:"salinity_gkg"`  // as Water
	TemperatureC float64 `toml:"temperature_c"` // °C
}

// The kinds of a stage. A stage without a kind is a hold.
const (
	KindHold         = "hold"         // ramp to a depth, settle, measure
	KindSoak         = "soak"         // a hold of hours
	KindReturn       = "return"       // a shallow hold after a deeper one: seals that re-open
	KindCycles       = "cycles"       // to a depth and back, again and again
	KindSearch       = "search"       // steps down until the unit fails or last_depth_m
	KindVacuum       = "vacuum"       // the inside is drawn below the room: assembly check
	KindConditioning = "conditioning" // rest at room pressure: unit, water and chamber come to one temperature
	KindPlunge       = "plunge"       // a warm unit goes into the water: its air cools and sucks
	KindPowered      = "powered"      // a unit heats its own inside at depth: its air pushes outward
	KindDepressurise = "depressurise" // slowly up, with pauses
)

// StageKinds lists the kinds that Stage.Kind may have.
func StageKinds() []string {
	return []string{KindHold, KindSoak, KindReturn, KindCycles, KindSearch, KindVacuum, KindConditioning, KindPlunge, KindPowered, KindDepressurise}
}

// Stage is a ramp to a depth and the hold there, or another kind of step. Which
// keys a kind uses stands in the README of this folder; the others must be absent.
type Stage struct {
	Name        string  `toml:"name"`
	Kind        string  `toml:"kind,omitempty"`           // see StageKinds
	DepthM      float64 `toml:"depth_m"`                  // m, depth-equivalent
	SettleS     float64 `toml:"settle_s"`                 // s, before the measuring window; its floor, where settle_max_s is given
	SettleMaxS  float64 `toml:"settle_max_s,omitempty"`   // s, ceiling of a settling that ends by rule; 0: ends after settle_s
	HoldS       float64 `toml:"hold_s"`                   // s, the measuring window; 0 only for cycles, whose dwell at depth is settle_s
	Cycles      int     `toml:"cycles"`                   // 0 and 1 both mean once
	LowDepthM   float64 `toml:"low_depth_m,omitempty"`    // m, between two cycles; 0: 1 m
	LowHoldS    float64 `toml:"low_hold_s,omitempty"`     // s, between two cycles
	RampMPerMin float64 `toml:"ramp_m_per_min,omitempty"` // m/min, of this stage; 0: the profile's
	MakeUp      bool    `toml:"make_up,omitempty"`        // the pressure is kept up during the measuring window, on a bench with valves
	StepM       float64 `toml:"step_m,omitempty"`         // m, of a search
	LastDepthM  float64 `toml:"last_depth_m,omitempty"`   // m, where a search ends; 0: at the bench's limit
	VacuumPa    float64 `toml:"vacuum_pa,omitempty"`      // Pa below the room, of a vacuum
	WarmerK     float64 `toml:"warmer_k,omitempty"`       // K that the unit is warmer than the water, of a plunge or under power
	Pauses      []Pause `toml:"pause,omitempty"`          // of a depressurisation, from deep to shallow
}

// Pause is a halt on the way up.
type Pause struct {
	DepthM float64 `toml:"depth_m"` // m
	HoldS  float64 `toml:"hold_s"`  // s
}

// SettleByRule tells whether settling ends by rule, when the fitted transient is
// below a quarter of the limit, between SettleS and SettleMaxS.
func (s Stage) SettleByRule() bool { return s.SettleMaxS > 0 }

// Holds tells whether a stage is a ramp, a settling and a measuring window, once
// or several times: what every bench can run.
func (s Stage) Holds() bool {
	switch s.Kind {
	case "", KindHold, KindSoak, KindReturn, KindCycles:
		return true
	}
	return false
}

// Accept is what a hold must stay below to pass. Zero means: not judged.
type Accept struct {
	LeakMLPerH     float64 `toml:"leak_ml_per_h"`     // ml/h of liquid water
	MoistureMGPerH float64 `toml:"moisture_mg_per_h"` // mg/h of water vapour
	InsideRisePa   float64 `toml:"inside_rise_pa"`    // Pa, rise of the inside pressure

	// The same limits by the dive. Parse turns them into those by the hour.
	DiveMin           float64 `toml:"dive_min,omitempty"`             // min, of one dive
	LeakMLPerDive     float64 `toml:"leak_ml_per_dive,omitempty"`     // ml
	LeakDropsPerDive  float64 `toml:"leak_drops_per_dive,omitempty"`  // drops of DropML
	MoistureMGPerDive float64 `toml:"moisture_mg_per_dive,omitempty"` // mg

	// Dives until the inside fogs. What that is by the hour depends on the unit and
	// how it was closed: plan.Resolve turns it into MoistureMGPerH.
	FogDives  float64 `toml:"fog_dives,omitempty"`   // dives
	FogWaterC float64 `toml:"fog_water_c,omitempty"` // °C, of the coldest water; 0: the profile's water
}

// DropML is a drop of water, ml: 20 drops to the millilitre, the pharmacopoeias'
// standard dropper (common practice).
const DropML = 0.05
