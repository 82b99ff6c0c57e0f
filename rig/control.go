package rig

import (
	"math"
	"time"
)

// Figures of the control by valves.
const (
	aheadPa       = 5e3              // how far a ramp may run ahead of its rate: 0.5 m
	quietTime     = 30 * time.Second // a target holds when no valve had to move for so long
	topUpMost     = 180 * time.Second
	overshoot     = 0.005 // of the target's gauge pressure that may be too much
	overshootStep = 3     // or so many of the sensor's counts
	aimShare      = 0.4   // of that: where a pulse aims, so that a stage is proved at its depth and not short of it
	targetShare   = 0.0025
	restLeast     = 3 // readings at rest before a fine pulse
	restMost      = 8 // that their mean goes back
	coarseShare   = 0.5
	deadManSteps  = 2 // periods after which the driver shuts a fill that nobody renews
	leadTime      = time.Second
	trimPerS      = 0.05 // of a regulator's error, set right
	trimMost      = 0.02 // of the pressure asked: what a regulator may be off, and no more
)

// countPa is the step of the sensor, as it shows, or its noise: what it cannot tell.
func countPa(p *Plan, s *State) float64 { return max(s.CountPa, p.NoisePa) }

// allowance is how far a ramp may overshoot its target, Pa.
func allowance(p *Plan, s *State, targetPa float64) float64 {
	return max(overshoot*math.Abs(targetPa-p.RoomPa), overshootStep*countPa(p, s))
}

// noiseBand is how far below a target a reading may lie and still be there, Pa.
// It is narrow, so that a stage is proved at its depth and not short of it.
func noiseBand(p *Plan) float64 { return 4 * p.NoisePa }

// band is how near to a target counts as there when letting off, Pa: 0.25 % of
// its gauge pressure or the noise, whichever is more; by hand what a hand can do.
func band(p *Plan, s *State) float64 {
	gauge := math.Abs(p.Legs[s.Leg].TargetPa - p.RoomPa)
	if p.Hand {
		return max(handShare*gauge, noiseBand(p), handPa)
	}
	return max(targetShare*gauge, noiseBand(p))
}

// aim is a pressure to go to, at a rate.
type aim struct {
	pa   float64 // absolute
	rate float64 // Pa/s, > 0
	up   bool
}

// approach gives the valves for the next period of a way to a pressure. On the
// way the valve opens when the ramp's line is above the pressure and shuts when
// it has got ahead of it, as seldom as can be, since an analysis sees most where
// the valves are at rest. Where it shuts is foreseen from the flow that was
// learned, with what is on its way and no reading has seen. The last part is
// done by pulses, each from the mean of some readings at rest.
func approach(p *Plan, s *State, now time.Duration, to aim) Valves {
	d, f, minOn, open := 1.0, &s.Up, p.FillMinOn, s.Valves.Fill
	if !to.up {
		d, f, minOn, open = -1, &s.Dn, p.VentMinOn, s.Valves.Vent
	}
	at := s.Pa + d*f.PaS*f.inFlight()      // as it should be by now
	most := s.Pa + d*f.most()*f.inFlight() // as it may be
	s.runLine(now, d, at, to)
	allow := allowance(p, s, to.pa)
	goal := to.pa + d*aimShare*allow
	stop := goal // where the valve shuts
	if line := s.Line + d*aheadPa; d*(stop-line) > 0 {
		stop = line
	}
	shut := Valves{}
	from := most
	near := d*(to.pa-at) < max(2*allow, 2*f.most()*minOn.Seconds())
	if !open {
		rest := at
		if s.RestN > 0 {
			rest = s.RestPa
		}
		switch {
		case d*(s.Line-at) <= 0 && !near, d*(to.pa-rest) <= refillBand(p, s, to), !f.known(p.Period) && f.inFlight() > 0:
			return shut
		case near && (s.RestN < restLeast || f.inFlight() > 0):
			return shut // see first what the last pulse has brought
		case near:
			from = rest
		}
	}
	pulse := p.Period
	if rate := f.most(); rate > 0 {
		pulse = time.Duration(min(max(d*(stop-from)/rate, 0), 60) * float64(time.Second))
	}
	if !f.known(p.Period) { // feel the way
		f.Next = max(f.Next, minOn)
		pulse = min(pulse, f.Next)
		f.Next *= trialFactor
	}
	if pulse < minOn {
		if open {
			return shut
		}
		if brings := f.PaS * minOn.Seconds(); near && d*(from-to.pa)+brings > allow {
			s.Coarse = true
			if d*(from-to.pa)+brings > max(coarseShare*overShare*math.Abs(to.pa-p.RoomPa), coarseShare*overLeastPa) {
				return shut // short of the target by less than a pulse: as near as this valve comes
			}
		}
		pulse = minOn
	}
	switch { // a longer opening is renewed at the next step
	case !to.up && pulse >= p.Period:
		pulse = 0 // where no step comes any more, the vent stands open
	case to.up:
		pulse = min(pulse, p.deadMan()) // and the driver shuts the fill where it was to be shut
	}
	return Valves{Fill: to.up, Vent: !to.up, Pulse: pulse}
}

