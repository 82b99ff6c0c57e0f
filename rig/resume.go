package rig

import "time"

// Resume gives the state in which a run goes on that was cut off after the step
// that left s, and is looked at again at a time at, with pa in the chamber,
// absolute. Where the pressure was held the settle or hold goes on, and the time
// of the gap does not count in it; where it was not, the leg begins again from
// its ramp. A run that was venting goes on venting. What the sensors said before
// the gap is forgotten; that the unit is wet, or the bench locked out, is not.
// Told says whether the record has the line of the stage that s is in: where a
// power cut took it, a stage that goes on begins there.
func (p *Plan) Resume(s State, at time.Duration, pa float64, held, told bool) State {
	gap := at - s.Now
	next := State{
		Resumed: true, Untold: !told,
		Phase: s.Phase, Leg: s.Leg, Since: s.Since + gap, Stopped: s.Stopped, Locked: s.Locked, Wet: s.Wet, Paused: s.Paused,
		Pa: pa, PaAt: at, Known: true, Smooth: pa, HighPa: max(s.HighPa, pa), Now: at,
		CountPa: s.CountPa, Filled: s.Filled, Idle: s.Idle + gap, LegSince: s.LegSince + gap,
		StartPa: pa, QuietSince: at, OpenEnd: at, StuckAt: at, BasePa: pa, BaseAt: at, Line: pa, LineAt: at,
		WindowSince: at, InsideAt: at, LeadSince: at, LowSince: at, TwinLow: at, MadeUp: s.MadeUp, MadeUpS: s.MadeUpS,
	}
	switch {
	case s.Phase == Vent:
		next.Since = at
	case held && (s.Phase == Settle || s.Phase == Hold):
		next.Reached, next.Valves, next.StartPa = true, p.Legs[s.Leg].rest(), s.StartPa
		if s.FirstReached > 0 {
			next.FirstReached = s.FirstReached + gap
		}
	default:
		next.Phase, next.Since = Ready, at
		next.Idle += s.Now - min(s.LegSince, s.Now) // what is done again does not count as too long
		next.LegSince = at                          // nor twice, where it is cut off again before a step
	}
	return next
}

// goOn says after a gap where the valves stand, and which stage goes on, where the
// record cannot know it.
func goOn(p *Plan, s *State, now time.Duration, stand Valves, out *Output) {
	s.Resumed = false
	if s.Phase == Ready {
		return // all is said when it begins
	}
	if !p.Hand {
		out.say(Event{Kind: ValveEvent, Valve: "fill"})
		out.say(Event{Kind: ValveEvent, Valve: "vent", Open: stand.Vent})
	}
	if s.Phase == Vent || s.Untold {
		enter(p, s, now, s.Phase, out)
	}
}
