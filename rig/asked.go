package rig

import (
	"time"

	"proofpot/profiles"
	"proofpot/profiles/plan"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// Work on the unit itself: what a person does with his hands, on a bench with
// valves too. Where the chamber must stay vented for it, its vent stands open
// and the fill stays shut until he is out of the way and has said so.
const (
	drawnShare   = 0.05             // of the vacuum: how near a hand comes
	drawnLeastPa = 1e3              // or so much
	drawnTime    = 10 * time.Second // it holds when it has stayed for so long
	letInPa      = 1e3              // from the room: air is back in the unit
	insideStale  = 15 * time.Second // slow sensors speak every few seconds
	askTime      = 60 * time.Second // for a hand to do what needs no answer
	letInMost    = 5 * time.Minute  // that a stopped run waits for the air to be let in
)

// vented tells whether the chamber stays at the room's pressure in a leg.
func (l *Leg) vented() bool {
	switch l.Ask {
	case DrawDown, LetIn, CloseUp, PutIn:
		return true
	}
	return l.Vented
}

// unload goes down to the room's pressure at the leg's rate, in a leg in which the
// chamber stays vented then. Where the room's pressure has gone since the start, the
// chamber's has gone with it.
func unload(p *Plan, s *State, now time.Duration, out *Output) {
	line := s.StartPa - p.Legs[s.Leg].RatePaS*(now-s.Since).Seconds()
	if s.Valves.Vent {
		line -= aheadPa
	}
	s.Valves, s.Reached = Valves{Vent: s.Pa-p.RoomPa < lastPa || s.Pa > line}, true
	if s.Pa-p.RoomPa > max(ventedPa, 4*p.NoisePa) || s.Stale {
		s.Reached, s.QuietSince = false, now
	}
	if s.Reached && p.due(now, s.QuietSince, ventedTime) {
		arrive(p, s, now, out)
	}
}

// rest gives how the valves stand in a leg when nothing moves.
func (l *Leg) rest() Valves { return Valves{Vent: l.vented()} }

// inside takes in one pressure inside the unit.
func inside(p *Plan, s *State, r *sensors.Reading) {
	if r.Sensor != p.Inside {
		return
	}
	s.Inside, s.InsideAt, s.InsideKnown = r.Value, r.At, true
}

// insideLost tells whether a leg that goes by the inside pressure has been
// without it for too long.
func insideLost(p *Plan, s *State, now time.Duration) bool {
	if s.Phase != Ramp && s.Phase != Settle && s.Phase != Hold {
		return false
	}
	leg := &p.Legs[s.Leg]
	return leg.InsidePa > 0 && now-max(s.InsideAt, s.LegSince) > lostAfter
}

// drawn tells whether the unit is under vacuum, as far as is known.
func drawn(p *Plan, s *State, now time.Duration) bool {
	return s.InsideKnown && now-s.InsideAt <= insideStale && s.Inside < p.RoomPa-2*letInPa
}

// ask waits for what a person does in a leg, and ends its ramp.
func ask(p *Plan, s *State, in *Input, out *Output) {
	leg := &p.Legs[s.Leg]
	s.Valves = leg.rest()
	now := in.Now
	done := false
	switch leg.Ask {
	case DrawDown, LetIn:
		known := s.InsideKnown && s.InsideAt >= s.Since && now-s.InsideAt <= insideStale
		there := known && s.Inside >= p.RoomPa-letInPa
		if leg.Ask == DrawDown {
			there = known && s.Inside <= leg.InsidePa+drawnBand(p, leg)
		}
		if !there {
			s.Reached, s.QuietSince = false, now
			return
		}
		if !s.Reached {
			s.Reached, s.QuietSince = true, now
		}
		done = p.due(now, s.QuietSince, drawnTime)
	case CloseUp, PutIn:
		s.Reached = true // a person may take his time
		switch open := s.Lid.open(now); {
		case in.Operator.Ready && !open && !s.Early:
			out.say(Event{Kind: NoteEvent, Text: ReadyNote, Critical: true})
			done = true
		case in.Operator.Ready && !s.Early: // and not when he shuts it: his hands are there then
			s.Early = true
			out.say(Event{Kind: NoteEvent, Text: "not yet: the lid is open; shut and lock it, stand back, and answer again", Critical: true})
		case !in.Operator.Ready:
			s.Early = false
		}
	default:
		s.Reached = true
		done = p.due(now, s.Since, askTime)
	}
	if done {
		arrive(p, s, now, out)
	}
}

// ReadyNote is what the record says when a person has answered that he is done.
const ReadyNote = "done, as asked"

func drawnBand(p *Plan, leg *Leg) float64 {
	return max(drawnLeastPa, drawnShare*(p.RoomPa-leg.InsidePa))
}

// askPrompt says what a person is to do to the unit now; ok is false where that
// is not the matter.
func askPrompt(p *Plan, s *State, now time.Duration) (pr Prompt, ok bool) {
	if s.Phase == Ready || s.Phase == Done {
		return Prompt{}, false
	}
	leg := &p.Legs[s.Leg]
	pr = Prompt{Kind: leg.Ask, TargetPa: leg.TargetPa, InsidePa: leg.InsidePa, DepthM: leg.DepthM, WarmerK: leg.WarmerK}
	switch {
	case leg.Ask == NoPrompt:
		return Prompt{}, false
	case s.Phase == Vent:
		pr.Kind, pr.InsidePa = LetIn, p.RoomPa
		return pr, leg.InsidePa > 0 && drawn(p, s, now)
	case s.Phase != Ramp:
		pr.Kind = Wait
	case leg.Ask == DrawDown && s.Reached:
		pr.Kind = ShutPort
		if s.Inside < leg.InsidePa-2*drawnBand(p, leg) {
			pr.Kind = LetIn // drawn too far: back up
		}
	}
	return pr, true
}

// lay adds a planned leg, with the legs in which a person does to the unit what
// its kind asks for.
func (p *Plan) lay(leg Leg, planned plan.Leg, of int) {
	by := func(ask PromptKind, targetPa float64) Leg {
		return Leg{Stage: leg.Stage, Name: leg.Name, DepthM: p.depth(max(targetPa-p.SealedPa, 0)), TargetPa: targetPa, RatePaS: leg.RatePaS, Ramp: askTime, Ask: ask, WarmerK: planned.WarmerK}
	}
	before := p.RoomPa
	if n := len(p.Legs); n > 0 {
		before = p.Legs[n-1].TargetPa
	}
	switch planned.Kind {
	case profiles.KindVacuum:
		leg.Ask, leg.InsidePa = DrawDown, p.RoomPa-planned.VacuumPa
		back := by(LetIn, p.RoomPa)
		back.InsidePa = p.RoomPa
		p.Legs = append(p.Legs, leg, back)
		if of > 1 { // it goes into the chamber
			p.Legs = append(p.Legs, by(CloseUp, p.RoomPa))
		}
	case profiles.KindPlunge:
		p.Legs = append(p.Legs, by(PutIn, p.RoomPa), leg)
	case profiles.KindPowered:
		leg.Warms, leg.WarmerK = true, planned.WarmerK
		off := by(SwitchOff, leg.TargetPa)
		off.Warms = true
		p.Legs = append(p.Legs, by(SwitchOn, before), leg, off)
	default:
		leg.Vented = planned.AbsolutePa <= p.RoomPa // to the room and no further: rest, or the end of the way up
		p.Legs = append(p.Legs, leg)
		return
	}
	p.Asks = true
}

// sensorOf gives the sensor of a bench that measures a quantity, or nil.
func sensorOf(b setup.Bench, q sensors.Quantity) *setup.Sensor {
	for i := range b.Sensors {
		s := &b.Sensors[i]
		if s.Measures == q.String() {
			return s
		}
		for _, f := range s.Fields {
			if f.Measures == q.String() {
				return s
			}
		}
	}
	return nil
}

// A unit under power may grow by half as much again as it is asked to, and a
// little; what is beyond that comes from something else in it.
const (
	warmShare = 1.5
	warmLeast = 5.0 // K
)

// unitHeat watches the temperature inside the unit. A unit that a person warms
// before he puts it in, or whose load is under power, warms because it was asked
// to: then not how fast counts, but how far.
func unitHeat(p *Plan, s *State, r *sensors.Reading) {
	h := &s.UnitHeat
	h.see(r)
	running := s.Phase == Ramp || s.Phase == Settle || s.Phase == Hold
	leg := &p.Legs[s.Leg]
	switch {
	case running && leg.vented():
		h.Fast, h.RefC, h.RefAt, h.FromC = 0, r.Value, r.At, r.Value
	case running && (leg.Warms || leg.Ask == SwitchOn):
		h.Fast = 0
		if r.Value > h.FromC+warmShare*leg.WarmerK+warmLeast {
			h.Beyond++
		} else {
			h.Beyond = 0
		}
	default:
		h.FromC, h.Beyond = r.Value, 0
	}
}
