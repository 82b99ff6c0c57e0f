package analysis

import "math"

// waterTrack is the temperature of the water, from its own thermometer or the
// best stand-in; nil where the record has none.
func (a *analysis) waterTrack() *track {
	if a.v.gas {
		if a.s.gas != nil {
			return nil
		}
		for _, lag := range roomLags {
			if t := a.roomTrack(lag); t != nil {
				a.rooms = append(a.rooms, t)
			}
		}
		return a.roomTrack(roomLag)
	}
	if !a.x.water.empty() {
		warming := compressionWarming(float64(a.x.water.v[0]))
		return compressed(&a.x.water, 900, "water", func(t float64) float64 { return warming * (a.pressureAt(t) - a.v.roomPa) })
	}
	if a.s.gas != nil {
		settled := a.settledGas()
		if t := newTrack(&settled, 600, "gas cushion, settled"); t != nil {
			t.u = math.Hypot(t.u, 0.1)
			return t
		}
	}
	if t := newTrack(&a.x.wall, 600, "chamber wall"); t != nil {
		t.u = math.Hypot(t.u, 0.05)
		return t
	}
	if t := newTrack(&a.x.insideC, 600, "inside the unit"); t != nil {
		t.u = math.Hypot(t.u, 0.25)
		return t
	}
	if t := newTrack(lagging(&a.x.roomC, 3*3600), 1200, "room, as water follows it"); t != nil {
		t.u = math.Hypot(t.u, 0.2)
		return t
	}
	return nil
}

// lagging is a temperature as a body follows it with a time constant, s.
func lagging(s *series, tau float64) *series {
	out := &series{}
	if s.empty() {
		return out
	}
	// The start is the mean of the first readings: bodies begin at room temperature.
	c, n := 0.0, 0
	for i := 0; i < len(s.t) && n < 6; i++ {
		c += float64(s.v[i])
		n++
	}
	c /= float64(n)
	for i, t := range s.t {
		if i > 0 {
			c += (float64(s.v[i]) - c) * (1 - math.Exp(-(t-s.t[i-1])/tau))
		}
		out.add(t, c)
	}
	return out
}
