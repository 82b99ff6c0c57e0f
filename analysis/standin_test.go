package analysis

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestAUnitThatComesToTheWatersTemperatureIsNoWarming: a unit put in a degree warmer
// than the water cools for half an hour, and the water does not; what the water does
// besides is still seen.
func TestAUnitThatComesToTheWatersTemperatureIsNoWarming(t *testing.T) {
	for _, perHour := range []float64{0, 0.2, -0.3} {
		for _, above := range []float64{1, -0.7, 0} {
			r := rand.New(rand.NewPCG(5, 6))
			in := &series{}
			for i := range 2000 {
				s := 2 * float64(i)
				in.add(s, 20+perHour*s/3600+above*math.Exp(-s/600)+0.02*r.NormFloat64())
			}
			out := withoutSettling(in)
			slope := func(from, to int) float64 {
				var ts, ys []float64
				for i := from; i < to; i++ {
					ts, ys = append(ts, out.t[i]), append(ys, float64(out.v[i]))
				}
				b, _, _ := line(ts, ys)
				return b * 3600
			}
			if early := slope(50, 350); math.Abs(early-perHour) > 0.25 {
				t.Errorf("%g K above water that warms by %g K/h: %.2f K/h in the first minutes", above, perHour, early)
			}
			if late := slope(1000, len(out.t)); math.Abs(late-perHour) > 0.05 {
				t.Errorf("%g K above water that warms by %g K/h: %.2f K/h in the second half hour", above, perHour, late)
			}
		}
	}
}
