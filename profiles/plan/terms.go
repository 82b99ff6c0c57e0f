package plan

import (
	"fmt"
	"math"

	"proofpot/profiles"
	"proofpot/profiles/water"
)

// Terms is one limit of ingress in every term that a user may think in. All of
// them say the same flow.
type Terms struct {
	MLPerH       float64 // ml/h of liquid water
	MGPerH       float64 // mg/h of water
	MLPerDive    float64 // ml in a dive
	DropsPerDive float64 // drops of profiles.DropML in a dive
	MGPerDive    float64 // mg in a dive
	RisePaPerH   float64 // Pa/h, rise of the inside pressure at one temperature; +Inf without a void
	DivesToFog   float64 // dives until the inside fogs, were all of it to evaporate; 0: it fogs as it is; +Inf: never
}

// Void is the air in a unit as it was closed, and the dive that is meant.
type Void struct {
	FreeML     float64 // ml
	SealedPa   float64 // Pa absolute
	SealedC    float64 // °C
	HumidityRH float64 // %
	WaterC     float64 // °C, of the coldest water
	DiveMin    float64 // min
}

// Liquid gives the terms of a limit in ml/h.
func (v Void) Liquid(mlPerH float64) Terms {
	iso := water.FreshIsotherm(min(max(v.WaterC, 0), 40))
	mgPerML := iso.Density(water.AtmospherePa) // kg/m³ = mg/ml
	hours := v.DiveMin / 60
	t := Terms{MLPerH: mlPerH, MGPerH: mlPerH * mgPerML, MLPerDive: mlPerH * hours}
	t.DropsPerDive = t.MLPerDive / profiles.DropML
	t.MGPerDive = t.MGPerH * hours
	t.RisePaPerH = v.SealedPa * mlPerH / v.FreeML // Boyle: the air loses the room that the water takes
	room := v.ToFogMG()
	switch {
	case room <= 0:
		t.DivesToFog = 0
	case t.MGPerDive <= 0:
		t.DivesToFog = math.Inf(1)
	default:
		t.DivesToFog = room / t.MGPerDive
	}
	return t
}

// Moisture gives the terms of a limit in mg/h.
func (v Void) Moisture(mgPerH float64) Terms {
	iso := water.FreshIsotherm(min(max(v.WaterC, 0), 40))
	return v.Liquid(mgPerH / iso.Density(water.AtmospherePa))
}

// PerDive gives the terms of a limit in ml a dive.
func (v Void) PerDive(ml float64) Terms { return v.Liquid(ml * 60 / v.DiveMin) }

// Drops gives the terms of a limit in drops a dive.
func (v Void) Drops(drops float64) Terms { return v.PerDive(drops * profiles.DropML) }

// UntilFog gives the terms of the ingress that fogs the inside after so many
// dives; nothing where it fogs as it is.
func (v Void) UntilFog(dives float64) Terms {
	return v.Moisture(max(v.ToFogMG(), 0) / dives * 60 / v.DiveMin)
}

// Resolve turns a limit given as dives until the inside fogs into one by the hour,
// for a unit as it was closed. It is an error when it fogs as it is, and when two
// limits of moisture contradict each other.
func Resolve(p profiles.Profile, u Unit) (profiles.Profile, error) {
	a := &p.Accept
	if a.FogDives <= 0 {
		return p, nil
	}
	if u.FreeML <= 0 {
		return p, fmt.Errorf("fog_dives = %g needs a unit with air inside", a.FogDives)
	}
	v := u.void(p)
	t := v.UntilFog(a.FogDives)
	if !(t.MGPerH > 0) {
		return p, fmt.Errorf("fog_dives = %g: the inside fogs as it is closed: air of %g °C and %g %% humidity is at %.0f %% at a wall of %g °C; close it drier, and give sealed_rh_pct in the unit's file",
			a.FogDives, v.SealedC, v.HumidityRH, v.HumidityAtWater(), v.WaterC)
	}
	if a.MoistureMGPerH > 0 && math.Abs(a.MoistureMGPerH/t.MGPerH-1) > 1e-3 {
		return p, fmt.Errorf("fog_dives = %g makes %.4g mg/h in this unit, and the profile's limit of moisture is %.4g mg/h; give one of them", a.FogDives, t.MGPerH, a.MoistureMGPerH)
	}
	a.MoistureMGPerH = t.MGPerH
	return p, nil
}

// void is the unit's air in the dive that a profile means.
func (u Unit) void(p profiles.Profile) Void {
	v := Void{FreeML: u.FreeML, SealedPa: u.SealedPa, SealedC: u.SealedC, HumidityRH: u.SealedRH, WaterC: p.Water.TemperatureC, DiveMin: p.Accept.DiveMin}
	if v.SealedC == 0 {
		v.SealedC = usualClosedC
	}
	if v.HumidityRH == 0 {
		v.HumidityRH = usualClosedRH
	}
	if p.Accept.FogWaterC > 0 {
		v.WaterC = p.Accept.FogWaterC
	}
	if v.DiveMin == 0 {
		v.DiveMin = 60
	}
	return v
}

// How a unit is closed where its sheet does not say: in a room.
const (
	usualClosedC  = 20.0 // °C
	usualClosedRH = 50.0 // %
)

// VapourMG gives the water vapour in the void as it was closed, mg.
func (v Void) VapourMG() float64 {
	return 1e6 * v.FreeML * 1e-6 * water.VapourDensity(water.SaturationPa(v.SealedC)*v.HumidityRH/100, v.SealedC)
}

// ToFogMG gives the water that the air can still take before the coldest wall,
// as cold as the water, fogs, mg; negative where it fogs as it is. The air keeps
// its volume, so the vapour's density is what saturates there.
func (v Void) ToFogMG() float64 {
	return 1e6*v.FreeML*1e-6*water.VapourDensity(water.SaturationPa(v.WaterC), v.WaterC) - v.VapourMG()
}

// HumidityAtWater gives the relative humidity at a wall as cold as the water, %.
// Above 100 it is wet.
func (v Void) HumidityAtWater() float64 {
	e := water.SaturationPa(v.SealedC) * v.HumidityRH / 100 * (v.WaterC + water.ZeroC) / (v.SealedC + water.ZeroC)
	return 100 * e / water.SaturationPa(v.WaterC)
}
