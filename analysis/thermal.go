package analysis

import (
	"math"
	"slices"
)

// track is a slow temperature as a function of time: block means joined by a
// local straight line, since water and walls take hours to change.
type track struct {
	smooth []float64               // °C at each t, once asked for
	t, c   []float64               // s, °C
	u      float64                 // °C/h, standard uncertainty of a slope over some ten minutes
	half   float64                 // s, half width of the local line
	bends  bool                    // a local parabola: what it follows settles within minutes
	sd     float64                 // °C, standard uncertainty of a smoothed value, the same over some half width
	from   string                  // which thermometer
	lift   func(t float64) float64 // °C that compression adds at once; nil for none
}

// compressed takes what compression adds to a temperature off it, which would
// smear over the width of the local line, and adds it again after the smoothing.
func compressed(s *series, half float64, from string, lift func(t float64) float64) *track {
	var rest series
	for i, t := range s.t {
		rest.t, rest.v = append(rest.t, t), append(rest.v, s.v[i]-float32(lift(t)))
	}
	k := newTrack(&rest, half, from)
	if k != nil {
		k.lift = lift
	}
	return k
}

func newTrack(s *series, half float64, from string) *track {
	return blockTrack(s, half, 30, half, from)
}

// insideTrack is the temperature inside the unit: as smooth as it is, or narrower
// where it bends too fast for that, as in a gas-filled pot, whose gas is warm
// after a ramp.
func insideTrack(s *series) *track {
	const half = 300.0 // s
	var k *track
	for _, h := range []float64{half, 150, 75, 40} {
		if k = blockTrack(s, h, min(30, h/5), half, "inside the unit"); k == nil {
			return nil
		}
		k.bends = true
		if k.follows(s) {
			break
		}
	}
	return k
}

// follows says whether a track goes through the readings it was made from: means
// of a few of them miss it by their noise.
func (k *track) follows(s *series) bool {
	const few, far, least = 5, 4.0, 0.01 // readings, standard deviations, K
	n := len(s.t) / few
	if n < 20 {
		return true
	}
	mean := make([]float64, n)
	miss := make([]float64, n)
	second := make([]float64, 0, n)
	for i := range n {
		t := 0.0
		for j := i * few; j < (i+1)*few; j++ {
			mean[i] += float64(s.v[j]) / few
			t += s.t[j] / few
		}
		miss[i] = math.Abs(mean[i] - k.at(t))
		if i > 1 {
			second = append(second, mean[i]-2*mean[i-1]+mean[i-2])
		}
	}
	edge := max(far*madSD(second)/math.Sqrt(6), least)
	out := 0
	for _, m := range miss {
		if m > edge {
			out++
		}
	}
	return out*200 < n
}

// blockTrack smooths means of blocks over ±half, s; the uncertainty of its slopes
// is that over ±slope.
func blockTrack(s *series, half, block, slope float64, from string) *track {
	if s.empty() {
		return nil
	}
	k := &track{half: half, from: from}
	var sum, at float64
	n := 0
	end := s.t[0] + block
	flush := func() {
		if n > 0 {
			k.t = append(k.t, at/float64(n))
			k.c = append(k.c, sum/float64(n))
		}
		sum, at, n = 0, 0, 0
	}
	for i, t := range s.t {
		if t >= end {
			flush()
			end = t + block
		}
		sum += float64(s.v[i])
		at += t
		n++
	}
	flush()
	if len(k.c) > 4 {
		// Differences of neighbouring blocks show the noise of a block.
		d := make([]float64, len(k.c)-1)
		for i := range d {
			d[i] = k.c[i+1] - k.c[i]
		}
		sd := max(madSD(d)/math.Sqrt2, 1e-4)
		k.sd = sd / math.Sqrt(max(0.6*min(2*half, k.t[len(k.t)-1]-k.t[0])/block, 1))
		width := min(2*slope, max(k.t[len(k.t)-1]-k.t[0], block))
		k.u = sd * math.Sqrt(12) / (width * math.Sqrt(width/block)) * 3600
	} else {
		k.u = 1
		k.sd = 0.02
	}
	return k
}

// slopeSD is the standard uncertainty of its slope over so many seconds, °C/h: that
// of a straight line through independent errors goes down with the time to the
// power of one and a half (σ√12/(Θ√N)), a thermometer's own wander in proportion.
func (k *track) slopeSD(long float64) float64 {
	const wander = 0.003 // °C; common practice, no source
	u := k.u
	if w := 2 * k.half; long > w {
		u *= math.Pow(w/long, 1.5)
	}
	return math.Hypot(u, wander/max(long/3600, 1e-3))
}

// at gives the smoothed temperature: worked out at each block, straight between.
func (k *track) at(t float64) float64 {
	if k.lift != nil {
		return k.level(t) + k.lift(t)
	}
	return k.level(t)
}

