package rig

import (
	"math"
	"time"
)

// Settling by rule: a hold may begin when what is left of the transient (heat
// of compression, creep, water taking up its heat) no longer bends the pressure
// by more than a quarter of the limit of acceptance. The slope is taken over
// two windows, one after the other; how much it changes from one to the next is
// what the transient still has in it, since a leak has one slope in both. (API
// STD 53 and SPEC 16A call a test stable by the same idea: its rate of change
// lies within what is accepted before the hold begins.)
const (
	settleWindow = 60 * time.Second
	// settleDoubts: a change of slope below so many of its own standard
	// uncertainties cannot be told from none, and waiting would not help.
	settleDoubts = 2
)

// slope is a straight line through the pressure of one window, by least squares.
type slope struct {
	n, t, p, tt, tp float64 // count and sums about the first reading; t in s, p in Pa
	t0, p0          float64
	at              time.Duration // of the newest reading in it
}

// add takes in a reading; one that was taken in before is passed over.
func (w *slope) add(at time.Duration, pa float64) {
	if w.n > 0 && at <= w.at {
		return
	}
	if w.n == 0 {
		w.t0, w.p0 = at.Seconds(), pa
	}
	w.at = at
	t, p := at.Seconds()-w.t0, pa-w.p0
	w.n++
	w.t += t
	w.p += p
	w.tt += t * t
	w.tp += t * p
}

// value gives the slope in Pa/s and its standard uncertainty for a noise in Pa:
// σ √12 / (Θ √N) for N readings evenly over Θ. It takes two readings.
func (w *slope) value(noisePa float64) (paS, u float64) {
	d := w.n*w.tt - w.t*w.t
	return (w.n*w.tp - w.t*w.p) / d, noisePa * math.Sqrt(w.n/d)
}

// settled tells whether a settling may end: after its floor when it ends by
// rule and the pressure is stable, at its ceiling in any case.
func settled(p *Plan, s *State, now time.Duration) bool {
	leg := &p.Legs[s.Leg]
	since := now - s.Since + p.Period/2 // see due
	if leg.SettleMax <= leg.Settle {
		return since >= leg.Settle
	}
	if since >= leg.SettleMax {
		return true
	}
	noisePa := p.NoisePa
	if leg.InsidePa > 0 {
		noisePa = insidePa
		if s.InsideKnown {
			s.Window.add(s.InsideAt, s.Inside)
		}
	} else if s.Known && !s.Stale && !s.Jumped {
		s.Window.add(s.PaAt, s.Pa)
	}
	if now-s.WindowSince < settleWindow {
		return false
	}
	before := s.Before
	s.Before, s.Window, s.WindowSince = s.Window, slope{}, now
	if before.n < 3 || s.Before.n < 3 {
		return false
	}
	a, ua := before.value(noisePa)
	b, ub := s.Before.value(noisePa)
	change, doubt := math.Abs(b-a), settleDoubts*math.Hypot(ua, ub)
	s.Stable = change <= max(leg.StablePaS, doubt)
	return s.Stable && since >= leg.Settle
}
