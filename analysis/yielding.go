package analysis

import (
	"math"
	"slices"

	"proofpot/profiles/assumed"
)

// yielding is how the void gave way to the last change of the chamber's pressure:
// what it lost at once goes on, slower and slower, with the logarithm of time.
type yielding struct {
	ml  float64 // lost at once, negative where the unit was unloaded
	end float64 // s, when the pressure stood
}

// mostSqueeze is the squeeze of the softest void that is taken for elastic,
// 1/Pa: what a sensor inside shows beyond it in a ramp is no squeeze.
const mostSqueeze = 2e-8

func (y yielding) shape(t float64) float64 { return math.Log1p(max(t-y.end, 0) / assumed.VoidCreepS) }

// gaveWay measures what the void lost while the chamber's pressure changed by
// step Pa.
func (v *void) gaveWay(ramp interval, step float64) yielding {
	y := yielding{end: ramp.end}
	if v.pa == nil || !ramp.real() {
		return y
	}
	at := func(from, to float64) float64 {
		lo, hi := between(v.t, from, to)
		var m []float64
		for i := lo; i < hi; i++ {
			if !v.bad[i] {
				m = append(m, v.ml[i])
			}
		}
		if len(m) == 0 {
			return math.NaN()
		}
		slices.Sort(m)
		return m[len(m)/2]
	}
	lost := at(ramp.end, ramp.end+20+5*v.dt) - at(ramp.start-20-5*v.dt, ramp.start)
	most := mostSqueeze * v.freeML * math.Abs(step)
	if math.IsNaN(lost) || lost*step < 0 {
		return y
	}
	y.ml = max(-most, min(lost, most))
	return y
}