// bend is by how much the slope between two times, °C/h, differs between the local
// line and one of half its width: what the smoothing hides of a water that warms
// unevenly.
func (k *track) bend(from, to float64) float64 {
	if k.lift == nil || to-from < 60 {
		return 0
	}
	narrow := *k
	narrow.half /= 2
	h := (to - from) / 3600
	return ((narrow.local(to) - narrow.local(from)) - (k.local(to) - k.local(from))) / h
}

func (k *track) level(t float64) float64 {
	if k.smooth == nil {
		k.smooth = make([]float64, len(k.t))
		for i, t := range k.t {
			k.smooth[i] = k.local(t)
		}
	}
	n := len(k.t)
	i, _ := slices.BinarySearch(k.t, t)
	if n == 1 {
		return k.smooth[0]
	}
	i = min(max(i, 1), n-1)
	f := (t - k.t[i-1]) / (k.t[i] - k.t[i-1])
	f = min(max(f, -0.5), 1.5)
	return k.smooth[i-1] + f*(k.smooth[i]-k.smooth[i-1])
}

// local is the local line or parabola about a time.
func (k *track) local(t float64) float64 {
	lo, hi := between(k.t, t-k.half, t+k.half)
	if hi-lo < 2 {
		i := min(lo, len(k.t)-1)
		return k.c[i]
	}
	// Tricube weights and a local line or parabola (Cleveland, JASA 74 (1979) 829).
	var m [3][3]float64
	var r [3]float64
	for i := lo; i < hi; i++ {
		u := (k.t[i] - t) / k.half
		w := 1 - math.Abs(u*u*u)
		w = w*w*w + 1e-6
		f := [3]float64{1, u, u * u}
		for a := range 3 {
			for b := range 3 {
				m[a][b] += w * f[a] * f[b]
			}
			r[a] += w * f[a] * (k.c[i] - k.c[lo])
		}
	}
	if k.bends && hi-lo >= 6 && k.t[hi-1] > t+k.half/3 && k.t[lo] < t-k.half/3 {
		if sol, _, ok := solve3(m, r, 3, 1); ok {
			return k.c[lo] + sol[0]
		}
	}
	det := m[0][0]*m[1][1] - m[0][1]*m[0][1]
	if det < 1e-9*m[0][0]*m[0][0] {
		return k.c[lo] + r[0]/m[0][0]
	}
	return k.c[lo] + (m[1][1]*r[0]-m[0][1]*r[1])/det
}

// cooling is the gas temperature in one closed part: where it tends to, and an
// exponential that dies away after the compression.
type cooling struct {
	start  float64
	tau    float64 // s
	a, ua  float64 // K at start, with its standard uncertainty
	rest   float64 // K above the base
	trend  float64 // K/s beyond the base
	base   *track  // nil: rest is absolute
	white  float64 // K, noise of one reading about the fit
	span   float64 // s, how long the readings are
	curveU float64 // K, standard uncertainty of the fitted curve at a time
	sound  bool    // the fit describes the readings
	fitted bool
}

// above is how much warmer the gas is than the base, K.
func (c *cooling) above(t float64) float64 {
	return c.rest + c.trend*(t-c.start) + c.a*math.Exp(-(t-c.start)/c.tau)
}

// doubt is how far the gas may have been warmer at the start of the part than the
// thermometer shows, and settled as it did, K: what the fit leaves open of the
// curve – its amplitude alone is not fixed where the part is short, but trades
// with where it tends to – and what a thermometer behind the gas leaves out of a
// change that it shows.
func (c *cooling) doubt() float64 {
	shown := math.Abs(c.a) * (1 - math.Exp(-c.span/c.tau))
	return min(c.ua, c.curveU) + 0.03*shown + 0.02
}

// slowCushionS is in what time the gas of a cushion settles at the slowest, s, where
// no part was long enough to tell; common practice, no source.
const slowCushionS = 120.0

// fastWater is how fast the water of a pot changes at the most, K/h; common
// practice, no source.
const fastWater = 3.0

