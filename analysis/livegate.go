package analysis

import "math"

// gate keeps spikes from the live estimate and sees sudden losses: a reading off
// the line of its neighbours is held back until it is known whether the pressure
// returns by a sharp edge (a spike, as in findSpikes) or not (a step).
type gate struct {
	ht, hp [6]float64 // the last sound readings, oldest first
	have   int
	seen   int
	last   float64

	pt, pp           [spikeRun + 1]float64 // held back
	n                int
	slope, mid, base float64 // line before them
	dev, limit       float64
	stays            int  // held-back readings that stay off
	loss             bool // the step is a loss beyond doubt
	stray            float64
}

type gated uint8

const (
	gatePass  gated = iota // the reading is sound
	gateWait               // held back
	gateSpike              // what was held back was a spike, the reading is sound
	gateStep               // what was held back stays
)

// lossLimit is how many standard deviations a loss must have to end a search.
const lossLimit = 15

func (g *gate) clear() { g.have, g.n, g.stray = 0, 0, 0 }

func (g *gate) push(t, p float64) {
	g.last = p
	g.seen++
	if g.have < len(g.ht) {
		g.ht[g.have], g.hp[g.have] = t, p
		g.have++
		return
	}
	copy(g.ht[:], g.ht[1:])
	copy(g.hp[:], g.hp[1:])
	g.ht[len(g.ht)-1], g.hp[len(g.hp)-1] = t, p
}

func (g *gate) take(t, p, noise, dt float64, flowing bool) gated {
	if g.n == 0 {
		if g.have > 0 && t-g.ht[g.have-1] > 8*dt {
			g.have = 0
		}
		if g.have < 4 {
			return gatePass
		}
		slope, mid, level := line(g.ht[:g.have], g.hp[:g.have])
		dev := p - level - slope*(t-mid)
		limit := 8*noise + 0.5*math.Abs(slope)*dt
		if flowing {
			limit = max(limit, 6*g.stray)
		}
		g.stray += (min(math.Abs(dev), limit) - g.stray) / 16
		if math.Abs(dev) <= limit {
			return gatePass
		}
		g.slope, g.mid, g.base, g.dev, g.limit = slope, mid, level, dev, limit
		g.stays, g.loss = 0, false
		g.pt[0], g.pp[0], g.n = t, p, 1
		return gateWait
	}
	off := func(t, p float64) float64 { return p - g.base - g.slope*(t-g.mid) }
	back := off(t, p)
	edge := off(g.pt[g.n-1], g.pp[g.n-1]) - back
	if math.Abs(back) <= max(0.3*math.Abs(g.dev), 4*noise) && math.Abs(back) <= 1.5*g.limit && edge*g.dev > 0 && math.Abs(edge) > 0.7*math.Abs(g.dev) {
		return gateSpike
	}
	if back*g.dev > 0 && math.Abs(back) > 0.4*math.Abs(g.dev) {
		g.stays++
	}
	g.pt[g.n], g.pp[g.n] = t, p
	g.n++
	if g.n <= spikeRun {
		return gateWait
	}
	need := spikeRun
	if flowing {
		need = 2 // the supply makes the loss good
	}
	g.loss = g.dev < -(float64(lossLimit)*noise+2*math.Abs(g.slope)*dt+2.5*g.limit*boolF(flowing)) && g.stays >= need
	return gateStep
}

func boolF(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// roughness is the standard deviation of white noise from second differences of
// evenly spaced readings (see whiteNoise), in one pass: their mean square, each
// cut at some four times the expected, begins at what the sheet says.
type roughness struct {
	t1, t2, v1, v2 float64
	n              int
	ms, w          float64
}

func newRoughness(sd float64) roughness { return roughness{ms: sd * sd, w: 20} }

func (r *roughness) sd() float64 { return math.Sqrt(r.ms) }

func (r *roughness) add(t, v float64) {
	if r.n >= 2 {
		a, b := t-r.t1, r.t1-r.t2
		if a > 0 && b > 0 && a < 1.5*b && b < 1.5*a {
			d := v - 2*r.v1 + r.v2
			r.w = min(r.w+1, 4000)
			r.ms += (min(d*d/6, 9*r.ms) - r.ms) / r.w
		}
	}
	r.t2, r.v2 = r.t1, r.v1
	r.t1, r.v1 = t, v
	r.n++
}

// slowWater follows the water's temperature and its rate, as a body that takes
// hours to change: a Kalman filter whose rate wanders.
type slowWater struct {
	t, c, rate float64 // s, °C, °C/h
	cc, cr, rr float64 // covariance
	known      bool
}

// How the rate of the water's temperature wanders, °C/h in the root of an hour,
// and what it may be to begin with; common practice, no source.
const (
	waterWander = 0.15
	waterRate   = 0.4 // °C/h
)

func (s *slowWater) add(t, c, sd float64) {
	sd = max(sd, 1e-3)
	if !s.known {
		*s = slowWater{t: t, c: c, cc: sd * sd, rr: waterRate * waterRate, known: true}
		return
	}
	if h := (t - s.t) / 3600; h > 0 {
		s.c += s.rate * h
		s.cc += 2*h*s.cr + h*h*s.rr
		s.cr += h * s.rr
		s.rr += waterWander * waterWander * h
		s.t = t
	}
	e := c - s.c
	if math.Abs(e) > 6*math.Sqrt(s.cc+sd*sd)+0.2 {
		return // a spike; water does not jump
	}
	v := s.cc + sd*sd
	k, q := s.cc/v, s.cr/v
	s.c += k * e
	s.rate += q * e
	s.rr -= q * s.cr
	s.cr -= k * s.cr
	s.cc -= k * s.cc
}
