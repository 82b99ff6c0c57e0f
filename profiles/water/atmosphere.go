package water

import "math"

// StandardAtmospherePa gives the absolute pressure of the US Standard Atmosphere
// 1976 at a geometric altitude, Pa: troposphere, −5,000 to 11,000 m (equations
// 18 and 33a). The barometer of a day stays within some 3 % of it.
func StandardAtmospherePa(altitudeM float64) float64 {
	const (
		radius = 6356766.0 // m
		lapse  = 0.0065    // K/m
		t0     = 288.15    // K
		mass   = 28.9644   // kg/kmol
		gas    = 8314.32   // J/(kmol K), the standard's own value
	)
	h := radius * altitudeM / (radius + altitudeM) // geopotential
	return AtmospherePa * math.Pow(1-lapse*h/t0, StandardGravity*mass/(gas*lapse))
}
