package rig

import (
	"fmt"
	"math"
	"time"
)

const (
	handShare   = 0.005 // of the target's gauge pressure: how near a hand comes
	handPa      = 2e3   // or so much, one fine division of a usual gauge
	strokePa    = 300   // a rise between two readings that a hand has made, at least
	strokeShare = 0.004 // or of the gauge pressure
)

// handwork is what the operator of a hand pump has done in a ramp, as the
// pressure tells it.
type handwork struct {
	Since   time.Duration
	Strokes int     // rises between pauses
	Rising  bool    //
	LowPa   float64 // before the rise, absolute
	LastPa  float64
	LastAt  time.Duration
	PeakPa  float64       // highest smoothed pressure, absolute
	Done    time.Duration // his last stroke
}

// count follows the strokes: each rise after a pause is one.
func (h *handwork) count(p *Plan, s *State) {
	if s.PaAt <= h.LastAt || s.Stale {
		return
	}
	if h.LastAt == 0 {
		h.LastPa, h.PeakPa = s.Pa, s.Smooth
	}
	rise := s.Pa - h.LastPa
	least := max(4*p.NoisePa, strokePa, strokeShare*math.Abs(s.Pa-p.RoomPa)/4)
	switch {
	case rise > least:
		if !h.Rising {
			h.Strokes++
		}
		h.Rising, h.Done = true, s.PaAt
	case rise < least/2:
		h.Rising = false
	}
	h.LastPa, h.LastAt = s.Pa, s.PaAt
	h.PeakPa = max(h.PeakPa, s.Smooth)
}

// rampByHand waits for the operator: the ramp ends when the pressure has stayed
// at the target for a while without his doing, or, when it will not, after the
// longest time for topping up.
func rampByHand(p *Plan, s *State, now time.Duration, up bool, out *Output) {
	s.Hand.count(p, s)
	target, b := p.Legs[s.Leg].TargetPa, band(p, s)
	if up && s.Smooth < target-b || !up && s.Smooth > target+2*b {
		s.Reached = false
		s.QuietSince = now
	}
	if math.Abs(s.Rate) > max(b, 4*p.NoisePa)/2 {
		s.QuietSince = now
	}
	if s.Reached && (now-s.QuietSince >= quietTime || now-s.FirstReached >= topUpMost) {
		h := &s.Hand
		if up {
			over := max(h.PeakPa-target, 0)
			out.say(Event{Kind: NoteEvent, Text: fmt.Sprintf("by hand: %.0f s, about %d strokes, overshoot %.0f Pa (%.1f %%)",
				(max(h.Done, h.Since) - h.Since).Seconds(), h.Strokes, over, 100*over/max(target-p.RoomPa, 1))})
		} else {
			out.say(Event{Kind: NoteEvent, Text: fmt.Sprintf("by hand: let off in %.0f s, to %.0f Pa of the target", (s.FirstReached - h.Since).Seconds(), s.Smooth-target)})
		}
		arrive(p, s, now, out)
	}
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
		if s.Pa > p.RoomPa+lastPa {
			pr.Kind = LetOff
		}
		return pr
	}
	if s.Phase != Ramp {
		if s.NoFill && s.Over > 0 {
			pr.Kind = StopPumping
		}
		return pr
	}
	switch {
	case s.NoFill || s.Stale:
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
