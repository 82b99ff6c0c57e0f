package analysis

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

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
	if t := newTrack(withoutSettling(&a.x.insideC), 600, "inside the unit"); t != nil {
		t.u = math.Hypot(t.u, 0.25)
		return t
	}
	if t := newTrack(lagging(&a.x.roomC, 3*3600), 1200, "room, as water follows it"); t != nil {
		t.u = math.Hypot(t.u, 0.2)
		return t
	}
	return nil
}

const (
	settlesFirstS = 3600.0 // s from the start of a record, in which a unit comes to the water's temperature
	settlesSure   = 8.0    // standard uncertainties that its settling must have to be taken off
)

// withoutSettling is the temperature inside the unit without how it comes to that of
// the water after the unit was put in: an exponential beside a slow bend, fitted to the
// first hour. What it tends to is the water's temperature; where it began says nothing
// of that.
func withoutSettling(s *series) *series {
	if s.empty() {
		return s
	}
	n := 0
	for n < len(s.t) && s.t[n]-s.t[0] <= settlesFirstS {
		n++
	}
	long := s.t[n-1] - s.t[0]
	if n < 60 || long < 300 {
		return s
	}
	// The least χ² with and without, over the time constants that a unit may have.
	fit := func(tau float64) (ss, share, shareVar float64) {
		k := 3
		if tau > 0 {
			k = 4
		}
		a, b := mat.NewSymDense(k, nil), mat.NewVecDense(k, nil)
		f := make([]float64, k)
		yy := 0.0
		for i := range n {
			x := (s.t[i]-s.t[0])/long - 0.5
			f[0], f[1], f[2] = 1, x, x*x
			if tau > 0 {
				f[3] = math.Exp(-(s.t[i] - s.t[0]) / tau)
			}
			y := float64(s.v[i]) - float64(s.v[0])
			yy += y * y
			for p := range k {
				for q := p; q < k; q++ {
					a.SetSym(p, q, a.At(p, q)+f[p]*f[q])
				}
				b.SetVec(p, b.AtVec(p)+f[p]*y)
			}
		}
		var chol mat.Cholesky
		var sol mat.VecDense
		var inv mat.SymDense
		if !chol.Factorize(a) || chol.SolveVecTo(&sol, b) != nil || chol.InverseTo(&inv) != nil {
			return math.Inf(1), 0, 0
		}
		return max(yy-mat.Dot(&sol, b), 0), sol.AtVec(k - 1), inv.At(k-1, k-1)
	}
	best, share, tau := math.Inf(1), 0.0, 0.0
	for c := 150.0; c <= long/2 && c < 1800; c *= 1.2 {
		ss, b, v := fit(c)
		if u := math.Sqrt(ss / float64(n-5) * v); ss < best && math.Abs(b) > settlesSure*u {
			best, share, tau = ss, b, c
		}
	}
	without, _, _ := fit(0)
	if tau == 0 || (without-best)/(best/float64(n-5)) < settlesSure*settlesSure {
		return s
	}
	out := &series{}
	for i, t := range s.t {
		out.add(t, float64(s.v[i])-share*math.Exp(-(t-s.t[0])/tau))
	}
	return out
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
