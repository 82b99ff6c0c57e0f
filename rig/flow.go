package rig

import (
	"math"
	"time"
)

// flow is what a valve has been seen to do: how much pressure a second of it
// brings. It is learned afresh in each run, since nobody writes it down and a
// needle valve is turned by hand.
type flow struct {
	OpenS float64 // s that it stood open, as it was told, up to the last step
	SeenS float64 // of that, what the last reading has seen

	PaS  float64 // Pa/s that it brings while open, > 0
	Var  float64 // of PaS; 0: not known at all
	Next time.Duration

	// Since the last lesson.
	partS, partPa float64
	since         time.Duration
}

const (
	lessonTime  = 450 * time.Millisecond // a lesson is not shorter: a valve takes some 10 to 50 ms to move
	shutTime    = 100 * time.Millisecond // and the valve has been shut for so long, or open all the time
	modelShare  = 0.05                   // a flow is never known better: it falls as the chamber fills
	driftShare  = 0.1                    // so much it changes in a second, one standard deviation
	trialFactor = 2                      // each pulse of a valve that is not known is so much longer than the last
	knownShare  = 0.3
	flowDoubts  = 2 // standard deviations that are added where too much would hurt
)

// most is the flow that must be reckoned with, Pa/s.
func (f *flow) most() float64 { return f.PaS + flowDoubts*math.Sqrt(f.Var) }

// known tells whether one period with the valve open holds no surprise: its flow
// has been learned, or so little of it that a whole period could be tried.
func (f *flow) known(period time.Duration) bool {
	return f.Var > 0 && (f.Next >= trialFactor*period || f.Var < knownShare*knownShare*f.PaS*f.PaS)
}

// inFlight is the time that the valve stood open and no reading has seen, s.
func (f *flow) inFlight() float64 { return f.OpenS - f.SeenS }

// openBy gives how long the valve had been open in all at a time: it stood open
// since the last step or not, and a pulse has ended by itself. Of a reading from
// before the last step the most that could be is still on its way.
func (f *flow) openBy(s *State, open bool, at time.Duration) float64 {
	if at < s.Now {
		return max(f.SeenS, f.OpenS-(s.Now-at).Seconds())
	}
	if !open {
		return f.OpenS
	}
	d := at - s.Now
	if s.Valves.Pulse > 0 {
		d = min(d, s.Valves.Pulse)
	}
	return f.OpenS + d.Seconds()
}

// see takes in a reading: the valve had stood open for openS since the one
// before, and the pressure moved by pa in the valve's direction. shutFor is how
// long every valve has been shut, 0: one is open.
func (f *flow) see(openS, pa, dtS float64, shutFor, at time.Duration, noisePa float64) {
	f.SeenS += openS
	if f.partS == 0 {
		if openS == 0 {
			return
		}
		f.since = at - time.Duration(dtS*float64(time.Second))
	}
	f.partS += openS
	f.partPa += pa
	length := at - f.since
	if length < lessonTime || shutFor < shutTime && f.partS < 0.98*length.Seconds() && length < 4*lessonTime {
		return
	}
	f.learn(f.partS, f.partPa, noisePa)
	f.partS, f.partPa = 0, 0
}

// learn weighs one lesson against what was known: a Kalman filter of one state
// (Gelb, Applied Optimal Estimation, 4.2) whose measurement has the noise of two
// readings.
func (f *flow) learn(openS, pa, noisePa float64) {
	seen := max(pa/openS, 0)
	noise := 2 * noisePa * noisePa / (openS * openS)
	if f.Var == 0 {
		f.PaS, f.Var = seen, noise+sq(modelShare*seen)
		return
	}
	v := f.Var + sq(driftShare*f.PaS)*openS
	gain := v / (v + noise)
	f.PaS += gain * (seen - f.PaS)
	f.Var = max((1-gain)*v, sq(modelShare*f.PaS))
}

func sq(x float64) float64 { return x * x }
