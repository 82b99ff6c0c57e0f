package analysis

import "math"

// solve3 solves k ≤ 3 symmetric equations by elimination, scaled to unit
// diagonals and with pivots, and gives the diagonal element of the inverse that
// belongs to one unknown; ok is false where they are singular.
func solve3(m [3][3]float64, r [3]float64, k, one int) (sol [3]float64, inv float64, ok bool) {
	var s [3]float64
	for i := range k {
		if !(m[i][i] > 0) {
			return sol, 0, false
		}
		s[i] = 1 / math.Sqrt(m[i][i])
	}
	for i := range k {
		for j := range k {
			m[i][j] *= s[i] * s[j]
		}
		r[i] *= s[i]
	}
	var e [3]float64 // the column of the unit matrix that gives that element
	e[one] = 1
	for i := range k {
		p := i
		for j := i + 1; j < k; j++ {
			if math.Abs(m[j][i]) > math.Abs(m[p][i]) {
				p = j
			}
		}
		m[i], m[p] = m[p], m[i]
		r[i], r[p] = r[p], r[i]
		e[i], e[p] = e[p], e[i]
		if math.Abs(m[i][i]) < 1e-11 {
			return sol, 0, false
		}
		for j := i + 1; j < k; j++ {
			f := m[j][i] / m[i][i]
			for c := i; c < k; c++ {
				m[j][c] -= f * m[i][c]
			}
			r[j] -= f * r[i]
			e[j] -= f * e[i]
		}
	}
	var x [3]float64
	for i := k - 1; i >= 0; i-- {
		sol[i], x[i] = r[i], e[i]
		for c := i + 1; c < k; c++ {
			sol[i] -= m[i][c] * sol[c]
			x[i] -= m[i][c] * x[c]
		}
		sol[i] /= m[i][i]
		x[i] /= m[i][i]
	}
	for i := range k {
		sol[i] *= s[i]
	}
	return sol, max(x[one]*s[one]*s[one], 0), true
}
