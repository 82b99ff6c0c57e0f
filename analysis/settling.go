package analysis

import "math"

// Without a gas thermometer the time in which the gas settles is a guess of each
// stage, and a wrong one feigns a leak of many ml/h. But it is one gas in one
// pot: its time constant goes with a power of the pressure, from none (heat
// carried through a still layer of constant thickness and gas of constant weight)
// to one (conduction through a gas that grows heavier), and strays little beyond
// that. So every stage tells of it, and what is still open widens the result.
const (
	settlingStray = 0.15 // of ln τ, from stage to stage; common practice, no source
	settlingStep  = 1.25 // of the grid of time constants
	settlingGrid  = 0.5  // of the distance of ln τ between two points, within which each is fitted
)

// settlingTimes are the time constants that are tried, s.
var settlingTimes = func() (list []float64) {
	for tau := 6.0; tau < 700; tau *= settlingStep {
		list = append(list, tau)
	}
	return list
}()

// settlingPowers are those of the pressure that τ may go with.
var settlingPowers = []float64{0, 0.25, 0.5, 0.75, 1}

// shareSettling gives each stage what the other stages say of its time constant,
// as the logarithm of a weight by settlingTimes.
func (a *analysis) shareSettling() {
	if a.s.gas != nil {
		return
	}
	n := len(settlingTimes)
	step := math.Log(settlingStep)
	type curve struct {
		weight []float64 // likelihood by ln τ, strayed
		shift  float64   // of ln p, in steps of the grid
	}
	curves := make([]*curve, len(a.stages))
	shift := make([]float64, len(a.stages))
	for i, st := range a.stages {
		shift[i] = math.Log(a.meanPressure(st.dwell())/a.v.roomPa) / step
		if st.settles == nil || math.IsNaN(shift[i]) {
			continue
		}
		c := &curve{weight: make([]float64, n), shift: shift[i]}
		top := math.Inf(-1)
		for _, l := range st.settles {
			top = max(top, l)
		}
		for k := range c.weight {
			sum := 0.0
			for j, l := range st.settles {
				d := float64(j-k) * step / settlingStray
				if d *= d; d < 30 && l > top-60 {
					sum += math.Exp(l - top - d/2)
				}
			}
			c.weight[k] = math.Log(sum + 1e-9)
		}
		curves[i] = c
	}
	at := func(c *curve, k float64) float64 {
		k = min(max(k, 0), float64(n-1))
		i := min(int(k), n-2)
		return c.weight[i] + (k-float64(i))*(c.weight[i+1]-c.weight[i])
	}
	for i, st := range a.stages {
		st.settlesLike = nil
		own := shift[i]
		if math.IsNaN(own) {
			continue
		}
		like := make([]float64, n)
		var logs [][]float64
		top := math.Inf(-1)
		others := 0
		for _, power := range settlingPowers {
			row := make([]float64, n)
			for k := range row {
				others = 0
				for j, c := range curves {
					if j != i && c != nil {
						row[k] += at(c, float64(k)+power*(c.shift-own))
						others++
					}
				}
				top = max(top, row[k])
			}
			logs = append(logs, row)
		}
		if others == 0 {
			continue
		}
		for k := range like {
			sum := 0.0
			for _, row := range logs {
				for j, l := range row {
					d := float64(j-k) * step / settlingStray
					if d *= d; d < 30 {
						sum += math.Exp(l - top - d/2)
					}
				}
			}
			like[k] = math.Log(sum + 1e-9)
		}
		st.settlesLike = like
	}
}

// fitSettling fits with each time constant of the gas, and gives the mean of what
// they say by how likely each is, with what they differ by in its uncertainty.
func (f *chamberFit) fitSettling(tied, curved bool) *estimate {
	type cell struct {
		e *estimate
		l float64
	}
	list := make([]cell, len(settlingTimes))
	top := math.Inf(-1)
	for i, tau := range settlingTimes {
		e, l := f.once(tied, curved, tau, f.drift)
		if e == nil {
			continue
		}
		if f.st.settlesLike != nil {
			l += f.st.settlesLike[i]
		}
		list[i] = cell{e, l}
		top = max(top, l)
	}
	var best *estimate
	most, sum, mean := math.Inf(-1), 0.0, 0.0
	for i := range list {
		c := &list[i]
		if c.e == nil || c.l < top-12 {
			c.e = nil
			continue
		}
		// Between the points of the grid.
		f.tauOf = c.e.cooled
		e, l := f.once(tied, curved, settlingTimes[i], f.drift)
		f.tauOf = nil
		if e != nil {
			if f.st.settlesLike != nil {
				l += f.st.settlesLike[i]
			}
			c.e, c.l = e, l
		}
		if c.l > most {
			best, most = c.e, c.l
		}
	}
	if best == nil {
		return nil
	}
	settle := 0.0
	for _, c := range list {
		if c.e != nil {
			w := math.Exp(c.l - most)
			sum += w
			mean += w * c.e.value
			settle += w * c.e.settle
		}
	}
	mean /= sum
	settle /= sum
	own, ownSettle, apart := 0.0, 0.0, 0.0
	for _, c := range list {
		if c.e != nil {
			w := math.Exp(c.l-most) / sum
			own += w * c.e.u * c.e.u
			apart += w * (c.e.value - mean) * (c.e.value - mean)
			ownSettle += w * (c.e.settleU*c.e.settleU + (c.e.settle-settle)*(c.e.settle-settle))
		}
	}
	e := *best
	e.value, e.u = mean, math.Sqrt(own+apart)
	e.settle, e.settleU = settle, math.Sqrt(ownSettle)
	e.lod = math.Hypot(e.lod, currie(math.Sqrt(apart)))
	e.budget = append([]Budget(nil), e.budget...)
	for i := range e.budget {
		if b := &e.budget[i]; b.Source == bySettling {
			b.MLPerH = math.Hypot(b.MLPerH, math.Sqrt(apart))
		}
	}
	return &e
}
