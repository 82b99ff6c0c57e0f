package rig

import (
	"math"

	"proofpot/sensors"
)

// A transducer whose noise no longer moves it has either stopped, or has come to
// speak in steps larger than its noise: a converter that lost its low bits, a line
// that prints fewer digits. The two look the same until the pressure moves by a
// step. What still moves is believed, with a fault line; what does not, is not.
const (
	// grainMoves changes in a row are whole steps. By chance those of a sensor whose
	// own step is its noise are with odds below 5⁻¹⁵.
	grainMoves   = 16
	grainNoises  = 2  // a step below so many noises is dithered: it seldom repeats for long
	grainCounts  = 4  // and one below so many of the steps it had
	grainDivides = 40 // of two numbers, far more than it takes
	// grainMost is the largest step by which the limits can still be kept: three
	// readings in a row above them trip, and the margin above a target is overLeastPa.
	grainMost = overLeastPa / overReadings
)

// grain is the step in which the chamber's transducer moves.
type grain struct {
	Least  float64 // Pa, smallest move that was seen while it was fine; 0: none
	Last   float64 // Pa, by which it moved last
	Pa     float64 // largest number that the changes from move to move are multiples of; 0: none
	N      int     // of so many in a row
	StillS float64 // s that a valve stood open, or a hand was asked to work, since it last moved
}

// coarse tells whether the transducer has come to speak in steps beyond its noise.
func (g *grain) coarse() bool { return g.Least > 0 && g.N >= grainMoves }

// move takes in by how much a reading differs from the one before. What counts is
// the change from one move to the next: a quiet sensor in an even ramp moves by
// the same again and again, and not in steps.
func (g *grain) move(pa, noisePa float64) {
	change := math.Abs(pa - g.Last)
	g.Last = pa
	if moved := math.Abs(pa); moved > 0 && moved <= noisePa && (g.Least == 0 || moved < g.Least) {
		g.Least = moved
	}
	if change == 0 {
		return
	}
	g.Pa = commonStep(g.Pa, change, noisePa/2)
	if min(g.Pa, change) <= max(grainNoises*noisePa, grainCounts*g.Least) {
		g.Pa, g.N = 0, 0
		return
	}
	g.N = min(g.N+1, grainMoves)
}

// commonStep is the largest number that a and b are multiples of, by the Euclidean
// algorithm; what is left over counts as nothing up to least.
func commonStep(a, b, least float64) float64 {
	for range grainDivides {
		if b <= least {
			break
		}
		a, b = b, math.Abs(math.Remainder(a, b))
	}
	return a
}

// stuck tells whether the chamber's transducer stands still where it should have
// moved: for stuckAfter by its own noise; where its steps have become larger than
// that, for as long by a valve that stood open or a hand that was asked to work.
func (p *Plan) stuck(s *State, r *sensors.Reading, moved float64) bool {
	g := &s.Grain
	if moved != 0 {
		g.StillS = 0
	}
	if !p.frozen(s, r, moved) {
		s.StuckAt = r.At
	}
	return r.At-s.StuckAt >= stuckAfter || g.coarse() && g.StillS >= stuckAfter.Seconds()
}

// frozen tells whether a reading repeats the one before to the last digit where
// the sensor's own noise should have moved it. A sensor whose steps are larger
// than its noise may well stand still, and is not judged by that, unless they are
// too large to protect anybody.
func (p *Plan) frozen(s *State, r *sensors.Reading, moved float64) bool {
	return s.Known && r.Sensor == p.Chamber && moved == 0 && p.NoiseStated && s.CountPa > 0 &&
		(s.CountPa <= p.NoisePa || s.Grain.coarse() && s.Grain.Pa > grainMost)
}

// worked is the time up to a reading in which the pressure should have moved, s:
// that of a ramp in which a valve was open, or a hand had something to do. (In the
// last vent vent-stuck watches for it, and nothing moves any more at its end.)
func worked(p *Plan, s *State, openS, dtS float64) float64 {
	if s.Phase != Ramp || p.Legs[s.Leg].vented() {
		return 0
	}
	if !p.Hand {
		return openS
	}
	switch s.Prompt.Kind {
	case PumpUp, SlowDown, LetOff:
		return dtS
	}
	return 0
}

// vouched tells whether the second transducer says what a stuck one says, on the
// way to a target. Then the way goes on, since only a pressure that moves can show
// whether the first follows; where it does not, the two part, and the filling ends
// with that.
func vouched(p *Plan, s *State, r *sensors.Reading) bool {
	t, leg := &s.Twin, &p.Legs[s.Leg]
	return s.Phase == Ramp && leg.Ask == NoPrompt && !leg.Vented && t.Known && r.At-t.At <= staleAfter(p) &&
		math.Abs(t.Pa-r.Value) <= p.ApartPa+apartShare*math.Abs(r.Value-p.RoomPa)
}
