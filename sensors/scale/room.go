package scale

import (
	"fmt"
	"time"
)

// BarometerHoldover is how long a barometer's last value stands in for the
// room's pressure. Weather moves it by less than some 30 Pa in that time (a
// fall of 3 hPa in three hours is a gale coming, from memory).
const BarometerHoldover = 10 * time.Minute

// Room is the pressure of the room, which gauge pressures are added to: the
// barometer's reading where the bench has one, else what bench.toml states. A
// bench with a barometer never falls back on the stated pressure: a silent
// barometer makes gauge pressures faults.
//
// All devices of a bench share one Room and use it from one goroutine.
type Room struct {
	statedPa  float64
	barometer bool
	seen      bool
	pa        float64
	at        time.Duration
}

// NewRoom makes the room of a bench: its stated absolute pressure in Pa (0 for
// not stated) and whether the bench has a barometer.
func NewRoom(statedPa float64, barometer bool) *Room {
	return &Room{statedPa: statedPa, barometer: barometer}
}

// Saw notes a barometer's reading, absolute, in Pa.
func (r *Room) Saw(pa float64, at time.Duration) { r.seen, r.pa, r.at = true, pa, at }

// At gives the absolute pressure of the room in Pa, or why it is not known.
func (r *Room) At(now time.Duration) (pa float64, why string) {
	switch {
	case r.barometer && !r.seen:
		return 0, "the barometer has not been read yet"
	case r.barometer && now-r.at > BarometerHoldover:
		return 0, fmt.Sprintf("the barometer has been silent for %v", (now - r.at).Round(time.Second))
	case r.barometer:
		return r.pa, ""
	case r.statedPa > 0:
		return r.statedPa, ""
	}
	return 0, "the bench has neither a barometer nor room_pa"
}
