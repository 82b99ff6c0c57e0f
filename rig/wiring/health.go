package wiring

import (
	"time"

	"proofpot/rig/setup"
	"proofpot/sensors"
	"proofpot/sensors/health"
	"proofpot/sensors/scale"
)

// channels says what of a bench is watched, and by what figures. The ends of a
// gauge transducer are those at the stated room pressure, or at the standard
// atmosphere: what the weather moves them by is small beside the share of the
// span that counts as an end.
func channels(b setup.Bench) []health.Channel {
	pa := b.RoomPa
	if pa == 0 {
		pa = scale.StandardAtmospherePa
	}
	room := scale.NewRoom(pa, false)
	var all []health.Channel
	for _, s := range b.Sensors {
		main, _ := sensors.QuantityNamed(s.Measures)
		if len(s.Fields) == 0 {
			all = append(all, channel(s, main, s.Interval()))
		}
		for _, f := range s.Fields {
			q := main
			if f.Measures != "" {
				q, _ = sensors.QuantityNamed(f.Measures)
			}
			interval := s.Interval()
			if f.IntervalS > 0 {
				interval = time.Duration(f.IntervalS * float64(time.Second))
			}
			c := channel(s, q, interval)
			ends := scale.Scale{Quantity: q, Unit: f.Unit, Reference: f.Reference, SealedPa: f.SealedPa}
			low, high := ends.Reading(s.ID, 0, f.Low, room), ends.Reading(s.ID, 0, f.High, room)
			if f.Low < f.High && low.Status == sensors.OK && high.Status == sensors.OK {
				c.Low, c.High = low.Value, high.Value
			}
			all = append(all, c)
		}
	}
	return all
}

func channel(s setup.Sensor, q sensors.Quantity, interval time.Duration) health.Channel {
	c := health.Channel{Sensor: s.ID, Quantity: q, Interval: interval}
	if scale.IsPressure(q) && q.String() == s.Measures {
		c.Noise, c.Accuracy = s.NoisePa, s.AccuracyPa
	}
	return c
}
