package rig

import (
	"math"
	"testing"
	"time"
)

// regulated is a chamber behind a regulator that gives share times what it is
// asked for, and follows within a second; the chamber takes five more.
type regulated struct {
	pa, outlet, share float64
	stuck             float64 // outlet that it keeps; 0: it follows
}

func (c *regulated) after(d time.Duration, v Valves) {
	for range 50 {
		h := d.Seconds() / 50
		c.outlet += (c.share*v.RegulatePa - c.outlet) * h
		if c.stuck > 0 {
			c.outlet = c.stuck
		}
		switch {
		case v.Fill:
			c.pa += (c.outlet - c.pa) * h / 5
		case v.Vent:
			c.pa += (room - c.pa) * h / 20
		}
	}
}

// follow runs a plan with a regulator to its end.
func follow(t *testing.T, p *Plan, c *regulated, look func(now time.Duration, s *State, out *Output)) State {
	t.Helper()
	p.Regulator = true
	var s State
	var out Output
	for now := time.Duration(0); s.Phase != Done; now += p.Period {
		if now > 6*time.Hour {
			t.Fatalf("no end: %s at %.0f Pa", s.Phase, c.pa)
		}
		c.after(p.Period, out.Valves)
		s, out = Step(p, s, Input{Now: now, Readings: reading(c.pa+10*float64(now/p.Period%3), now)})
		look(now, &s, &out)
	}
	return s
}

// TestARegulatorIsLedAlongTheRampToItsTarget: neither a regulator that gives 1 %
// too much nor one that gives 1 % too little misses a target by more than the
// allowance, and the ramp is neither too fast nor late.
func TestARegulatorIsLedAlongTheRampToItsTarget(t *testing.T) {
	for _, share := range []float64{0.99, 1, 1.01} {
		p := planned(t, nil)
		settled := 0
		var was float64
		var began, wasAt time.Duration
		s := follow(t, p, &regulated{pa: room, outlet: room, share: share}, func(now time.Duration, s *State, out *Output) {
			leg := &p.Legs[s.Leg]
			if out.Valves.RegulatePa > p.LimitPa {
				t.Fatalf("%.0f Pa are asked of the regulator, the limit is %.0f Pa", out.Valves.RegulatePa, p.LimitPa)
			}
			if up := leg.TargetPa > s.StartPa; up && s.Phase == Ramp && s.Pa > leg.TargetPa+allowance(p, s, leg.TargetPa)+4*p.NoisePa {
				t.Fatalf("share %g: %.0f Pa beyond the target", share, s.Pa-leg.TargetPa)
			}
			for _, e := range out.Events() {
				switch {
				case e.Kind == StageEvent && e.Phase == Ramp && e.Leg == 1:
					began = now
				case e.Kind == StageEvent && e.Phase == Settle:
					settled++
					if off := s.Pa - leg.TargetPa; math.Abs(off) > allowance(p, s, leg.TargetPa)+noiseBand(p)+band(p, s) {
						t.Errorf("share %g: leg %d settles %.0f Pa off", share, s.Leg, off)
					}
				}
			}
			if began > 0 && s.Leg == 1 && s.Phase == Ramp {
				if now-wasAt >= 10*time.Second {
					if rate := (s.Pa - was) / (now - wasAt).Seconds(); wasAt > began && rate > 1.3*leg.RatePaS {
						t.Errorf("share %g: %.0f Pa/s, want %.0f Pa/s", share, rate, leg.RatePaS)
					}
					was, wasAt = s.Pa, now
				}
			}
		})
		if s.Stopped != NotStopped || settled < len(p.Legs)-1 {
			t.Errorf("share %g: settled in %d legs, stopped %q", share, settled, s.Stopped)
		}
	}
}

// TestARegulatorThatSticksHighIsShutOff: the fill is shut beyond the allowance,
// whatever the regulator gives, and the run ends in the vent, locked out.
func TestARegulatorThatSticksHighIsShutOff(t *testing.T) {
	p := planned(t, nil)
	c := &regulated{pa: room, outlet: room, share: 1}
	peak := 0.0
	s := follow(t, p, c, func(now time.Duration, s *State, out *Output) {
		if s.Phase == Ramp && s.Leg == 0 && s.Pa > room+1e4 {
			c.stuck = room + 7e5
		}
		if s.Leg == 0 && s.Stopped == NotStopped {
			peak = max(peak, c.pa)
			if out.Valves.Fill && s.Pa > p.Legs[0].TargetPa+allowance(p, s, p.Legs[0].TargetPa)+1 {
				t.Fatalf("filled at %.0f Pa beyond the target", s.Pa-p.Legs[0].TargetPa)
			}
		}
	})
	if s.Stopped != OverPressure && s.Stopped != RegulatorRuns || s.Locked != s.Stopped || c.pa > room+2e3 {
		t.Errorf("stopped %q, locked out by %q at %.0f Pa", s.Stopped, s.Locked, c.pa)
	}
	if most := 2 * 7e5 / 5 * p.Period.Seconds(); peak > p.Legs[0].TargetPa+most {
		t.Errorf("%.0f Pa beyond the target, one period of the flow is %.0f Pa", peak-p.Legs[0].TargetPa, most/2)
	}
}

// TestARegulatorThatRunsAwayOnTheWayIsFoundLongBeforeTheTarget: what lies far below
// the target is no over-pressure, but the ramp is not the one that was asked for.
func TestARegulatorThatRunsAwayOnTheWayIsFoundLongBeforeTheTarget(t *testing.T) {
	p := planned(t, nil)
	c := &regulated{pa: room, outlet: room, share: 1}
	peak := 0.0
	s := follow(t, p, c, func(now time.Duration, s *State, out *Output) {
		if s.Phase == Ramp && s.Leg == 1 && s.Pa > room+6e4 {
			c.stuck = p.Legs[1].TargetPa - 2e4
		}
		if c.stuck > 0 && s.Stopped == NotStopped {
			peak = max(peak, s.Pa)
		}
	})
	if s.Stopped != RegulatorRuns || s.Locked != RegulatorRuns {
		t.Errorf("stopped %q, locked out by %q", s.Stopped, s.Locked)
	}
	if most := room + 6e4 + 12e3 + 2*(p.Legs[1].TargetPa-room-6e4)/5*p.Period.Seconds(); peak > most {
		t.Errorf("it was let run to %.0f Pa gauge, a period of the flow beyond what is a runaway is %.0f Pa", peak-room, most-room)
	}
}
