package rig

import (
	"math"
	"time"

	"proofpot/sensors"
)

// Figures of the sequencer's control.
const (
	aheadPa     = 5e3              // how far a ramp may run ahead of its rate: 0.5 m
	quietTime   = 30 * time.Second // a target holds when no valve had to move for so long
	topUpMost   = 180 * time.Second
	handShare   = 0.005 // of the target's gauge pressure: how near a hand comes
	handPa      = 2e3   // or so much, one fine division of a usual gauge
	smoothTime  = 1.0   // s, time constant of the smoothed pressure and rates
	targetShare = 0.0025
	jumpRates   = 3 // times the fastest known rate: faster is a spike, or a burst
)

// Step is one step of the sequencer: what it knew, what has come in, and the
// plan give what it knows now and what it asks for. It reads no clock, drives
// nothing and allocates nothing. Its limits (see guard) have the last word.
func Step(p *Plan, s State, in Input) (State, Output) {
	var out Output
	before := s.Valves
	observe(p, &s, &in, &out)
	if stop := limits(p, &s, &in); stop != NotStopped && s.Stopped == NotStopped {
		halt(p, &s, &in, &out, stop)
	}
	switch s.Phase {
	case Ready:
		if s.Known {
			if !p.Hand {
				out.say(Event{Kind: ValveEvent, Valve: "fill"})
				out.say(Event{Kind: ValveEvent, Valve: "vent"})
			}
			before = Valves{}
			startRamp(p, &s, in.Now, 0, &out)
		} else {
			s.Valves = Valves{Vent: true}
		}
	case Ramp:
		if leg := &p.Legs[s.Leg]; leg.Ask != NoPrompt {
			ask(p, &s, &in, &out)
		} else if leg.Vented {
			unload(p, &s, in.Now, &out)
		} else {
			ramp(p, &s, in.Now, &out)
		}
	case Settle, Hold:
		rest(p, &s, &in, &out)
	case Vent:
		vent(p, &s, in.Now, &out)
	}
	guard(p, &s)
	asked, asks := askPrompt(p, &s, in.Now)
	if p.Hand { // there are no valves to drive: the operator is asked instead
		s.Valves = Valves{}
		if !asks {
			asked = prompt(p, &s)
		}
		s.Prompt = asked
		out.Prompt = s.Prompt
		return s, out
	}
	s.Prompt = asked
	out.Prompt = s.Prompt
	if s.Valves.Fill != before.Fill {
		out.say(Event{Kind: ValveEvent, Valve: "fill", Open: s.Valves.Fill})
	}
	if s.Valves.Vent != before.Vent {
		out.say(Event{Kind: ValveEvent, Valve: "vent", Open: s.Valves.Vent})
	}
	out.Valves = s.Valves
	return s, out
}

// observe takes in the readings.
func observe(p *Plan, s *State, in *Input, out *Output) {
	for i := range in.Readings {
		r := &in.Readings[i]
		if r.Status != sensors.OK {
			continue
		}
		switch r.Quantity {
		case sensors.ChamberPressure:
			if r.Sensor == p.Chamber {
				pressure(p, s, r)
			}
		case sensors.UnitPressure:
			inside(p, s, r)
		case sensors.ProbeWet:
			if r.Value != 0 && !s.Wet {
				s.Wet = true
				out.say(Event{Kind: NoteEvent, Text: "a wet probe is wet", Critical: true})
			}
		}
	}
	stale := s.Known && in.Now-s.PaAt > staleAfter(p)
	if stale != s.Stale {
		s.Stale = stale
		if stale {
			out.say(Event{Kind: FaultEvent, Sensor: p.Chamber, Word: "stale", Text: "no chamber pressure: filling is stopped until it is back", Critical: true})
		} else {
			out.say(Event{Kind: NoteEvent, Text: "the chamber pressure is back"})
		}
	}
}

// pressure takes in one chamber pressure, with the rate at which it moves while
// a valve stands open. A reading that jumps is believed when the next one does
// not come back: one alone is a spike of the sensor. It stops the fill all the
// same where it lies above what is allowed.
func pressure(p *Plan, s *State, r *sensors.Reading) {
	if r.Value > allowedPa(p, s) {
		s.Over++
	} else {
		s.Over = 0
	}
	dt := (r.At - s.PaAt).Seconds()
	if s.Known && !s.Stale && dt > 0 {
		rate, weight := (r.Value-s.Pa)/dt, dt/(dt+smoothTime)
		jump := math.Abs(r.Value-s.Pa) > 8*p.NoisePa+jumpRates*max(p.Legs[s.Leg].RatePaS, s.RateUp, s.RateDn)*dt &&
			!(s.Valves.Fill && rate > 0) && !(s.Valves.Vent && rate < 0)
		if jump && !s.Jumped {
			s.Jumped = true
			return
		}
		if !jump {
			switch {
			case s.Valves.Fill && rate > 0:
				s.RateUp += weight * (rate - s.RateUp)
			case s.Valves.Vent && rate < 0:
				s.RateDn += weight * (-rate - s.RateDn)
			}
		}
		s.Rate += weight * (rate - s.Rate)
		s.Smooth += weight * (r.Value - s.Smooth)
	} else {
		s.Smooth, s.Rate = r.Value, 0
	}
	s.Jumped = false
	s.Pa, s.PaAt, s.Known = r.Value, r.At, true
}

