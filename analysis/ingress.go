package analysis

import (
	"math"
	"slices"
	"sort"

	"proofpot/profiles/assumed"
)

// ingress is what has gone into the unit by a time, ml, with its standard
// uncertainty: read from the inside pressure, or followed from the first leak on
// by the flow law q = k (p_chamber − p_inside), where the air inside is squeezed
// by what has come in (Boyle). It makes the gas cushion grow, and with it what
// each Pa is worth.
type ingress struct {
	t, w, u  []float64
	sealedPa float64
	freeML   float64
}

func (g *ingress) index(t float64) (int, float64) {
	i := sort.SearchFloat64s(g.t, t)
	if i <= 0 {
		return 0, 0
	}
	if i >= len(g.t) {
		return len(g.t) - 2, 1
	}
	return i - 1, (t - g.t[i-1]) / (g.t[i] - g.t[i-1])
}

func (g *ingress) at(t float64) float64 {
	if t <= g.t[0] {
		return 0
	}
	i, f := g.index(t)
	return g.w[i] + f*(g.w[i+1]-g.w[i])
}

func (g *ingress) sd(t float64) float64 {
	if t <= g.t[0] {
		return 0
	}
	i, f := g.index(t)
	return g.u[i] + f*(g.u[i+1]-g.u[i])
}

func (g *ingress) insidePa(t float64) float64 {
	return g.sealedPa * g.freeML / max(g.freeML-g.at(t), 0.02*g.freeML)
}

// followIngress sets a.w where a unit has taken in enough to matter; it says
// whether it did.
func (a *analysis) followIngress() bool {
	if a.v.gas || a.v.waterFed {
		return false
	}
	if a.in != nil && a.in.pa != nil {
		return a.readIngress()
	}
	return a.walkIngress()
}

// readIngress takes it from the inside pressure.
func (a *analysis) readIngress() bool {
	v := a.in
	g := &ingress{sealedPa: a.sealed, freeML: v.freeML}
	width := max(10, 4*v.dt)
	var t, w, n float64
	end := v.t[0] + width
	top := 0.0
	for i := range v.t {
		if v.t[i] >= end {
			if n > 0 {
				g.t = append(g.t, t/n)
				m := max(w/n, 0)
				g.w = append(g.w, m)
				g.u = append(g.u, assumed.SheetSD*m+v.noise)
				top = max(top, m)
			}
			t, w, n = 0, 0, 0
			end = v.t[i] + width
		}
		if v.bad[i] {
			continue
		}
		t += v.t[i]
		w += v.ml[i]
		n++
	}
	if len(g.t) < 4 || top < 0.01*a.v.gasML {
		return false
	}
	a.w = g
	return true
}

