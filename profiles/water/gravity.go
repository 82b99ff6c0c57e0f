package water

import "math"

// Gravity gives m/s² at sea level by geodetic latitude: the series of TEOS-10
// (IOC, SCOR & IAPSO 2010, appendix D, after Moritz 2000), within 1 µm/s² of the
// closed formula of GRS 80.
func Gravity(latitudeDeg float64) float64 {
	s := math.Sin(latitudeDeg * math.Pi / 180)
	s *= s
	return 9.780327 * (1 + s*(5.2792e-3+s*2.32e-5))
}

// GravityUNESCO gives m/s² at sea level by latitude: the series within the depth
// formula of Fofonoff & Millard 1983, UNESCO 44, p. 28, the degree being
// 1/57.29578 there as in print.
func GravityUNESCO(latitudeDeg float64) float64 {
	s := math.Sin(latitudeDeg / 57.29578)
	s *= s
	return 9.780318 * (1 + s*(5.2788e-3+s*2.36e-5))
}

// GravityPerMetre is the growth of gravity with depth in the sea as a share of
// that at the surface, 1/m: TEOS-10 (2010), appendix D.
const GravityPerMetre = 2.26e-7

// GravityPerPa is the growth of gravity with pressure in the depth formula of
// UNESCO 44, m/s² per Pa: its mean over the column is half of it, 1.092e-6 a dbar.
const GravityPerPa = 2.184e-10

// AtAltitude takes gravity from sea level to an altitude above the ellipsoid,
// m/s²: free air to the second order, GRS 80 (Moritz 2000; NIMA TR 8350.2, eq.
// 4-3). The rock below a highland, some 0.03 % at 2,500 m, is left out.
func AtAltitude(seaLevel, latitudeDeg, altitudeM float64) float64 {
	const (
		a = 6378137.0        // m, equatorial radius
		f = 0.00335281068118 // flattening
		m = 0.00344978600308 // ω²a²b/GM
	)
	s := math.Sin(latitudeDeg * math.Pi / 180)
	h := altitudeM / a
	return seaLevel * (1 - 2*(1+f+m-2*f*s*s)*h + 3*h*h)
}
