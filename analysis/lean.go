package analysis

import "math"

// A hold at a shallow depth on a soft bench may be too noisy to reach the limit
// alone. It need not stand alone: water flows through a path in proportion to the
// pressure (laminar flow), so a path that is open at 3 m and stays open shows many
// times over in a deeper hold. What a tight deeper hold does not rule out is a
// seal that leaks until the pressure seats it. For that the hold's own data are
// weighed with how often such seals are met (JCGM 106:2012, clause 6: conformance
// probability with prior knowledge).
const (
	seatingShare = 0.1  // of units under test that leak like that; common practice, no source
	seatingFrom  = 0.1  // of the limit, smallest leak that counts
	seatingTo    = 1000 // of the limit, largest
	leanDeeper   = 1.5  // how much more pressure the deeper hold must have had
)

// lean gives the bounds of a hold's leak with the help of a deeper hold that is
// tight by itself; ok is false where there is none.
func (a *analysis) lean(st *stage) (low, high float64, ok bool) {
	limit := a.limit()
	e := st.both
	var best *stage
	for _, d := range a.stages {
		if d.order <= st.order || d.both == nil || !d.hold.real() || d.missing > mayMiss {
			continue
		}
		g, gd := st.meanPa-a.sealed, d.meanPa-a.sealed
		if gd < leanDeeper*g || g <= 0 || d.both.interval().High >= limit {
			continue
		}
		if best == nil || d.both.u*g/gd < best.both.u*(st.meanPa-a.sealed)/(best.meanPa-a.sealed) {
			best = d
		}
	}
	if best == nil {
		return 0, 0, false
	}
	ratio := (st.meanPa - a.sealed) / (best.meanPa - a.sealed)
	// Not seating: what the deeper hold leaves, scaled down.
	mu, sd := best.both.value*ratio, math.Max(best.both.u*ratio, 1e-3*limit)
	like := func(q float64) float64 {
		z := (e.value - q) / e.u
		return math.Exp(-z * z / 2)
	}
	const n = 400
	type cell struct{ q, w float64 }
	var cells []cell
	add := func(q0, q1, w float64) {
		q := (q0 + q1) / 2
		cells = append(cells, cell{q1, w * like(q)})
	}
	var norm float64
	dens := func(q float64) float64 { z := (q - mu) / sd; return math.Exp(-z * z / 2) }
	top := math.Max(mu, 0) + 5*sd
	for i := range n {
		norm += dens((float64(i) + 0.5) / n * top)
	}
	if norm == 0 {
		return 0, 0, false
	}
	for i := range n {
		add(float64(i)/n*top, float64(i+1)/n*top, (1-seatingShare)*dens((float64(i)+0.5)/n*top)/norm)
	}
	step := math.Log(seatingTo/seatingFrom) / n
	for i := range n {
		q := limit * seatingFrom * math.Exp(float64(i)*step)
		add(q, q*math.Exp(step), seatingShare/n)
	}
	total := 0.0
	for _, c := range cells {
		total += c.w
	}
	if total == 0 {
		return 0, 0, false
	}
	tail := func(h float64) float64 {
		s := 0.0
		for _, c := range cells {
			if c.q > h {
				s += c.w
			}
		}
		return s / total
	}
	if tail(limit) > 0.025 {
		return 0, 0, false
	}
	lo, hi := 0.0, limit
	for range 40 {
		mid := (lo + hi) / 2
		if tail(mid) > 0.025 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Min(0, e.interval().Low), hi, true
}
