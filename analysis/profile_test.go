package analysis

import (
	"math"
	"testing"
)

// TestTheProfileSearchMeetsNIST drives the search that finds time constants, with the
// solver of the linear rest, through non-linear sets of NIST StRD that it can express
// (values certified there; the files have them with their source).
func TestTheProfileSearchMeetsNIST(t *testing.T) {
	// y = b1 (1 − exp(−b2 x)): linear in b1, profiled in 1/b2.
	for name, want := range map[string][3]float64{ // b1, b2, residual sum of squares
		"Misra1a.csv": {238.94212918, 0.00055015643181, 0.12455138894},
		"BoxBOD.csv":  {213.80940889, 0.54723748542, 1168.0088766},
	} {
		rows := reference(t, name)
		fit := func(tau float64) (b1, rss float64) {
			var m [3][3]float64
			var r [3]float64
			for _, v := range rows {
				f := -math.Expm1(-v["x"] / tau)
				m[0][0] += f * f
				r[0] += f * v["y"]
			}
			sol, _, _ := solve3(m, r, 1, 0)
			for _, v := range rows {
				e := v["y"] + sol[0]*math.Expm1(-v["x"]/tau)
				rss += e * e
			}
			return sol[0], rss
		}
		tau := profiled(0.1, 1e5, 1.12, func(tau float64) float64 { _, rss := fit(tau); return rss })
		b1, rss := fit(tau)
		near(t, name+": b1", b1, want[0], 1e-6*want[0])
		near(t, name+": b2", 1/tau, want[1], 1e-6*want[1])
		near(t, name+": residual sum of squares", rss, want[2], 1e-9*want[2])
	}
	// y = b1 + b2 exp(−b4 x) + b3 exp(−b5 x): linear in three, one profile in the other.
	rows := reference(t, "MGH17.csv")
	fit := func(slow, fast float64) (sol [3]float64, rss float64) {
		var m [3][3]float64
		var r [3]float64
		for _, v := range rows {
			f := [3]float64{1, math.Exp(-v["x"] / slow), math.Exp(-v["x"] / fast)}
			for i := range 3 {
				for j := range 3 {
					m[i][j] += f[i] * f[j]
				}
				r[i] += f[i] * v["y"]
			}
		}
		sol, _, ok := solve3(m, r, 3, 0)
		if !ok {
			return sol, math.Inf(1)
		}
		for _, v := range rows {
			e := v["y"] - sol[0] - sol[1]*math.Exp(-v["x"]/slow) - sol[2]*math.Exp(-v["x"]/fast)
			rss += e * e
		}
		return sol, rss
	}
	within := func(slow float64) (fast, rss float64) {
		fast = profiled(5, slow/1.1, 1.12, func(fast float64) float64 { _, rss := fit(slow, fast); return rss })
		_, rss = fit(slow, fast)
		return fast, rss
	}
	slow := profiled(20, 400, 1.12, func(slow float64) float64 { _, rss := within(slow); return rss })
	fast, rss := within(slow)
	sol, _ := fit(slow, fast)
	for i, v := range []struct{ got, want float64 }{{sol[0], 0.37541005211}, {sol[1], 1.9358469127}, {sol[2], -1.4646871366}, {1 / slow, 0.01286753464}, {1 / fast, 0.022122699662}} {
		near(t, "MGH17: b"+string(rune('1'+i)), v.got, v.want, 2e-4*math.Abs(v.want)) // a profile of a profile: the square root of what rounding leaves
	}
	near(t, "MGH17: residual sum of squares", rss, 5.4648946975e-05, 1e-12)
}
