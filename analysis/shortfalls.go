package analysis

import (
	"cmp"
	"math"
	"slices"
)

// In a ramp the inlet brings about as much from one reading to the next as before and
// after. Where it once brings far less – its shortfall far beyond the noise and beyond
// every other one of the record's ramps, those just after the inlet opened among them –
// and goes on at its rate, volume was lost at once: an inlet that finds its flow late
// does so in every ramp, a unit gives way once.
const (
	shortNoise  = 9.0 // standard deviations of a reading
	shortSD     = 1.8 // of a shortfall by white noise alone, in those: by simulation
	shortOther  = 3.0 // times the largest other shortfall, at the rate of this one
	shortDoubt  = 1.7 // times that leave a doubt, while the inlet may still find its flow
	shortBack   = 0.5 // of the shortfall: what the readings beside it bring too much was a spike's
	shortBeside = 3   // readings to each side, which the loss bends
	shortLeast  = 40  // shortfalls to compare with
)

// shortfall is by how much the reading after i rose less than those about it, Pa.
type shortfall struct {
	i         int
	pa, usual float64 // Pa; what the readings about it rose
	since     float64 // s, from the opening of the inlet
	beside    float64 // Pa, the most that one beside it rose more than usual
}

// shortfalls lists those of the ramps by the fill valve, in the order of time.
func (a *analysis) shortfalls() []shortfall {
	var list []shortfall
	s := a.s
	for _, o := range a.x.fill {
		lo, hi := between(s.t, o.start, o.end)
		var at []int
		for i := lo; i < hi; i++ {
			if !s.spike[i] {
				at = append(at, i)
			}
		}
		rise := func(k int) float64 { return s.p[at[k+1]] - s.p[at[k]] }
		for k := 2; k+4 < len(at); k++ {
			if s.t[at[k+4]]-s.t[at[k-2]] > 6.6*s.pace().across(at[k], at[k+1]) {
				continue // not evenly read
			}
			about := []float64{rise(k - 2), rise(k - 1), rise(k + 1), rise(k + 2), rise(k + 3)}
			beside := max(about[1], about[2])
			slices.Sort(about)
			usual := about[2]
			list = append(list, shortfall{i: at[k], pa: usual - rise(k), usual: usual, since: s.t[at[k]] - o.start, beside: beside - usual})
		}
	}
	return list
}

// plainShortfalls adds the loss that shows as such a shortfall – the largest of the
// record, since a unit gives way once – and clears one that only a slowly opening inlet
// spoke against; a smaller one is a doubt.
func (a *analysis) plainShortfalls() {
	list := a.shortfalls()
	if a.byHand() || len(list) == 0 {
		return
	}
	s := a.s
	c := slices.MaxFunc(list, func(p, q shortfall) int { return cmp.Compare(p.pa, q.pa) })
	if !(c.pa > shortNoise*s.noise) || c.beside > shortBack*c.pa || c.usual <= 0 {
		return
	}
	other, seen := 0.0, 0
	for _, o := range list {
		if d := o.i - c.i; d >= -shortBeside && d <= shortBeside {
			continue
		}
		scale := 1.0
		if o.usual > 0 {
			scale = max(c.usual/o.usual, 1)
		}
		other = max(other, o.pa*scale)
		seen++
	}
	sure := c.pa >= shortOther*other
	if seen < shortLeast || !sure && (c.pa < shortDoubt*other || c.since > inletFinds+14*s.dt) {
		return
	}
	near := func(o jump) bool { return math.Abs(o.t0-s.t[c.i]) < 3*s.dt }
	a.unsure = slices.DeleteFunc(a.unsure, near)
	if slices.ContainsFunc(a.steps, near) {
		return
	}
	n := s.sound(c.i, 1)
	loss := jump{i: c.i, t0: s.t[c.i], t1: s.t[n], pa: a.pressureBefore(c.i), drop: c.pa,
		u: shortSD * s.noise, paSD: s.noise, slope: c.usual / (s.t[n] - s.t[c.i]), inletted: true, unsure: !sure}
	if !sure {
		a.unsure = append(a.unsure, loss)
		return
	}
	a.steps = append(a.steps, loss)
	slices.SortFunc(a.steps, func(p, q jump) int { return cmp.Compare(p.t0, q.t0) })
}
