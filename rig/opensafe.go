package rig

import (
	"math"
	"time"
)

// The lid may be opened when two signs that do not hang together say that the
// pressure is gone, and the vent stands open. A gauge alone can lie: its line is
// blocked, its zero has moved, its last value stands still.
//
// The first sign is the chamber's transducer: it is heard, its value moves, and
// it has read the room's pressure, not more and not less, for some seconds.
// The second is another transducer that says the same. Where there is none, it
// is what the first one showed while the vent was open: the pressure fell from
// the highest that was seen, step by step or, in a full pot, at once when the
// valve opened (a line that is blocked shows no fall, a wire that breaks one that
// no valve has made), and the vent has stood open for half a minute since, so
// that what still flows would show. Where nothing was pressed, nothing has to fall.
const (
	openDwell    = 30 * time.Second
	openFalls    = 3    // readings on the way down
	pressedPa    = 10e3 // gauge: a chamber that was above it must have been seen to fall
	insideHighPa = 5e3
	// barometerStale: an older one is not used. Its drift over some minutes is
	// nothing against ventedPa.
	barometerStale = 5 * time.Minute
)

// roomNow is the room's pressure, absolute: the barometer's where it is heard.
func (p *Plan) roomNow(s *State, now time.Duration) float64 {
	if s.RoomPa > 0 && now-s.RoomAt <= barometerStale {
		return s.RoomPa
	}
	return p.RoomPa
}

// openSafe judges the signs, in the final vent.
func openSafe(p *Plan, s *State, now time.Duration) {
	room := p.roomNow(s, now)
	low := max(ventedPa, 4*p.NoisePa)
	fresh := s.Known && !s.Stale && !s.Stuck && now-s.PaAt <= staleAfter(p)
	vent := s.Valves == Valves{Vent: true} || p.Hand
	if !fresh || !vent || math.Abs(s.Pa-room) > low {
		s.LowSince = now
	}
	t := &s.Twin
	if !t.Known || now-t.At > staleAfter(p) || !vent || math.Abs(t.Pa-room) > low+p.ApartPa {
		s.TwinLow = now
	}
	first := now-s.LowSince >= ventedTime
	var second bool
	if t.Known {
		second = now-s.TwinLow >= ventedTime
	} else {
		second = now-s.LowSince >= openDwell && (s.Falls >= openFalls || s.HighPa-room <= pressedPa)
	}
	s.OpenSafe = first && second
}

// followed counts the readings that the open vent has brought down from the
// highest pressure of the run.
func (s *State) followed(p *Plan, pa, rise float64, vented bool) {
	if high := s.HighPa - p.RoomPa; high > pressedPa && vented && rise < 0 {
		switch part := (pa - p.RoomPa) / high; {
		case -rise > high/2:
			s.Falls += openFalls
		case part > 0.03 && part < 0.97:
			s.Falls++
		}
	}
}
