package simbench

import "math"

// weather gives the room's pressure in Pa and temperature in °C at t seconds
// after the start, which was at the second dayS of the day. Smooth: the front
// and the half-daily tide of the barometer as sines, the day with its warmest
// hour at 15 h, and the heating. At t = 0 it gives the configured start.
func (r *Room) weather(t, dayS float64) (pa, celsius float64) {
	const (
		frontRate = 2 * math.Pi / (44 * 3600)
		tideRate  = 2 * degreesPerDay
	)
	day := func(s float64) float64 { return math.Cos(degreesPerDay * (s - 15*3600)) }
	pa = r.StartPa
	if r.FrontPa != 0 {
		pa += r.FrontPa * (math.Sin(frontRate*t+r.FrontPhase) - math.Sin(r.FrontPhase))
	}
	if r.TidePa != 0 {
		pa += r.TidePa * (math.Cos(tideRate*(dayS+t-10*3600)) - math.Cos(tideRate*(dayS-10*3600)))
	}
	celsius = r.StartC + r.TrendKPerH*t/3600
	if r.DaySwingK != 0 {
		celsius += r.DaySwingK * (day(dayS+t) - day(dayS))
	}
	if r.HeatingK != 0 {
		celsius += r.HeatingK * (math.Sin(2*math.Pi*t/r.HeatingS+r.HeatingPhase) - math.Sin(r.HeatingPhase))
	}
	return pa, celsius
}