// refillBand is how far short of a target at rest is left alone.
func refillBand(p *Plan, s *State, to aim) float64 {
	if to.up {
		return noiseBand(p) / 2
	}
	return band(p, s)
}

// runLine moves the ramp's line on. It never gets far from the pressure: what a
// weak supply or a pause has cost is not made up for by a faster ramp.
func (s *State) runLine(now time.Duration, d, at float64, to aim) {
	line := s.Line + d*to.rate*(now-s.LineAt).Seconds()
	if d*(line-at) > aheadPa {
		line = at + d*aheadPa
	}
	if d*(line-to.pa) > 0 {
		line = to.pa
	}
	s.Line, s.LineAt = line, now
}

// asNearAsItCan tells whether the shortest pulse would carry the pressure
// further beyond the target than it is short of it now.
func asNearAsItCan(p *Plan, s *State, to aim) bool {
	d, f, minOn := 1.0, &s.Up, p.FillMinOn
	if !to.up {
		d, f, minOn = -1, &s.Dn, p.VentMinOn
	}
	short := d * (to.pa - s.RestPa)
	return s.Coarse && s.RestN >= restLeast && short < f.PaS*minOn.Seconds()
}

// regulate is approach on a bench whose regulator follows a pressure that it is
// asked for: the regulator is brought to the chamber's pressure behind the shut
// fill valve, then the valve opens and the regulator is led along the line.
// What it is off by is set right slowly at the target, where it shows. Beyond the
// allowance the fill is shut whatever the regulator does; one that gives far more
// than it is asked for ends the run (see ahead).
func regulate(p *Plan, s *State, now time.Duration, to aim) Valves {
	at := s.Pa
	allow := allowance(p, s, to.pa)
	if !s.Led {
		s.Line, s.LineAt = at, now
		s.Led = now-s.LeadSince >= leadTime
		return Valves{RegulatePa: at}
	}
	dt := (now - s.Now).Seconds()
	s.runLine(now, 1, at, to)
	if s.Line == to.pa && dt > 0 {
		s.Trim += trimPerS * dt * (to.pa + aimShare*allow - s.Smooth)
		most := trimMost * to.pa
		s.Trim = min(max(s.Trim, -most), most)
	}
	if at > to.pa+allow {
		return Valves{RegulatePa: s.Line}
	}
	s.AskedPa = min(s.Line+s.Trim+aimShare*allow, p.LimitPa)
	return Valves{Fill: true, RegulatePa: s.AskedPa}
}

// ahead tells whether a chamber pressure lies further above what the regulator was
// asked for than it may be off and a ramp may run ahead: it does not follow.
func ahead(p *Plan, s *State, pa float64) bool {
	return s.Phase == Ramp && s.AskedPa > 0 && pa > s.AskedPa+trimMost*s.AskedPa+aheadPa+noiseBand(p)
}