// noiseBand is how far below a target a reading may lie and still be there, Pa.
// It is narrow, so that a stage is proved at its depth and not short of it: what
// a pulse of the valve brings too much is within one period's flow.
func noiseBand(p *Plan) float64 { return 4 * p.NoisePa }

// band is how near to a target counts as there when letting off, Pa: 0.25 % of
// its gauge pressure, the noise, or half of what one period with the vent open
// takes, whichever is most; by hand what a hand can do.
func band(p *Plan, s *State) float64 {
	gauge := math.Abs(p.Legs[s.Leg].TargetPa - p.RoomPa)
	if p.Hand {
		return max(handShare*gauge, noiseBand(p), handPa)
	}
	return max(targetShare*gauge, noiseBand(p), s.RateDn*p.Period.Seconds()/2)
}

func startRamp(p *Plan, s *State, now time.Duration, leg int, out *Output) {
	s.Leg, s.StartPa, s.Reached, s.FirstReached, s.QuietSince = leg, s.Smooth, false, 0, now
	s.Valves, s.LegSince = p.Legs[leg].rest(), now
	enter(p, s, now, Ramp, out)
	out.say(Event{Kind: SetpointEvent, Pa: p.Legs[leg].TargetPa})
}

func enter(p *Plan, s *State, now time.Duration, phase Phase, out *Output) {
	s.Phase, s.Since = phase, now
	s.Window, s.Before, s.WindowSince, s.Stable = slope{}, slope{}, now, false
	out.say(Event{Kind: StageEvent, Phase: phase, Leg: s.Leg, Critical: true})
}

// rest waits shut: settling, then measuring. A search ends when the unit fails.
func rest(p *Plan, s *State, in *Input, out *Output) {
	leg := &p.Legs[s.Leg]
	if leg.Search && in.Operator.Failed {
		out.say(Event{Kind: NoteEvent, Text: "the unit fails here: the search ends", Critical: true})
		startVent(p, s, in.Now, out)
		return
	}
	over := in.Now-s.Since >= leg.Hold
	if s.Phase == Settle {
		over = settled(p, s, in.Now)
	}
	switch {
	case !over && !in.Operator.Skip:
	case s.Phase == Settle && leg.Hold > 0:
		enter(p, s, in.Now, Hold, out)
	default:
		next(p, s, in.Now, out)
	}
}

// next goes on to the next leg, or to the final vent.
func next(p *Plan, s *State, now time.Duration, out *Output) {
	if s.Leg+1 < len(p.Legs) {
		startRamp(p, s, now, s.Leg+1, out)
		return
	}
	startVent(p, s, now, out)
}

func startVent(p *Plan, s *State, now time.Duration, out *Output) {
	s.StartPa, s.QuietSince = s.Smooth, now
	s.Valves = Valves{}
	enter(p, s, now, Vent, out)
	out.say(Event{Kind: SetpointEvent, Pa: p.RoomPa})
}

// halt ends the run early: fill cut, vent open.
func halt(p *Plan, s *State, in *Input, out *Output, stop Stop) {
	s.Stopped = stop
	if s.Phase == Done {
		return
	}
	out.say(Event{Kind: RunEvent, Word: "abort", Text: stop.String(), Critical: true})
	if stop == RecordBroken && in.Broken != "" {
		out.say(Event{Kind: FaultEvent, Word: "broken", Text: in.Broken})
	}
	startVent(p, s, in.Now, out)
}

