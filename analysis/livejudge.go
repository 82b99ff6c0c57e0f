package analysis

import (
	"math"

	"proofpot/profiles/assumed"
	"proofpot/profiles/water"
)

// judge renews the estimate.
func (l *Live) judge(t float64) {
	q, u, window, ok := l.bank.leak()
	if !ok || window < saysAfter {
		return
	}
	b := &l.bank
	rel := assumed.SheetSD
	if !l.v.gas && !l.v.waterFed {
		// The part was taken with the gas volume that was known at its start.
		f := l.v.compliance(b.pa, l.gone0+l.conduct*b.drive*max(b.partT-b.t0, 0)/3600) / l.v.compliance(b.pa, b.gone)
		q, u = q*f, u*f
		if q > 4*u {
			if l.conduct == 0 {
				l.gone0 = max(l.gone0, q*max(b.t0-l.onset, 0)/3600)
			}
			l.gone = l.gone0
			l.take(q * (b.t - b.t0) / 3600)
			l.conduct = q / max(b.drive, 1000)
		} else if window > provedFor {
			l.conduct, l.gone = 0, l.gone0
		}
		v := l.v.volume(b.pa, l.gone0)
		rel = math.Hypot(assumed.SheetSD*l.v.gasML, goneShare*l.gone) / v
		rel *= v / b.pa / l.v.compliance(b.pa, l.gone0)
	} else {
		rel *= l.v.volume(b.pa, 0) / b.pa / l.v.compliance(b.pa, 0)
	}
	u = math.Hypot(u, rel*math.Abs(q+l.v.blank*(b.pa-l.roomPa())))
	if l.v.gas {
		f := liquidEquivalent(1, b.pa, l.roomPa(), b.zeroC+water.ZeroC)
		q, u = q*f, u*f
	}
	l.u = u
	l.now = Interval{Estimate: q, Low: q - coverage95*u, High: q + coverage95*u}
	l.says = true
	if l.now.Low > l.limit && q > 4*u && t > l.warmTill {
		if math.IsNaN(l.over) {
			l.over = t
		}
		if t-l.over >= provedFor {
			l.failed = true
		}
	} else {
		l.over = math.NaN()
	}
}

// liveBlock is the mean of a few readings.
type liveBlock struct {
	t, p, n        float64
	gasT, gas, ng  float64
	waterC, waterN float64
	end            float64
}

func (b *liveBlock) addGas(t, c float64) {
	b.gasT += t
	b.gas += c
	b.ng++
}

func (b *liveBlock) addWater(_, c float64) {
	b.waterC += c
	b.waterN++
}

func (b *liveBlock) mean() {
	b.t /= b.n
	b.p /= b.n
	if b.ng > 0 {
		b.gasT /= b.ng
		b.gas /= b.ng
	}
	if b.waterN > 0 {
		b.waterC /= b.waterN
	}
}

// take lets a volume go into the unit.
func (l *Live) take(ml float64) {
	l.gone += ml
	if free := l.run.Unit.FreeVolumeML; free > 0 {
		l.gone = min(l.gone, 0.98*free)
	}
}

// insidePa is the pressure of the air in the unit, absolute, squeezed by what has
// gone in (Boyle).
func (l *Live) insidePa() float64 {
	free := l.run.Unit.FreeVolumeML
	if !(free > 0) || l.v.gas {
		return l.sealed
	}
	return l.sealed * free / max(free-l.gone, 0.02*free)
}