// settledGas is what the thermometer of a gas cushion reads once the gas has
// settled: the gas rests on the water, and shows its temperature. How long that
// takes is taken from the parts in which it was warm enough to tell; in the others
// what is left of a settling looks like water that cools.
func (a *analysis) settledGas() (settled series) {
	const plain, left = 2.0, 0.05 // K
	var taus []float64
	for _, st := range a.stages {
		for _, part := range st.closed {
			if c := fitCooling(a.s, part, nil); c.sound && math.Abs(c.a) > plain && c.span > c.tau {
				taus = append(taus, c.tau)
			}
		}
	}
	common := slowCushionS
	if len(taus) > 0 {
		slices.Sort(taus)
		common = taus[len(taus)*3/4]
	}
	for _, st := range a.stages {
		for _, part := range st.closed {
			wait := common * math.Log(max(math.Abs(warmAt(a.s, part, common))/left, 1))
			lo, hi := between(a.s.t, part.start+wait, part.end)
			var ts, cs []float64
			for i := lo; i < hi; i++ {
				if g := float64(a.s.gas[i]); !math.IsNaN(g) {
					ts, cs = append(ts, a.s.t[i]), append(cs, g)
				}
			}
			// A gas that a leak lets expand, or that was not warm as the others were, goes
			// on changing.
			if n := len(ts); n > 4 && ts[n-1] > ts[0] {
				slope, _, _ := line(ts, cs)
				own := 0.02 * math.Sqrt(12/float64(n)) / (ts[n-1] - ts[0])
				if math.Abs(slope) > fastWater/3600+4*own {
					continue
				}
			}
			for i, t := range ts {
				settled.add(t, cs[i])
			}
		}
	}
	return settled
}

// warmAt is how much warmer the gas was at the start of a part than where it tends
// to, K, if it settles with tau.
func warmAt(s *signal, part interval, tau float64) float64 {
	lo, hi := between(s.t, part.start, part.end)
	var n, x, xx, y, xy float64
	for i := lo; i < hi; i++ {
		if g := float64(s.gas[i]); !math.IsNaN(g) {
			e := math.Exp(-(s.t[i] - part.start) / tau)
			n, x, xx, y, xy = n+1, x+e, xx+e*e, y+g, xy+e*g
		}
	}
	return (n*xy - x*y) / (n*xx - x*x)
}

// fitCooling fits the gas thermometer in a closed part by least squares, with
// the time constant by a profile search (the amplitude and the rest are linear).
func fitCooling(s *signal, part interval, base *track) cooling {
	c := cooling{start: part.start, tau: 40, base: base}
	lo, hi := between(s.t, part.start, part.end)
	// Block means, finer at the start.
	var ts, vs, ws []float64
	block := max(2*s.dt, 2.0)
	var sum, at float64
	n := 0
	seen, last, before := 0, 0.0, 0.0
	var second []float64 // differences, of readings spread over the part
	every := max(1, (hi-lo)/20000)
	flush := func() {
		if n > 0 {
			t := at / float64(n)
			v := sum / float64(n)
			if base != nil {
				v -= base.at(t)
			}
			ts, vs, ws = append(ts, t-part.start), append(vs, v), append(ws, float64(n))
		}
		sum, at, n = 0, 0, 0
	}
	if hi <= lo {
		return c
	}
	end := s.t[lo] + block
	for i := lo; i < hi; i++ {
		g := float64(s.gas[i])
		if math.IsNaN(g) {
			continue
		}
		if seen++; seen > 2 && seen%every == 0 {
			second = append(second, g-2*last+before)
		}
		before, last = last, g
		if s.t[i] >= end {
			flush()
			if s.t[i]-part.start > 120 {
				block = max(block, 20)
			}
			end = s.t[i] + block
		}
		sum += g
		at += s.t[i]
		n++
	}
	flush()
	if len(ts) < 6 {
		return c
	}
	if len(second) > 6 {
		c.white = max(madSD(second)/math.Sqrt(6), 1e-4)
	}
	long := ts[len(ts)-1]
	c.span = long
	c.curveU = c.white * math.Sqrt(4/float64(seen))
	best := math.Inf(1)
	misfit := func(tau float64) float64 {
		trend := base == nil && long > 3*tau || base != nil && long > 8*tau
		k := 2
		if trend {
			k = 3
		}
		var m [3][3]float64
		var r [3]float64
		for i := range ts {
			f := [3]float64{1, math.Exp(-ts[i] / tau), ts[i]}
			for a := range k {
				for b := range k {
					m[a][b] += ws[i] * f[a] * f[b]
				}
				r[a] += ws[i] * f[a] * vs[i]
			}
		}
		sol, inv, ok := solve3(m, r, k, 1)
		if !ok {
			return math.Inf(1)
		}
		ss := 0.0
		for i := range ts {
			e := vs[i] - sol[0] - sol[1]*math.Exp(-ts[i]/tau) - sol[2]*ts[i]
			ss += ws[i] * e * e
		}
		if ss < best {
			best = ss
			c.tau, c.rest, c.a, c.trend = tau, sol[0], sol[1], sol[2]
			c.ua = c.white * math.Sqrt(inv)
			c.fitted = true
		}
		return ss
	}
	profiled(4, 900, 1.12, misfit)
	// Each block should miss by its noise only.
	chi := best / float64(len(ts)) / (c.white * c.white)
	c.sound = c.fitted && chi < 4
	if math.Abs(c.a) < 3*c.ua+0.05 {
		c.tau = max(min(c.tau, 200), 10)
	}
	return c
}
