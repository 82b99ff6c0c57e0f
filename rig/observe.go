package rig

import (
	"math"
	"time"

	"proofpot/sensors"
)

const (
	smoothTime = 1.0 // s, time constant of the smoothed pressure and rates
	jumpRates  = 3   // times the fastest known rate: faster is a spike, or a burst
)

// stands says how the valves stood up to now: a pulse that is over has shut its
// valve, and the record says when.
func stands(s *State, now time.Duration, out *Output) Valves {
	was := s.Valves
	end := s.Now + was.Pulse
	if was.Pulse <= 0 || end > now {
		return was
	}
	if was.Fill {
		out.say(Event{Kind: ValveEvent, Valve: "fill", At: end})
	}
	if was.Vent {
		out.say(Event{Kind: ValveEvent, Valve: "vent", At: end})
	}
	return Valves{RegulatePa: was.RegulatePa}
}

// observe takes in the readings.
func observe(p *Plan, s *State, in *Input, out *Output) {
	for i := range in.Readings {
		r := &in.Readings[i]
		switch r.Quantity {
		case sensors.LidOpen:
			s.Lid.see(r)
		case sensors.StopOpen:
			s.Stop.see(r)
		case sensors.FloatOpen:
			s.Float.see(r)
		}
		if r.Status != sensors.OK {
			continue
		}
		switch r.Quantity {
		case sensors.ChamberPressure:
			switch r.Sensor {
			case p.Chamber:
				pressure(p, s, r)
			case p.Twin:
				twin(p, s, r)
			}
		case sensors.UnitPressure:
			inside(p, s, r)
		case sensors.UnitTemperature:
			unitHeat(p, s, r)
		case sensors.ChamberGas, sensors.ChamberWater, sensors.ChamberWall:
			s.ChamberHeat.see(r)
		case sensors.RoomPressure:
			if math.Abs(r.Value-p.RoomPa) < weatherPa {
				s.RoomPa, s.RoomAt = r.Value, r.At
			}
		case sensors.ProbeWet:
			if r.Value != 0 && !s.Wet {
				s.Wet = true
				out.say(Event{Kind: NoteEvent, Text: "a wet probe is wet", Critical: true})
			}
		}
	}
	open, end := s.Valves.Fill || s.Valves.Vent, in.Now
	if s.Valves.Pulse > 0 {
		end = min(end, s.Now+s.Valves.Pulse)
	}
	up, dn := s.Up.openBy(s, s.Valves.Fill, in.Now), s.Dn.openBy(s, s.Valves.Vent, in.Now)
	s.Filled += up - s.Up.OpenS
	s.Up.OpenS, s.Dn.OpenS = up, dn
	if open {
		s.OpenEnd = end
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

// pressure takes in one chamber pressure, and what it says of the valves' flow.
// A reading that jumps is believed when the next one does not come back: one
// alone is a spike of the sensor. It stops the fill all the same where it lies
// above what is allowed.
func pressure(p *Plan, s *State, r *sensors.Reading) {
	if r.Value > allowedPa(p, s) {
		s.Over++
	} else {
		s.Over = 0
	}
	if ahead(p, s, r.Value) {
		s.Ahead++
	} else {
		s.Ahead = 0
	}
	moved := math.Abs(r.Value - s.Pa)
	if s.Stuck = p.stuck(s, r, moved); s.Stuck {
		if s.Vouched = vouched(p, s, r); !s.Vouched {
			return // a value that is repeated is no reading: the pressure grows stale
		}
	}
	dt := (r.At - s.PaAt).Seconds()
	if s.Known && !s.Stale && dt > 0 {
		up, dn := s.Up.openBy(s, s.Valves.Fill, r.At)-s.Up.SeenS, s.Dn.openBy(s, s.Valves.Vent, r.At)-s.Dn.SeenS
		rise := r.Value - s.Pa
		rate, weight := rise/dt, dt/(dt+smoothTime)
		jump := moved > 8*p.NoisePa+jumpRates*max(p.Legs[s.Leg].RatePaS, s.Up.most(), s.Dn.most())*dt &&
			!(up > 0 && rate > 0 && !s.Up.known(p.Period)) && !(dn > 0 && rate < 0 && !s.Dn.known(p.Period))
		if jump && !s.Jumped {
			s.Jumped = true
			return
		}
		end := s.OpenEnd
		if s.Valves.Fill || s.Valves.Vent {
			end = r.At
			if s.Valves.Pulse > 0 {
				end = min(end, s.Now+s.Valves.Pulse)
			}
		}
		shutFor := max(r.At-end, 0)
		s.Grain.StillS += worked(p, s, up+dn, dt)
		s.Up.see(up, rise, dt, shutFor, r.At, p.NoisePa)
		s.Dn.see(dn, -rise, dt, shutFor, r.At, p.NoisePa)
		s.rested(p, r, rise, shutFor, up > 0 || dn > 0)
		s.followed(p, r.Value, rise, dn > 0 || p.Hand)
		s.Rate += weight * (rate - s.Rate)
		s.Smooth += weight * (r.Value - s.Smooth)
		s.counted(p, rise)
	} else {
		s.Smooth, s.Rate, s.RestN = r.Value, 0, 0
		s.Up.SeenS, s.Dn.SeenS = s.Up.OpenS, s.Dn.OpenS
	}
	s.Jumped = false
	s.Pa, s.PaAt, s.Known = r.Value, r.At, true
}

// counted learns the step of the sensor from a change of its reading.
func (s *State) counted(p *Plan, rise float64) {
	s.Grain.move(rise, p.NoisePa)
	switch moved := math.Abs(rise); {
	case s.Grain.coarse():
		s.CountPa = s.Grain.Pa
	case moved > 0 && (s.CountPa == 0 || moved < s.CountPa):
		s.CountPa = moved
	}
}

// rested keeps the mean of the readings since the valves were last shut, and
// where it began.
func (s *State) rested(p *Plan, r *sensors.Reading, rise float64, shutFor time.Duration, opened bool) {
	if opened || shutFor < shutTime {
		s.RestN, s.RestLong = 0, 0
	}
	if shutFor < shutTime {
		return
	}
	if s.RestN == 0 || math.Abs(rise) > 8*p.NoisePa+0.01*math.Abs(s.RestPa-p.RoomPa) {
		s.RestN, s.RestLong, s.RestPa = 0, 0, r.Value
	}
	s.RestN = min(s.RestN+1, restMost)
	s.RestPa += (r.Value - s.RestPa) / float64(s.RestN)
	s.RestLong++
	if s.RestLong == restLeast {
		s.BasePa, s.BaseAt = s.RestPa, r.At
	}
}

// twin takes in the second transducer of the chamber.
func twin(p *Plan, s *State, r *sensors.Reading) {
	t := &s.Twin
	if r.Value > allowedPa(p, s)+p.ApartPa {
		t.Over++
	} else {
		t.Over = 0
	}
	t.Pa, t.At, t.Known = r.Value, r.At, true
	if !s.Known || s.Stale || r.At-s.PaAt > staleLeast {
		return
	}
	// What the pressure may have done between the two readings.
	moved := max(math.Abs(s.Rate), p.Legs[s.Leg].RatePaS) * (math.Abs((r.At - s.PaAt).Seconds()) + p.Period.Seconds())
	if math.Abs(r.Value-s.Pa) > p.ApartPa+apartShare*math.Abs(s.Pa-p.RoomPa)+moved {
		t.Off++
	} else {
		t.Off = 0
	}
}
