package analysis

import "math"

// kellDensity is the density of pure water at 1 atm in kg/m³, 0 to 100 °C:
// Kell, J. Chem. Eng. Data 20 (1975) 97, table III. The last coefficient of the
// denominator is 16.879850e-3; a widespread misprint has 16.89785e-3.
func kellDensity(c float64) float64 {
	return (999.83952 + c*(16.945176+c*(-7.9870401e-3+c*(-46.170461e-6+c*(105.56302e-9-c*280.54253e-12))))) /
		(1 + 16.879850e-3*c)
}

// waterExpansion is the relative growth of a mass of water from c0 to c, °C.
func waterExpansion(c0, c float64) float64 { return kellDensity(c0)/kellDensity(c) - 1 }

// airViscosity is that of dry air in Pa s by Sutherland's law, 1.716e-5 Pa s at
// 273.15 K with S = 110.4 K (as in the US Standard Atmosphere 1976, whose β and S
// it restates); good to 2 % from 200 to 400 K below some 30 bar.
func airViscosity(k float64) float64 { return 1.458e-6 * math.Pow(k, 1.5) / (k + 110.4) }

// waterViscosity is that of water at 1 atm in Pa s, 0 to 100 °C: IAPWS R12-08
// (2008) as given for 0.1 MPa by Pátek et al., J. Phys. Chem. Ref. Data 38 (2009)
// 21, equation 8.
func waterViscosity(k float64) float64 {
	t := k / 300
	return 1e-6 * (280.68*math.Pow(t, -1.9) + 511.45*math.Pow(t, -7.7) + 61.131*math.Pow(t, -19.6) + 0.45903*math.Pow(t, -40))
}

// liquidEquivalent turns a volume flow of gas at the chamber's pressure, through
// one laminar path from chamberPa to insidePa (absolute), into the flow of water
// that the same path would pass under the same difference of pressure: the gas
// flow at the mean pressure times the ratio of the viscosities (Poiseuille's law
// for a compressible gas; see e.g. Rottländer et al., Vacuum 98 (2013)).
func liquidEquivalent(gasAtChamber, chamberPa, insidePa, k float64) float64 {
	return gasAtChamber * chamberPa / ((chamberPa + insidePa) / 2) * airViscosity(k) / waterViscosity(k)
}

// gasWentIn counts what a leak of a gas-filled pot does to the pressure inside: the
// more came in, the less water would follow at the same flow of gas.
func (a *analysis) gasWentIn(st *stage, k float64) {
	e, free, dwell := st.chamber, a.run.Unit.FreeVolumeML, st.dwell().length()
	if e.value < 4*e.u || free <= 0 || dwell <= 0 {
		return
	}
	before := a.sealed
	for _, earlier := range a.stages[:st.order] {
		before += a.gasIn[earlier.order]
	}
	was := liquidEquivalent(1, st.meanPa, a.v.roomPa, k)
	came := max(0, min(e.value/was*dwell/3600*st.meanPa/free, st.meanPa-before)) // Pa
	mean := before + came*(1-st.hold.length()/2/dwell)
	if a.in != nil && a.in.pa != nil {
		mean = a.in.pressureAt((st.hold.start + st.hold.end) / 2)
	}
	if !(mean > 0) {
		return
	}
	if a.gasIn == nil {
		a.gasIn = map[int]float64{}
	}
	a.gasIn[st.order] = came
	e.scale(liquidEquivalent(1, st.meanPa, mean, k) / was)
}

// compressionWarming is by how much water warms for each Pa of fast compression,
// K/Pa: α T/(ρ c_p) (textbook thermodynamics), with c_p = 4186 J/(kg K).
func compressionWarming(c float64) float64 {
	alpha := waterExpansion(c-0.5, c+0.5)
	return alpha * (c + 273.15) / (kellDensity(c) * 4186)
}
