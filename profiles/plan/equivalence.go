package plan

import "math"

// AirViscosity gives that of dry air in Pa s by Sutherland's law with the
// constants of the US Standard Atmosphere 1976 (equation 51); good to 2 % from
// 200 to 400 K below some 30 bar.
func AirViscosity(temperatureC float64) float64 {
	k := temperatureC + 273.15
	return 1.458e-6 * math.Pow(k, 1.5) / (k + 110.4)
}

// WaterViscosity gives that of water at 0.1 MPa in Pa s, 0 to 110 °C: IAPWS
// SR6-08 (2011), after Pátek et al., J. Phys. Chem. Ref. Data 38 (2009) 21.
func WaterViscosity(temperatureC float64) float64 {
	t := (temperatureC + 273.15) / 300
	return 1e-6 * (280.68*math.Pow(t, -1.9) + 511.45*math.Pow(t, -7.7) + 61.131*math.Pow(t, -19.6) + 0.45903*math.Pow(t, -40))
}

// LiquidOverGas gives the flow of water that one laminar path passes over the
// volume flow of air, measured at atPa, that it passes between the same two
// pressures (absolute, 20 °C): Poiseuille's law for a liquid and for a gas.
func LiquidOverGas(atPa, otherPa float64) float64 {
	return atPa / ((atPa + otherPa) / 2) * AirViscosity(20) / WaterViscosity(20)
}