// walkIngress follows a leak without a witness inside. k comes from each closed
// part in turn and is carried over the times of an open valve.
func (a *analysis) walkIngress() bool {
	first := -1
	for i, st := range a.stages {
		if e := st.chamber; e != nil && (e.value > 4*e.u || e.settle > 4*e.settleU && e.settleU > 0) {
			first = i
			break
		}
	}
	onset := math.NaN()
	if first >= 0 {
		onset = a.stages[first].dwell().start
		if r := a.stages[first].ramp; r.real() {
			onset = (r.start + r.end) / 2
		}
	}
	burst := 0.0 // ml that went at once
	for _, j := range a.steps {
		if math.IsNaN(onset) || j.t1 > a.stages[max(first, 0)].dwell().end || first < 0 {
			continue
		}
		if first > 0 && j.t0 < a.stages[first-1].dwell().end {
			continue
		}
		onset = j.t0
		burst = j.drop * a.v.compliance(j.pa, 0)
		break
	}
	if math.IsNaN(onset) {
		return false
	}
	// Slopes of ln p by closed part, after the onset and after the settling.
	type piece struct{ t0, t1, rate, u, p float64 }
	var pieces []piece
	for _, st := range a.stages[first:] {
		for _, part := range st.closed {
			start := max(part.start, onset)
			if part.end-start < 6*a.s.dt {
				continue
			}
			long := part.end - start
			n := int(max(1, math.Round(long/max(60, 10*a.s.calmDT))))
			for i := range n {
				lo, hi := between(a.s.t, start+long*float64(i)/float64(n), start+long*float64(i+1)/float64(n))
				var ts, ys []float64
				warm := a.s.gas != nil && slices.ContainsFunc(a.s.gas[lo:hi], func(c float32) bool { return !math.IsNaN(float64(c)) })
				for k := lo; k < hi; k++ {
					if a.s.spike[k] || warm && math.IsNaN(float64(a.s.gas[k])) {
						continue // a slope is of readings that all know the gas's temperature, or none
					}
					y := math.Log(a.s.p[k])
					if warm {
						y -= math.Log(float64(a.s.gas[k]) + 273.15)
					}
					ts = append(ts, a.s.t[k])
					ys = append(ys, y)
				}
				if len(ts) < 6 {
					continue
				}
				slope, mid, level := line(ts, ys)
				p := math.Exp(level)
				if a.s.gas != nil {
					p = a.pressureAt(mid)
				}
				u := a.s.noise/p*math.Sqrt(12/float64(len(ts)))/(ts[len(ts)-1]-ts[0]) + 2e-7
				if a.s.gas == nil && start+long*float64(i)/float64(n) < part.start+60 {
					u += 3e-5 // the gas is still settling, and nothing shows how
				}
				pieces = append(pieces, piece{t0: ts[0], t1: ts[len(ts)-1], rate: max(-slope, 0), u: u, p: p})
			}
		}
	}
	if len(pieces) == 0 {
		return false
	}
	free := a.run.Unit.FreeVolumeML
	if free <= 0 {
		free = 500
	}
	inside := func(w float64) float64 { return a.sealed * free / max(free-w, 0.02*free) }
	// k of one piece, ml/s/Pa, given what has gone in.
	kOf := func(q piece, w float64) float64 {
		v := a.v.volume(q.p, w)
		flow := q.rate*(v+a.v.stiff*q.p) - a.v.blank*(q.p-a.v.roomPa)/3600
		return max(flow, 0) / max(q.p-inside(w), 1000)
	}
	g := &ingress{sealedPa: a.sealed, freeML: free}
	end := a.stages[len(a.stages)-1].dwell().end
	step := max(1.0, (end-onset)/6000)
	// One conductance for all times: what each piece would have shown.
	steady := func(k float64) float64 {
		w, sum, n, i := burst, 0.0, 0.0, 0
		for t := onset; t <= end; t += step {
			for i < len(pieces) && t > (pieces[i].t0+pieces[i].t1)/2 {
				q := pieces[i]
				v := a.v.volume(q.p, w)
				flow := k*max(q.p-inside(w), 0) + a.v.blank*(q.p-a.v.roomPa)/3600
				want := flow / (v + a.v.stiff*q.p)
				e := (q.rate - want) / (0.05*max(q.rate, want) + q.u)
				sum += e * e
				n++
				i++
			}
			w += k * max(a.pressureAt(t)-inside(w), 0) * step
			w = min(w, 0.98*free)
		}
		return sum / max(n, 1)
	}
	k0 := kOf(pieces[0], burst)
	best, bestK := math.Inf(1), k0
	for f := -2.5; f <= 2.5; f += 0.05 {
		if m := steady(k0 * math.Exp(f)); m < best {
			best, bestK = m, k0*math.Exp(f)
		}
	}
	carry := best > 6 // no single conductance: piece by piece
	walk := func(k0 float64) float64 {
		g.t, g.w, g.u = g.t[:0], g.w[:0], g.u[:0]
		w, blind, k := burst, burst, k0
		i := 0
		first := math.NaN()
		for t := onset; t <= end; t += step {
			seen := false
			for i < len(pieces) && t > pieces[i].t1 {
				i++
			}
			if i < len(pieces) && t >= pieces[i].t0 {
				seen = true
				kk := kOf(pieces[i], w)
				if math.IsNaN(first) {
					first = kk
				}
				if carry {
					k = kk
				}
			}
			d := k * max(a.pressureAt(t)-inside(w), 0) * step
			w = min(w+d, 0.98*free)
			if !seen && carry {
				blind += d
			}
			g.t = append(g.t, t)
			g.w = append(g.w, w)
			g.u = append(g.u, 0.12*w+0.15*blind)
		}
		return first
	}
	if carry {
		// The k before the first closed part is that of the part itself.
		k := k0
		for range 12 {
			f := walk(k)
			if math.IsNaN(f) || math.Abs(f-k) < 1e-4*k {
				break
			}
			k = (k + f) / 2
		}
		walk(k)
	} else {
		walk(bestK)
	}
	if len(g.t) < 3 || g.w[len(g.w)-1] < 0.01*a.v.gasML {
		return false
	}
	a.w = g
	return true
}
