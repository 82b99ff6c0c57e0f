package analysis

import (
	"math"
	"slices"
)

// A transducer that shows the same number for long has either stopped measuring,
// or its steps are so coarse that its noise no longer reaches the next one. In
// the first case what it shows is no reading; in the second a slow fall of up to
// one step would not show.
const (
	stillReadings = 40   // in a row that are the same to the last digit
	stillS        = 20.0 // and for so long, s
	stepNoise     = 3    // a sensor whose step is less than so many times its noise must move
)

// still finds the times in which the chamber's pressure did not change at all,
// and the step of the transducer, Pa: the smallest change that it ever showed.
func still(s *signal) (list []gap, step float64) {
	step = math.Inf(1)
	from := 0
	for i := 1; i <= len(s.t); i++ {
		if i < len(s.t) && s.p[i] == s.p[i-1] {
			continue
		}
		if i < len(s.t) {
			step = min(step, math.Abs(s.p[i]-s.p[i-1]))
		}
		if last := i - 1; last-from >= stillReadings && s.t[last]-s.t[from] >= stillS {
			list = append(list, gap{s.t[from], s.t[last]})
		}
		from = i
	}
	return list, step
}

// movingNoise is the white noise of the readings that move: those of a stuck
// transducer would make it look quieter than it is. NaN where all move, or few.
func movingNoise(s *signal) float64 {
	list, _ := still(s)
	if len(list) == 0 {
		return math.NaN()
	}
	var t, p []float64
	next := 0
	for i := range s.t {
		for next < len(list) && s.t[i] > list[next].end {
			next++
		}
		if next == len(list) || s.t[i] < list[next].start {
			t, p = append(t, s.t[i]), append(p, s.p[i])
		}
	}
	return whiteNoise(t, p, s.dt)
}

// findStill takes a transducer that stands still for missing; one that is merely
// coarse is remembered by its step.
func (a *analysis) findStill() {
	list, step := still(a.s)
	if len(list) == 0 {
		return
	}
	if step > stepNoise*a.s.noise {
		a.coarsePa = step
		return
	}
	a.gaps = append(a.gaps, list...)
	a.stills = list
}

// stoodStill tells whether a loss lies where the transducer began or ended to
// stand still: what it jumped by is nothing that the chamber did.
func (a *analysis) stoodStill(j jump) bool {
	return slices.ContainsFunc(a.stills, func(g gap) bool { return j.t1 >= g.start-2*a.s.dt && j.t0 <= g.end+2*a.s.dt })
}

// tooCoarse is the leak that one step of the transducer could hide in a hold,
// ml/h; 0 for one whose noise reaches over its steps.
func (a *analysis) tooCoarse(st *stage) float64 {
	if a.coarsePa == 0 || !st.hold.real() {
		return 0
	}
	return a.coarsePa * a.compliance((st.hold.start+st.hold.end)/2) / st.hold.length() * 3600
}