// ramp goes to the leg's target at its rate, tops up there while the gas cools
// (or lets off while it warms), and ends when the target holds by itself.
func ramp(p *Plan, s *State, now time.Duration, out *Output) {
	leg := &p.Legs[s.Leg]
	up, b := leg.TargetPa >= s.StartPa, band(p, s)
	there := s.Pa <= leg.TargetPa+b
	if up {
		b = noiseBand(p)
		there = s.Pa >= leg.TargetPa-b
	}
	if there && !s.Reached {
		s.Reached, s.QuietSince = true, now
		if s.FirstReached == 0 {
			s.FirstReached = now
		}
	}
	if p.Hand {
		rampByHand(p, s, now, up, out)
		return
	}
	moved := s.Valves
	run := leg.RatePaS * (now - s.Since).Seconds()
	step := p.Period.Seconds()
	if up {
		pulse := s.RateUp * step // what one period with the valve open brings
		line := min(leg.TargetPa, s.StartPa+run)
		if s.Valves.Fill {
			s.Valves.Fill = s.Pa+pulse < leg.TargetPa && s.Pa < line+aheadPa
		} else {
			s.Valves.Fill = s.Pa < line && s.Pa < leg.TargetPa-b
		}
	} else {
		pulse := s.RateDn * step
		line := max(leg.TargetPa, s.StartPa-run)
		if s.Valves.Vent {
			s.Valves.Vent = s.Pa-pulse > leg.TargetPa && s.Pa > line-aheadPa
		} else {
			s.Valves.Vent = s.Pa > line && s.Pa > leg.TargetPa+b
		}
	}
	if s.Valves != moved || s.Valves != (Valves{}) {
		s.QuietSince = now
	}
	if s.Reached && s.Valves == (Valves{}) && (now-s.QuietSince >= quietTime || now-s.FirstReached >= topUpMost) {
		arrive(p, s, now, out)
	}
}

// arrive ends a ramp. A leg without settle and hold, the low end of a cycle,
// goes straight on.
func arrive(p *Plan, s *State, now time.Duration, out *Output) {
	s.Valves = p.Legs[s.Leg].rest()
	if leg := &p.Legs[s.Leg]; leg.Settle == 0 && leg.Hold == 0 {
		next(p, s, now, out)
		return
	}
	enter(p, s, now, Settle, out)
}

// rampByHand waits for the operator: the ramp ends when the pressure has stayed
// at the target for a while without his doing, or, when it will not, after the
// longest time for topping up.
func rampByHand(p *Plan, s *State, now time.Duration, up bool, out *Output) {
	target, b := p.Legs[s.Leg].TargetPa, band(p, s)
	if up && s.Smooth < target-b || !up && s.Smooth > target+2*b {
		s.Reached = false
		s.QuietSince = now
	}
	if math.Abs(s.Rate) > max(b, 4*p.NoisePa)/2 {
		s.QuietSince = now
	}
	if s.Reached && (now-s.QuietSince >= quietTime || now-s.FirstReached >= topUpMost) {
		arrive(p, s, now, out)
	}
}

// vent lets the pressure off at the plan's rate, all at once where the run was
// stopped, and ends when the room's pressure has been reached for some seconds
// with the vent open.
func vent(p *Plan, s *State, now time.Duration, out *Output) {
	gauge := s.Pa - p.RoomPa
	open := p.Hand || s.Stopped != NotStopped || s.Stale || gauge < lastPa
	if !open {
		line := s.StartPa - p.VentRate*(now-s.Since).Seconds()
		if s.Valves.Vent {
			open = s.Pa > line-aheadPa
		} else {
			open = s.Pa > line
		}
	}
	s.Valves = Valves{Vent: open}
	if gauge > max(ventedPa, 4*p.NoisePa) || s.Stale || drawn(p, s, now) && p.Legs[s.Leg].InsidePa > 0 && now-s.Since < letInMost {
		s.QuietSince = now
	}
	switch {
	case open && now-s.QuietSince >= ventedTime:
		out.say(Event{Kind: RunEvent, Word: "end", Text: "vented; the vent stands open", Critical: true})
	case now-s.Since >= ventMost:
		out.say(Event{Kind: FaultEvent, Valve: "vent", Word: "not-vented", Text: "the pressure is not known to be gone: DO NOT OPEN", Critical: true})
		out.say(Event{Kind: RunEvent, Word: "end", Text: "not known to be vented: DO NOT OPEN", Critical: true})
	default:
		return
	}
	s.Phase, s.Since = Done, now
	s.Valves = Valves{Vent: true}
}

// prompt says what the operator of a bench without valves is to do now.
func prompt(p *Plan, s *State) Prompt {
	switch s.Phase {
	case Ready:
		return Prompt{}
	case Vent, Done:
		return Prompt{Kind: VentAll, TargetPa: p.RoomPa}
	}
	leg := &p.Legs[s.Leg]
	pr := Prompt{Kind: Wait, TargetPa: leg.TargetPa, DepthM: leg.DepthM}
	if leg.Vented && s.Phase == Ramp {
		pr.Kind = VentAll
		return pr
	}
	if s.Phase != Ramp {
		if s.Over > 0 {
			pr.Kind = StopPumping
		}
		return pr
	}
	switch {
	case s.Stale || s.Over > 0:
		pr.Kind = StopPumping
	case s.Reached:
		pr.Kind = ShutOff
	case leg.TargetPa < s.StartPa:
		pr.Kind = LetOff
	case s.Rate > 2*leg.RatePaS+4*p.NoisePa:
		pr.Kind = SlowDown
	default:
		pr.Kind = PumpUp
	}
	return pr
}
