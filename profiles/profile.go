// Package profiles holds what a test claims and how it goes about it: the
// water, its depth and pressure, the stages of a test and the limits of
// acceptance.
package profiles

// Profile is a staged test, as a person writes it in TOML.
type Profile struct {
	Name        string  `toml:"name"`
	Water       Water   `toml:"water"`
	ProofFactor float64 `toml:"proof_factor"`   // proved depth over rated depth, ≥ 1
	RampMPerMin float64 `toml:"ramp_m_per_min"` // m/min, > 0
	Stages      []Stage `toml:"stage"`
	Accept      Accept  `toml:"accept"`
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

// Stage is a ramp to a depth and the hold there.
type Stage struct {
	Name    string  `toml:"name"`
	DepthM  float64 `toml:"depth_m"`  // m, depth-equivalent
	SettleS float64 `toml:"settle_s"` // s, before the measuring window
	HoldS   float64 `toml:"hold_s"`   // s, the measuring window
	Cycles  int     `toml:"cycles"`   // 0 and 1 both mean once
}

// Accept is what a hold must stay below to pass. Zero means: not judged.
type Accept struct {
	LeakMLPerH     float64 `toml:"leak_ml_per_h"`     // ml/h of liquid water
	MoistureMGPerH float64 `toml:"moisture_mg_per_h"` // mg/h of water vapour
	InsideRisePa   float64 `toml:"inside_rise_pa"`    // Pa, rise of the inside pressure
}
