package analysis

import (
	"math"

	"proofpot/profiles/water"
)

// In a gas-filled pot without a thermometer in the gas the room stands in. How far
// the gas is behind the room, no sheet says: from what the gas alone takes to what
// a heavy wall does; common practice, no source.
const roomLag = 300.0 // s

var roomLags = []float64{45, 130, roomLag, 1200}

// roomTrack is the room's temperature as the gas of such a pot follows it.
func (a *analysis) roomTrack(lag float64) *track {
	t := newTrack(lagging(&a.x.roomC, lag), 120, "room")
	if t != nil {
		t.u = math.Hypot(t.u, 0.25)
		t.sd = math.Hypot(t.sd, 0.02)
	}
	return t
}

// restlessRoom is what a gas of such a pot may feign, ml/h of gas, that follows a
// swinging room sooner or later than it is taken to.
func (f *chamberFit) restlessRoom(w interval) float64 {
	sum, hours := 0.0, w.length()/3600
	if len(f.rooms) == 0 {
		return 0
	}
	usual := f.base.at(w.end) - f.base.at(w.start)
	for _, r := range f.rooms {
		d := r.at(w.end) - r.at(w.start) - usual
		sum += d * d
	}
	k := math.Sqrt(sum/float64(len(f.rooms))) / hours
	return k * f.v.gasML / (f.base.at(w.start) + water.ZeroC)
}
