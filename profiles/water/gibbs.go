// Package water holds the formulas of water and of what presses on it: specific
// volume of sea and fresh water, gravity, the standard atmosphere, saturation.
// Each names its source and the range it is good for; the README of the folder
// above lists what each was checked against.
//
// Temperatures are in °C on ITS-90. Pressures are absolute, in Pa.
package water

import "math"

// AtmospherePa is the standard atmosphere, Pa absolute (10th CGPM, 1954).
const AtmospherePa = 101325.0

// StandardGravity is g_n, m/s² (3rd CGPM, 1901): a convention, not the gravity
// of any latitude.
const StandardGravity = 9.80665

const (
	gibbsSalinity    = 35.16504 * 40 / 35 // g/kg, R13-08 eq. 3
	gibbsTemperature = 40.0               // K
	gibbsPressure    = 1e8                // Pa
)

// Isotherm is water of one absolute salinity and one in-situ temperature: its
// specific volume is a polynomial of the pressure.
type Isotherm struct {
	volume    [6]float64 // m³/kg, coefficient of π^k
	expansion [6]float64 // m³/(kg K), its derivative by temperature
}

// SeaIsotherm gives sea water by TEOS-10: the pressure derivative of the Gibbs
// functions of IAPWS R13-08 (2008) and SR7-09 (2009), which is the in-situ
// volume without any conversion of temperature. Absolute salinity 0 to 42 g/kg,
// −2 to 40 °C, up to 100 MPa.
func SeaIsotherm(salinityGKg, temperatureC float64) Isotherm {
	var w Isotherm
	x := math.Sqrt(salinityGKg / gibbsSalinity)
	w.add(pureTerms, x, temperatureC/gibbsTemperature)
	if salinityGKg > 0 {
		w.add(salineTerms, x, temperatureC/gibbsTemperature)
	}
	return w
}

// FreshIsotherm gives pure, air-free water by IAPWS SR7-09 (2009), the fit to
// IAPWS-95 for 0 to 40 °C and up to 100 MPa.
func FreshIsotherm(temperatureC float64) Isotherm { return SeaIsotherm(0, temperatureC) }

func (w *Isotherm) add(terms []term, x, tau float64) {
	var xs, taus [9]float64
	xs[0], taus[0] = 1, 1
	for i := 1; i < len(xs); i++ {
		xs[i], taus[i] = xs[i-1]*x, taus[i-1]*tau
	}
	for _, c := range terms {
		g := c.g * xs[c.x] * float64(c.p) / gibbsPressure
		w.volume[c.p-1] += g * taus[c.t]
		if c.t > 0 {
			w.expansion[c.p-1] += g * float64(c.t) * taus[c.t-1] / gibbsTemperature
		}
	}
}

// SpecificVolume gives m³/kg at an absolute pressure.
func (w *Isotherm) SpecificVolume(absolutePa float64) float64 {
	return polynomial(&w.volume, (absolutePa-AtmospherePa)/gibbsPressure)
}

// Density gives kg/m³ at an absolute pressure.
func (w *Isotherm) Density(absolutePa float64) float64 { return 1 / w.SpecificVolume(absolutePa) }

// Compressibility gives the isothermal compressibility, 1/Pa.
func (w *Isotherm) Compressibility(absolutePa float64) float64 {
	pi := (absolutePa - AtmospherePa) / gibbsPressure
	slope := 0.0
	for k := len(w.volume) - 1; k > 0; k-- {
		slope = slope*pi + float64(k)*w.volume[k]
	}
	return -slope / gibbsPressure / w.SpecificVolume(absolutePa)
}

// Expansivity gives the thermal expansion of volume at constant pressure, 1/K.
func (w *Isotherm) Expansivity(absolutePa float64) float64 {
	return polynomial(&w.expansion, (absolutePa-AtmospherePa)/gibbsPressure) / w.SpecificVolume(absolutePa)
}

func polynomial(c *[6]float64, x float64) float64 {
	return ((((c[5]*x+c[4])*x+c[3])*x+c[2])*x+c[1])*x + c[0]
}
