package rig

import (
	"fmt"
	"math"
	"time"
)

// Step is one step of the sequencer: what it knew, what has come in, and the
// plan give what it knows now and what it asks for. It reads no clock, drives
// nothing and allocates nothing. Its limits (see guard) have the last word.
func Step(p *Plan, s State, in Input) (State, Output) {
	var out Output
	in.Now = max(in.Now, s.Now)
	before, was := stands(&s, in.Now, &out), s.Pa
	if s.Phase == Ready && s.Now == 0 {
		s.Now, s.Since = in.Now, in.Now
	}
	observe(p, &s, &in, &out)
	s.Valves = before
	if s.Resumed {
		goOn(p, &s, in.Now, before, &out)
	}
	watch(p, &s, &in, was)
	operate(p, &s, &in, &out)
	if stop := limits(p, &s, &in, &out); stop != NotStopped && s.Stopped == NotStopped {
		halt(p, &s, &in, &out, stop)
	}
	switch s.Phase {
	case Ready:
		if ready(p, &s, in.Now, &out) {
			before = Valves{} // where the valves stand has been said
		}
	case Ramp:
		switch {
		case p.Legs[s.Leg].Ask != NoPrompt:
			s.Idle += in.Now - s.Now // a person may take his time
			ask(p, &s, &in, &out)
		case p.Legs[s.Leg].Vented:
			unload(p, &s, in.Now, &out)
		case s.Paused:
			s.Valves = Valves{}
		default:
			ramp(p, &s, in.Now, &out)
		}
	case Settle, Hold:
		rest(p, &s, &in, &out)
	case Vent:
		vent(p, &s, in.Now, &out)
	}
	guard(p, &s)
	s.Now = in.Now
	out.OpenSafe, out.Locked = s.OpenSafe, s.Locked
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

// ready begins when the pressure is known and nothing forbids it. Until then the
// vent stands open. It tells whether the run has begun.
func ready(p *Plan, s *State, now time.Duration, out *Output) bool {
	blocked := s.Locked != NotStopped || s.Lid.open(now) || s.Stop.open(now) || s.Float.open(now)
	if !s.Known || s.Paused || blocked {
		s.Valves = Valves{Vent: true}
		if blocked && !s.Blocked {
			s.Blocked = true
			text := "the lid, the stop or the float switch is not as it should be: waiting"
			if s.Locked != NotStopped {
				text = "locked out until it is acknowledged: " + s.Locked.String()
			}
			out.say(Event{Kind: NoteEvent, Text: text, Critical: true})
		}
		return false
	}
	s.Blocked = false
	if !p.Hand {
		out.say(Event{Kind: ValveEvent, Valve: "fill"})
		out.say(Event{Kind: ValveEvent, Valve: "vent"})
	}
	s.HighPa = s.Smooth
	s.Up, s.Dn = flow{}, flow{}      // a vent that was open at the room's pressure has taught nothing
	startRamp(p, s, now, s.Leg, out) // the first, or the one that a gap cut off
	return true
}

func startRamp(p *Plan, s *State, now time.Duration, leg int, out *Output) {
	s.Leg, s.StartPa, s.Reached, s.FirstReached, s.QuietSince = leg, s.Smooth, false, 0, now
	s.Line, s.LineAt, s.Coarse, s.Trim, s.Led, s.LeadSince = s.Smooth, now, false, 0, false, now
	s.AskedPa, s.Ahead = 0, 0
	s.Alarms &^= onceALeg
	s.Hand = handwork{Since: now, LowPa: s.Smooth}
	s.Valves, s.LegSince = p.Legs[leg].rest(), now
	enter(p, s, now, Ramp, out)
	out.say(Event{Kind: SetpointEvent, Pa: p.Legs[leg].TargetPa})
}

func enter(p *Plan, s *State, now time.Duration, phase Phase, out *Output) {
	s.Phase, s.Since = phase, now
	s.Window, s.Before, s.WindowSince, s.Stable = slope{}, slope{}, now, false
	s.MadeUp, s.MadeUpS, s.RestN, s.RestLong = 0, 0, 0, 0
	out.say(Event{Kind: StageEvent, Phase: phase, Leg: s.Leg, Critical: true})
}

// rest waits shut: settling, then measuring. A search ends when the unit fails.
func rest(p *Plan, s *State, in *Input, out *Output) {
	leg := &p.Legs[s.Leg]
	if leg.Search && in.Operator.Failed {
		out.say(Event{Kind: NoteEvent, Text: FailedNote, Critical: true})
		startVent(p, s, in.Now, out)
		return
	}
	over := p.due(in.Now, s.Since, leg.Hold)
	if s.Phase == Settle {
		over = settled(p, s, in.Now)
	}
	over = over && !s.Paused
	s.Valves = leg.rest()
	if leg.MakeUp && !p.Hand && !s.NoFill && !over && !in.Operator.Skip {
		makeUp(p, s, in.Now, leg)
	}
	if over && s.Phase == Hold && leg.MakeUp {
		out.say(Event{Kind: NoteEvent, Text: fmt.Sprintf("made up in this hold: %d pulses, %.2f s of open fill valve", s.MadeUp, s.MadeUpS)})
	}
	switch {
	case !over && !in.Operator.Skip:
	case s.Phase == Settle && leg.Hold > 0:
		enter(p, s, in.Now, Hold, out)
	default:
		next(p, s, in.Now, out)
	}
}

// due tells whether a wait since an earlier step is over: at the step nearest to
// its end, so that a loop that ticks a little late takes as many steps as one
// that does not, and a replay as many as the run.
func (p *Plan) due(now, since, wait time.Duration) bool { return now-since+p.Period/2 >= wait }

// makeUp keeps the pressure of a hold up by pulses, where its profile asks for it.
// Each is in the record, and what is judged is the time between them.
func makeUp(p *Plan, s *State, now time.Duration, leg *Leg) {
	s.Line, s.LineAt = leg.TargetPa, now
	s.Valves = approach(p, s, now, aim{pa: leg.TargetPa, rate: leg.RatePaS, up: true})
	if s.Valves.Fill {
		s.Valves.Pulse = min(s.Valves.Pulse, p.Period)
		s.MadeUp++
		s.MadeUpS += s.Valves.Pulse.Seconds()
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
	s.Line, s.LineAt, s.Led, s.Paused = s.Smooth, now, false, false
	s.VentRefAt = 0
	s.Valves = Valves{}
	enter(p, s, now, Vent, out)
	out.say(Event{Kind: SetpointEvent, Pa: p.RoomPa})
}

// halt ends the run early: fill cut, vent open.
func halt(p *Plan, s *State, in *Input, out *Output, stop Stop) {
	s.Stopped = stop
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
	to := aim{pa: leg.TargetPa, rate: leg.RatePaS, up: up}
	switch {
	case s.NoFill && up:
		s.Valves = Valves{}
	case p.Regulator && up:
		s.Valves = regulate(p, s, now, to) // it tops up: the fill stands open until the target holds
		if math.Abs(s.Smooth-leg.TargetPa) > allowance(p, s, leg.TargetPa)+noiseBand(p) {
			s.QuietSince = now
		}
	default:
		s.Valves = approach(p, s, now, to)
		if !s.Reached && asNearAsItCan(p, s, to) {
			s.Reached, s.FirstReached, s.QuietSince = true, now, now
			out.say(Event{Kind: NoteEvent, Text: "the shortest pulse of the valve brings more than is allowed: as near as it comes; a finer needle helps", Critical: true})
		}
		if s.Valves != moved || s.Valves != (Valves{}) {
			s.QuietSince = now
		}
	}
	if s.Reached && (p.Regulator && up || s.Valves == (Valves{})) && (p.due(now, s.QuietSince, quietTime) || p.due(now, s.FirstReached, topUpMost)) {
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

// vent lets the pressure off at the plan's rate, all at once where the run was
// stopped, and ends when two signs say that the room's pressure has been reached
// with the vent open.
func vent(p *Plan, s *State, now time.Duration, out *Output) {
	gauge := s.Pa - p.roomNow(s, now)
	full := p.Hand || s.Stopped != NotStopped || s.Stale || !s.Known || gauge < lastPa
	s.Valves = Valves{Vent: true}
	if !full {
		s.Valves = approach(p, s, now, aim{pa: p.RoomPa, rate: p.VentRate})
	}
	if s.Valves != (Valves{Vent: true}) {
		s.VentRefAt = 0
	} else if s.VentRefAt == 0 || s.VentRefPa-s.Pa >= max(ventDeafShare*(s.VentRefPa-p.RoomPa), 8*p.NoisePa) {
		s.VentRefAt, s.VentRefPa = now, s.Pa
	}
	if drawn(p, s, now) && p.Legs[s.Leg].InsidePa > 0 && now-s.Since < letInMost {
		s.QuietSince = now
	}
	openSafe(p, s, now)
	switch {
	case s.OpenSafe && p.due(now, s.QuietSince, ventedTime):
		text := "vented; the vent stands open"
		if s.InsideKnown && now-s.InsideAt <= insideStale && s.Inside > p.RoomPa+insideHighPa {
			out.say(Event{Kind: NoteEvent, Text: "the unit holds pressure inside: let it off through its port before its closure is touched, face away", Critical: true})
		}
		if s.Locked != NotStopped {
			text += "; LOCKED OUT until it is acknowledged: " + s.Locked.String()
		}
		out.say(Event{Kind: RunEvent, Word: "end", Text: text, Critical: true})
	case now-s.Since >= ventMost:
		out.say(Event{Kind: FaultEvent, Valve: "vent", Word: "not-vented", Text: "the pressure is not known to be gone: DO NOT OPEN", Critical: true})
		out.say(Event{Kind: RunEvent, Word: "end", Text: "not known to be vented: DO NOT OPEN", Critical: true})
	default:
		return
	}
	s.Phase, s.Since = Done, now
	s.Valves = Valves{Vent: true}
}
