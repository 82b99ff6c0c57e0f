package simbench

import "math"

const (
	gasConstant   = 8.314462618       // J/(mol K), CODATA 2018
	cv            = 2.5 * gasConstant // J/(mol K), diatomic ideal gas
	cp            = 3.5 * gasConstant
	zeroC         = 273.15  // K
	bar           = 1e5     // Pa
	standardPa    = 101325. // Pa, at which the water's density is given
	waterHeat     = 4186.   // J/(kg K), 15 °C to 25 °C within 0.2 %
	millilitre    = 1e-6    // m³
	perHour       = 1. / 3600
	mlPerH        = millilitre * perHour       // m³/s
	vapourR       = gasConstant / 18.015268e-3 // J/(kg K), molar mass of water by IAPWS
	litre         = 1e-3
	degreesPerDay = 2 * math.Pi / 86400
)

// waterDensity gives kg/m³ of air-free water at 101325 Pa for 0 °C to 100 °C.
// Kell 1975, J. Chem. Eng. Data 20, 97, as quoted by Jones & Harris 1992,
// J. Res. NIST 97, 335, eq. 1, with 16.879850e-3 in the denominator. Against
// IAPWS-95 within 0.004 kg/m³ from 0 °C to 40 °C.
func waterDensity(t float64) float64 {
	n := 999.83952 + t*(16.945176+t*(-7.9870401e-3+t*(-46.170461e-6+t*(105.56302e-9-280.54253e-12*t))))
	return n / (1 + 16.879850e-3*t)
}

// waterExpansion gives the thermal expansion 1/K of water at 101325 Pa: minus
// the logarithmic derivative of waterDensity.
func waterExpansion(t float64) float64 {
	n := 999.83952 + t*(16.945176+t*(-7.9870401e-3+t*(-46.170461e-6+t*(105.56302e-9-280.54253e-12*t))))
	dn := 16.945176 + t*(-2*7.9870401e-3+t*(-3*46.170461e-6+t*(4*105.56302e-9-5*280.54253e-12*t)))
	return 16.879850e-3/(1+16.879850e-3*t) - dn/n
}

// waterCompressibility gives the isothermal compressibility 1/Pa of water near
// 101325 Pa for 0 °C to 100 °C. Kell 1975, as waterDensity. Against IAPWS-95
// within 0.005 % from 0 °C to 40 °C.
func waterCompressibility(t float64) float64 {
	n := 50.88496 + t*(0.6163813+t*(1.459187e-3+t*(20.08438e-6+t*(-58.47727e-9+410.4110e-12*t))))
	return 1e-11 * n / (1 + 19.67348e-3*t)
}

// waterViscosity gives Pa s of liquid water for 0 °C to 100 °C. Kestin, Sokolov
// & Wakeham 1978, J. Phys. Chem. Ref. Data 7, 941, eq. 15, on 1002.0 µPa s at
// 20 °C (from memory). Against IAPWS R12-08 within 0.2 % from 0 °C to 40 °C.
func waterViscosity(t float64) float64 {
	d := 20 - t
	return 1002.0e-6 * math.Pow(10, d/(t+96)*(1.2364-1.37e-3*d+5.7e-6*d*d))
}

// airViscosity gives Pa s of air at the temperature in K. Sutherland's formula
// with the constants of the US Standard Atmosphere 1976, eq. 51.
func airViscosity(kelvin float64) float64 {
	return 1.458e-6 * kelvin * math.Sqrt(kelvin) / (kelvin + 110.4)
}

// saturationPa gives the vapour pressure over liquid water in Pa at the
// temperature in K, for −45 °C to 100 °C. Sonntag 1990, Z. Meteorol. 70, 340.
func saturationPa(kelvin float64) float64 {
	return 100 * math.Exp(-6096.9385/kelvin+16.635794-2.711193e-2*kelvin+1.673952e-5*kelvin*kelvin+2.433502*math.Log(kelvin))
}

// airSolubility gives mol of air that a m³ of water holds per Pa of air above
// it: Henry constants of nitrogen (6.4e-6, 1300 K) and oxygen (1.3e-5, 1500 K)
// at 298.15 K from Sander 2015, Atmos. Chem. Phys. 15, 4399, in the shares of
// dry air.
func airSolubility(kelvin float64) float64 {
	x := 1/kelvin - 1/298.15
	return 0.79*6.4e-6*math.Exp(1300*x) + 0.21*1.3e-5*math.Exp(1500*x)
}
