package simbench

import "math"

const (
	referencePa = 1e5    // Pa, ISO 6358-1 standard reference atmosphere (ANR)
	referenceK  = 293.15 // K
	criticalR   = 0.30   // pressure ratio at which a small valve chokes; 0.2 to 0.5 in catalogues
	linearR     = 0.995  // from this ratio on the flow is taken as linear in the difference
)

// gasFlow gives the molar flow mol/s of gas from p1 to p2 through a valve of
// sonic conductance c in m³/(s Pa), upstream temperature in K. ISO 6358-1:2013,
// the flow-rate characteristics of the annex with m = 0.5. Zero against the
// pressure. Near equality of the pressures the ellipse is replaced by its chord,
// since its slope there is endless and the true flow laminar.
func gasFlow(c, p1, p2, kelvin1 float64) float64 {
	if p2 >= p1 || c <= 0 {
		return 0
	}
	choked := c * p1 * referencePa / (gasConstant * referenceK) * math.Sqrt(referenceK/kelvin1)
	r := p2 / p1
	switch {
	case r <= criticalR:
		return choked
	case r < linearR:
		return choked * ellipse(r)
	}
	return choked * ellipse(linearR) * (1 - r) / (1 - linearR)
}

func ellipse(r float64) float64 {
	x := (r - criticalR) / (1 - criticalR)
	return math.Sqrt(1 - x*x)
}

// orificeFlow gives m³/s of liquid for k in m³/(s √Pa): a sharp edge, flow by
// the root of the difference (ISO 5167-1, eq. 1 solved for volume). Below 500 Pa
// it is taken as linear, as viscosity wins there. Odd in the difference.
func orificeFlow(k, differencePa float64) float64 {
	const linear = 500
	if math.Abs(differencePa) < linear {
		return k * differencePa / math.Sqrt(linear)
	}
	return math.Copysign(k*math.Sqrt(math.Abs(differencePa)), differencePa)
}

// laminarGas gives mol/s of gas through a path that passes k m³/(s Pa) of water
// of viscosity muWater: Hagen and Poiseuille for an ideal gas, with the flow
// counted at the mean pressure (Marr, Leakage Testing Handbook, NASA CR-952,
// laminar flow). Odd in the difference.
func laminarGas(k, p1, p2, kelvin, muWater float64) float64 {
	return k * muWater / airViscosity(kelvin) * (p1*p1 - p2*p2) / 2 / (gasConstant * kelvin)
}
