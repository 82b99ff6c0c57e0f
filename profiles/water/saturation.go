package water

import "math"

// ZeroC is 0 °C in K.
const ZeroC = 273.15

// VapourGasConstant is that of water vapour, J/(kg K) (IAPWS R7-97).
const VapourGasConstant = 461.526

// SaturationPa gives the saturation vapour pressure over liquid water, Pa:
// IAPWS R7-97 (2012), region 4, equation 30. 0 to 373.9 °C.
func SaturationPa(temperatureC float64) float64 {
	t := temperatureC + ZeroC
	th := t - 0.23855557567849/(t-650.17534844798)
	a := th*th + 1167.0521452767*th - 724213.16703206
	b := -17.073846940092*th*th + 12020.824702470*th - 3232555.0322333
	c := 14.915108613530*th*th - 4823.2657361591*th + 405113.40542057
	q := 2 * c / (-b + math.Sqrt(b*b-4*a*c))
	return 1e6 * q * q * q * q
}

// VapourDensity gives kg/m³ of water vapour as an ideal gas.
func VapourDensity(vapourPa, temperatureC float64) float64 {
	return vapourPa / (VapourGasConstant * (temperatureC + ZeroC))
}

// DewPointC gives the temperature at which a vapour pressure saturates, °C, by
// halving the interval 0 to 100 °C; NaN outside it, where ice or steam rules.
func DewPointC(vapourPa float64) float64 {
	low, high := 0.0, 100.0
	if !(vapourPa >= SaturationPa(low) && vapourPa <= SaturationPa(high)) {
		return math.NaN()
	}
	for range 60 {
		mid := (low + high) / 2
		if SaturationPa(mid) < vapourPa {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}
