package rig

import "time"

// Limits that protect people and the bench. They stand above the sequencer:
// whatever it asks for passes through guard.
const (
	staleLeast  = 3 * time.Second
	stalePeriod = 6 // or so many periods
	// lostAfter: a chamber whose pressure is not known for so long is vented;
	// until then it is left shut, so that a cable pulled by mistake costs a gap
	// and not the night.
	lostAfter = 60 * time.Second
	// overShare and overLeastPa: how far above the target a reading may lie
	// before it counts as over-pressure.
	overShare   = 0.03
	overLeastPa = 15e3
	// overWarmPa is what a unit under power may add by warming water and gas.
	overWarmPa = 50e3
	// overReadings in a row trip: one alone is a spike of the sensor (and cuts
	// the fill all the same).
	overReadings = 3
	// lastPa gauge: below it the vent is opened fully.
	lastPa = 2e4
	// ventedPa gauge: 0.02 bar, below which a lid may be opened once the vent
	// stands open and it has lasted for ventedTime.
	ventedPa   = 2e3
	ventedTime = 5 * time.Second
	// ventMost: after so long without the room's pressure the run ends with a
	// warning. The vent stays open.
	ventMost = 30 * time.Minute
	// deadManMore than two periods: a step that is a little late does not let a
	// fill valve chatter.
	deadManMore = 100 * time.Millisecond
)

func staleAfter(p *Plan) time.Duration { return max(staleLeast, stalePeriod*p.Period) }

// allowedPa is the chamber pressure, absolute, that must not be exceeded now.
func allowedPa(p *Plan, s *State) float64 {
	target := p.RoomPa
	if s.Phase != Ready && s.Phase != Done {
		target = p.Legs[s.Leg].TargetPa
	}
	if s.Phase == Ramp || s.Phase == Vent {
		target = max(target, s.StartPa)
	}
	over := target + max(overShare*(target-p.RoomPa), overLeastPa)
	if s.Phase != Ready && s.Phase != Done && p.Legs[s.Leg].Warms {
		over += overWarmPa
	}
	return min(over, max(p.LimitPa, p.RoomPa+overLeastPa))
}

// rampMost is the time after which a ramp that has not arrived is given up:
// an empty supply, a shut cock, a valve that does not answer, a flooded unit.
func rampMost(p *Plan, leg *Leg) time.Duration {
	if p.Hand || leg.Ask != NoPrompt {
		return 5*leg.Ramp + 15*time.Minute
	}
	return 3*leg.Ramp + 3*time.Minute
}

// limits says whether the run must stop now, and why. A person's stop comes
// before anything else.
func limits(p *Plan, s *State, in *Input, out *Output) Stop {
	watched := protect(p, s, in.Now, out)
	switch {
	case s.Phase == Done || s.Stopped != NotStopped:
		return NotStopped
	case in.Operator.Abort:
		return ByOperator
	}
	return watched
}

// guard has the last word on the valves.
func guard(p *Plan, s *State) {
	if s.Valves.Fill && !mayFill(p, s) {
		s.Valves = Valves{Vent: s.Valves.Vent}
	}
	if s.Stopped != NotStopped || s.Locked != NotStopped {
		s.Valves = Valves{Vent: true}
	}
	if most := p.deadMan(); s.Valves.Fill && (s.Valves.Pulse <= 0 || s.Valves.Pulse > most) {
		s.Valves.Pulse = most // nothing fills without a loop that renews it
	}
	s.Valves.RegulatePa = min(s.Valves.RegulatePa, p.LimitPa)
}

// deadMan is how long a fill may stand open without a loop that renews it.
func (p *Plan) deadMan() time.Duration { return deadManSteps*p.Period + deadManMore }

// mayFill tells whether anything may be let into the chamber now.
func mayFill(p *Plan, s *State) bool {
	switch {
	case s.Stopped != NotStopped || s.Locked != NotStopped || s.Paused || s.NoFill || s.Valves.Vent:
		return false
	case !s.Known || s.Stale || s.Over > 0 || s.Twin.Over > 0 || s.Pa >= p.LimitPa || s.Twin.Known && s.Twin.Pa >= p.LimitPa:
		return false
	case s.Phase == Ramp:
		return p.Legs[s.Leg].Ask == NoPrompt && !p.Legs[s.Leg].Vented
	}
	return (s.Phase == Settle || s.Phase == Hold) && p.Legs[s.Leg].MakeUp
}
