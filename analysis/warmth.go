package analysis

import "math"

// The gas is warmed by its compression while the inlet is open, and settles all
// the time: how warm it is as a closed part begins follows from the pressure
// before it, but for what its time constant and the walls make of it.
const (
	warmedShare   = 0.75 // of adiabatic compression, the rest goes into walls and water at once
	warmedShareSD = 0.3  // common practice, no source
	warmedApart   = 0.15 // by how much a single part may differ, of its warmth
	warmedLeastK  = 0.05 // and at least, K
)

// warmParts gives each closed part of each stage the warmth that adiabatic
// compression ((γ−1)/γ ln p₂/p₁ of the temperature, ideal diatomic gas) would have
// left in it at its start, K, by settlingTimes.
func (a *analysis) warmParts() {
	if a.s.gas != nil {
		return
	}
	var parts []interval
	var owner []*stage
	for _, st := range a.stages {
		st.warm = map[float64][]float64{}
		for _, p := range st.closed {
			parts, owner = append(parts, p), append(owner, st)
		}
	}
	n := len(settlingTimes)
	w, keep, gain := make([]float64, n), make([]float64, n), make([]float64, n)
	step, last, p := math.NaN(), -1, 0
	for k, t := range a.s.t {
		if a.s.spike[k] {
			continue
		}
		if last < 0 {
			last = k
			continue
		}
		dt := t - a.s.t[last]
		if !(math.Abs(dt-step) < 0.02*step) { // what that leaves out is no more than 2 % of τ
			step = dt
			for i, tau := range settlingTimes {
				keep[i] = math.Exp(-dt / tau)
				gain[i] = tau / dt * (1 - keep[i])
			}
		}
		for p < len(parts) && parts[p].end < a.s.t[last] {
			p++
		}
		rise := 0.0
		if p >= len(parts) || a.s.t[last] < parts[p].start {
			rise = 0.286 * 293 * math.Log(a.s.p[k]/a.s.p[last])
		}
		for i := range w {
			w[i] = w[i]*keep[i] + rise*gain[i]
		}
		if p < len(parts) && a.s.t[last] < parts[p].start && t >= parts[p].start {
			owner[p].warm[parts[p].start] = append([]float64(nil), w...)
		}
		last = k
	}
}

// warmth is how warm adiabatic compression would have left the gas as a closed
// part began, K, for a time constant; ok is false where nothing is known of it.
func (f *chamberFit) warmth(part interval, tau float64) (k float64, ok bool) {
	w := f.st.warm[part.start]
	if w == nil || math.IsNaN(tau) {
		return 0, false
	}
	x := math.Log(tau/settlingTimes[0]) / math.Log(settlingStep)
	return w[min(max(int(math.Round(x)), 0), len(w)-1)], true
}
