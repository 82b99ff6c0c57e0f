package max31865

import "math"

// The Callendar–Van Dusen coefficients of IEC 60751.
const (
	cvdA = 3.9083e-3  // 1/K
	cvdB = -5.775e-7  // 1/K²
	cvdC = -4.183e-12 // 1/K⁴, below 0 °C
)

// The range of IEC 60751, °C.
const standardLowC, standardHighC = -200, 850

// tableRounding is half a digit of its table of Pt100, 0.005 Ω: the ends of the
// table are in the range.
const tableRounding = 0.5e-4

// Ohm is the resistance, in Ω, of a platinum thermometer of r0 Ω at 0 °C, at c °C:
// R = R₀ (1 + At + Bt² + C(t − 100 °C)t³), the last term below 0 °C only. NaN
// outside −200 to 850 °C. Source: IEC 60751.
func Ohm(r0, c float64) float64 {
	if !(c >= standardLowC && c <= standardHighC) {
		return math.NaN()
	}
	return r0 * ratio(c)
}

func ratio(c float64) float64 {
	w := 1 + c*(cvdA+c*cvdB)
	if c < 0 {
		w += cvdC * (c - 100) * c * c * c
	}
	return w
}

// Celsius is the temperature of a resistance in Ω: Ohm the other way round, from
// 0 °C up in closed form, below by Newton's method to 1e-9 K. NaN outside −200 to
// 850 °C.
func Celsius(r0, ohm float64) float64 {
	w := ohm / r0
	if !(w >= ratio(standardLowC)-tableRounding && w <= ratio(standardHighC)+tableRounding) {
		return math.NaN()
	}
	c := (-cvdA + math.Sqrt(cvdA*cvdA-4*cvdB*(1-w))) / (2 * cvdB)
	if w >= 1 {
		return c
	}
	for range 20 {
		slope := cvdA + 2*cvdB*c + cvdC*(4*c-300)*c*c
		step := (ratio(c) - w) / slope
		c -= step
		if math.Abs(step) < 1e-10 {
			break
		}
	}
	return c
}
