package water

import "math"

// EOS80 is sea water of one practical salinity and temperature by the
// International Equation of State of 1980: Millero & Poisson 1981, as printed in
// Fofonoff & Millard 1983, UNESCO technical papers in marine science 44, p. 17.
// Practical salinity 0 to 42, −2 to 40 °C, up to 100 MPa.
type EOS80 struct {
	surface float64 // kg/m³ at sea pressure 0
	k, a, b float64 // secant bulk modulus K + A p + B p², bar
}

// NewEOS80 takes practical salinity and an ITS-90 temperature, which it turns
// into IPTS-68 by t68 = 1.00024 t90 (Saunders 1990).
func NewEOS80(practicalSalinity, temperatureC float64) EOS80 {
	s, t := practicalSalinity, temperatureC*1.00024
	r := s * math.Sqrt(s)
	pure := 999.842594 + t*(6.793952e-2+t*(-9.095290e-3+t*(1.001685e-4+t*(-1.120083e-6+t*6.536332e-9))))
	return EOS80{
		surface: pure + s*(0.824493+t*(-4.0899e-3+t*(7.6438e-5+t*(-8.2467e-7+t*5.3875e-9)))) +
			r*(-5.72466e-3+t*(1.0227e-4-t*1.6546e-6)) + s*s*4.8314e-4,
		k: 19652.21 + t*(148.4206+t*(-2.327105+t*(1.360477e-2-t*5.155288e-5))) +
			s*(54.6746+t*(-0.603459+t*(1.09987e-2-t*6.1670e-5))) + r*(7.944e-2+t*(1.6483e-2-t*5.3009e-4)),
		a: 3.239908 + t*(1.43713e-3+t*(1.16092e-4-t*5.77905e-7)) +
			s*(2.2838e-3+t*(-1.0981e-5-t*1.6078e-6)) + r*1.91075e-4,
		b: 8.50935e-5 + t*(-6.12293e-6+t*5.2787e-8) + s*(-9.9348e-7+t*(2.0816e-8+t*9.1697e-10)),
	}
}

// SecantBulkModulus gives K(S, t, p), bar, at an absolute pressure.
func (w *EOS80) SecantBulkModulus(absolutePa float64) float64 {
	p := (absolutePa - AtmospherePa) / 1e5
	return w.k + p*(w.a+p*w.b)
}

// SpecificVolume gives m³/kg at an absolute pressure.
func (w *EOS80) SpecificVolume(absolutePa float64) float64 {
	p := (absolutePa - AtmospherePa) / 1e5
	return (1 - p/w.SecantBulkModulus(absolutePa)) / w.surface
}
