package analysis

import (
	"math"
)

// damp is what the humidity inside says over the whole record. The mass of
// vapour in the void follows dm/dt = (equilibrium − m)/τ + k·(p_chamber − p_inside):
// walls that relax towards an equilibrium whatever the chamber does, and an
// ingress that follows the pressure from an onset on. TRADE: desorption against
// ingress; the sorption law is common practice, no source.
type damp struct {
	k, u    float64 // mg/h per Pa
	onset   float64 // s, rough
	onsetSD float64 // s, how rough: the width of the blocks that were fitted, and the sensor's lag
	gain    float64 // how much better than without ingress, as −2 Δ log likelihood
	until   float64 // s, where the fit ends: the air is near saturation there
	tau     float64
	rising  bool    // ingress is significant
	satured bool    // the air inside reached 95 %
	near    bool    // it came near saturation, within what such a sensor may err by
	totalMG float64 // gained over the record
}

// humidityEnd is the relative humidity, %, above which the balance is not used:
// the air saturates and the sensor creeps.
const humidityEnd = 92.0

// nearSaturation is what a humidity sensor that errs by up to some 4 to 5 %, as
// cheap ones do near saturation, may show of saturated air, %; common practice, no
// source.
const nearSaturation = 90.0

// fitDamp fits the balance. pressure is chamber less inside, Pa.
func fitDamp(v *void, pressure func(float64) float64, from, to float64, onsets []float64) *damp {
	if v == nil || v.mg == nil {
		return nil
	}
	d := &damp{until: to, u: math.NaN()}
	above, startRH, seen := 0, math.NaN(), 0
	for i := range v.t {
		if v.t[i] < from || v.bad[i] {
			continue
		}
		if v.t[i] > to {
			break
		}
		if math.IsNaN(startRH) {
			startRH = v.rh[i]
		}
		seen++
		if v.rh[i] >= nearSaturation && startRH < 80 && v.mg[i] > 1.25*v.mg[0] {
			d.near = true
		}
		if v.rh[i] >= 95 && startRH < 80 && v.mg[i] > 1.25*v.mg[0] {
			d.satured = true
		}
		if v.rh[i] > humidityEnd {
			if above++; above == 3 && d.until == to {
				d.until = v.t[i]
			}
		} else {
			above = 0
		}
	}
	width := max((d.until-from)/300, v.dt)
	d.onsetSD = width + humidityLag/2
	var ts, ys, ns []float64
	var t, y, n float64
	end := from + width
	for i := range v.t {
		if v.t[i] < from || v.bad[i] {
			continue
		}
		if v.t[i] > d.until {
			break
		}
		if v.t[i] >= end {
			if n > 0 {
				ts, ys, ns = append(ts, t/n), append(ys, y/n), append(ns, n)
			}
			t, y, n = 0, 0, 0
			end = v.t[i] + width
		}
		t += v.t[i]
		y += v.mg[i]
		n++
	}
	if len(ts) < 12 {
		return d
	}
	d.totalMG = ys[len(ys)-1] - ys[0]
	taus := []float64{600, 1200, 2400, 4800, 9600, 20000, 60000}
	// What one block may err by beyond its noise: the humidity sensor's slow creep.
	creep := 2e-4 * ys[0]
	weight := make([]float64, len(ts))
	for i := range weight {
		weight[i] = 1 / (v.mgSD*v.mgSD/ns[i] + creep*creep)
	}
	start, dp := ts[0], make([]float64, len(ts))
	for i := range ts {
		dp[i] = max(pressure(ts[i]), 0)
	}
	type fit struct{ chi, k, u, tau, onset float64 }
	try := func(tau, onset float64, source bool) fit {
		// Basis: start and equilibrium of the relaxation, source filtered by it.
		var m [3][3]float64
		var r [3]float64
		k := 2
		if source {
			k = 3
		}
		s := 0.0
		col := make([][3]float64, len(ts))
		for i := range ts {
			f := math.Exp(-(ts[i] - start) / tau)
			if source && i > 0 {
				// The sensor shows it some seconds late.
				a, b := max(ts[i-1]-humidityLag, onset), ts[i]-humidityLag
				s *= math.Exp(-(ts[i] - ts[i-1]) / tau)
				if b > a {
					s += (dp[i] + dp[i-1]) / 2 * (b - a) / 3600
				}
			}
			col[i] = [3]float64{f, (1 - f), s}
			if tau > 50000 {
				col[i][1] = (ts[i] - start) / 3600
			}
			for p := range k {
				for q := range k {
					m[p][q] += weight[i] * col[i][p] * col[i][q]
				}
				r[p] += weight[i] * col[i][p] * ys[i]
			}
		}
		sol, inv, ok := solve3(m, r, k, k-1)
		if !ok {
			return fit{chi: math.Inf(1)}
		}
		chi := 0.0
		for i := range ts {
			e := ys[i] - sol[0]*col[i][0] - sol[1]*col[i][1]
			if source {
				e -= sol[2] * col[i][2]
			}
			chi += weight[i] * e * e
		}
		out := fit{chi: chi, tau: tau, onset: onset}
		if source {
			out.k, out.u = sol[2], math.Sqrt(inv)
		}
		return out
	}
	none := fit{chi: math.Inf(1)}
	for _, tau := range taus {
		if f := try(tau, 0, false); f.chi < none.chi {
			none = f
		}
	}
	best := fit{chi: math.Inf(1)}
	for _, tau := range taus {
		for _, o := range onsets {
			if f := try(tau, o, true); f.chi < best.chi && f.k > 0 {
				best = f
			}
		}
	}
	// Closer about the best onset.
	if !math.IsInf(best.chi, 1) {
		gap := 0.0
		for i := range onsets {
			if onsets[i] == best.onset {
				if i > 0 {
					gap = max(gap, onsets[i]-onsets[i-1])
				}
				if i+1 < len(onsets) {
					gap = max(gap, onsets[i+1]-onsets[i])
				}
			}
		}
		for round := 0; round < 4 && gap > v.dt; round++ {
			mid := best.onset
			for k := -4; k <= 4; k++ {
				o := mid + gap*float64(k)/4
				for _, tau := range taus {
					if o < from || o > d.until {
						continue
					}
					if f := try(tau, o, true); f.chi < best.chi && f.k > 0 {
						best = f
					}
				}
			}
			gap /= 4
		}
	}
	dof := float64(len(ts) - 5)
	if math.IsInf(best.chi, 1) {
		// No ingress fits: only a bound from the fit without one.
		f := try(none.tau, onsets[0], true)
		d.k, d.u = 0, f.u*math.Sqrt(max(1, none.chi/dof))
		d.tau = none.tau
		return d
	}
	excess := max(1, best.chi/dof)
	d.gain = (none.chi - best.chi) / excess
	d.k, d.u, d.onset, d.tau = best.k, best.u*math.Sqrt(excess), best.onset, best.tau
	d.rising = d.gain > 30 && d.k > 5*d.u
	if !d.rising {
		// Averaged over both descriptions, weighed by how well they fit (three
		// parameters more for an ingress: Akaike's weights).
		w := 1 / (1 + math.Exp(-(d.gain-6)/2))
		k := d.k
		d.k = w * k
		d.u = math.Sqrt(w*d.u*d.u + w*(1-w)*k*k)
	}
	return d
}
