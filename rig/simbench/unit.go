package simbench

import (
	"math"
)

// unitState is the unit: its wall, the air in it, the water in it.
type unitState struct {
	present   bool
	celsius   float64
	insidePa  float64 // Pa, air and vapour
	insideM3  float64 // m³ left for air
	airMol    float64 // dry air
	vapourKg  float64
	liquidKg  float64
	sorbedKg  float64 // still in the wall
	creepM3   [3]float64
	collapsed float64 // m³
	ingressM3 float64 // m³, liquid or its equivalent, net
	leakM3    float64 // m³/s now
	startC    float64

	hand byHand
}

// path is one way in.
type path struct {
	UnitFault
	open     bool
	standing float64 // s at pressure so far
	left     float64 // m³ of the sudden part still to come
}

// resealWakesPa is the difference at which a path that later reseals begins to
// pass water: the meniscus of a gap of 0.1 mm, 4 × 0.073 N/m / d.
const resealWakesPa = 3e3

// Sudden events take their time: water breaking in, a wall folding.
const (
	burstS    = 0.05
	collapseS = 0.03
)

// opensAt gives the pressure over the sealed one at which a path opens.
func (p *path) opensAt() float64 {
	if p.Mode == Reseal {
		return min(resealWakesPa, 0.5*p.OpenPa)
	}
	return p.OpenPa
}

// openShare gives how much of a resealing path is left at a load: all of it up to
// 10 % beyond its depth, nothing from 50 % beyond.
func (p *path) openShare(loadPa float64) float64 {
	if p.Mode != Reseal {
		return 1
	}
	return min(max((1.5-loadPa/p.OpenPa)/0.4, 0), 1)
}

// load is the pressure that the unit's wall carries by the contract of depth:
// chamber less sealed.
func (b *Bench) load() float64 {
	if b.u.hand.inAir {
		return b.c.roomPa - b.u.insidePa
	}
	return b.c.pa - b.cfg.Unit.SealedPa
}

// leaks adds what passes through the paths to f.
func (b *Bench) leaks(f *flows) {
	u := &b.u
	u.leakM3 = 0
	if !u.present {
		return
	}
	if u.hand.inAir {
		b.leaksOfAir(f)
		return
	}
	difference := b.c.pa - u.insidePa
	for i := range b.paths {
		p := &b.paths[i]
		if !p.open {
			continue
		}
		if p.left > 0 {
			switch {
			case p.Mode == Collapse:
				f.shrink += p.DropM3 / collapseS
			case b.cfg.Chamber.Gas:
				f.unitGas += p.DropM3 / burstS * b.c.pa / (gasConstant * b.c.gasK)
			default:
				f.ingress += p.DropM3 / burstS
			}
		}
		if p.Mode == Collapse {
			continue
		}
		open := p.openShare(b.load())
		if open == 0 {
			continue
		}
		laminar := open * p.FlowM3 / p.OpenPa
		liquid := laminar * difference
		if p.Mode == Burst {
			liquid = open * orificeFlow(p.FlowM3/math.Sqrt(p.OpenPa), difference)
		}
		switch {
		case b.cfg.Chamber.Gas:
			f.unitGas += laminarGas(laminar, b.c.pa, u.insidePa, b.c.gasK, b.muWater)
			u.leakM3 += laminar * difference
		case difference >= 0 || u.liquidKg > 0:
			f.ingress += liquid
			u.leakM3 += liquid
		default: // drained: air comes out
			f.unitGas += laminarGas(laminar, b.c.pa, u.insidePa, u.celsius+zeroC, b.muWater)
		}
	}
}

// unitStep shortens a step so that a path opens within it at its very pressure,
// and so that what comes in does not overrun what resists it.
func (b *Bench) unitStep(f *flows, h float64) float64 {
	if !b.u.present {
		return h
	}
	for i := range b.paths {
		p := &b.paths[i]
		switch {
		case p.open && p.left > 0:
			h = min(h, 0.002)
		case !p.open:
			if ahead := p.opensAt() - b.load(); ahead > 0 && f.paPerS > 0 {
				h = min(h, max(ahead/f.paPerS, 1e-3))
			}
		}
	}
	if q := math.Abs(f.ingress) + math.Abs(f.unitGas+f.roomGas)*gasConstant*b.c.gasK/b.c.pa; q > 0 {
		away := max(math.Abs(b.c.pa-b.u.insidePa), 10)
		h = min(h, 0.2*away*b.u.insideM3/(b.u.insidePa*q))
	}
	return h
}

// stepUnit goes on by h seconds, the chamber pressure still that of the start
// of the step.
func (b *Bench) stepUnit(h float64, f *flows) {
	u, cfg := &b.u, &b.cfg.Unit
	if !u.present {
		return
	}
	around := b.c.waterC
	if b.c.waterKg <= 0 {
		around = b.c.wallC
	}
	u.celsius += (around - u.celsius) * h / (cfg.HeatTauS + h)
	b.warmByHand(h, around)
	squeezed := cfg.SqueezeM3PerPa * max(b.c.pa-u.insidePa, 0)
	for i := range cfg.Creep {
		k := &cfg.Creep[i]
		if k.Share == 0 {
			continue
		}
		tau, goal := k.LoadS, k.Share*squeezed
		if goal < u.creepM3[i] {
			tau = k.UnloadS
		}
		u.creepM3[i] += (goal - u.creepM3[i]) * h / (tau + h)
	}
	u.collapsed += f.shrink * h
	u.liquidKg = max(u.liquidKg+f.ingress*h*b.rho, 0)
	u.ingressM3 += u.leakM3 * h
	u.airMol = max(u.airMol+(f.unitGas+f.roomGas)*h, 0)
	if f.unitGas > 0 && b.cfg.Chamber.Gas {
		// Compressed air that has cooled in the tank is saturated there; its
		// share of vapour stays as it expands (Dalton).
		share := saturationPa(b.c.roomC+zeroC) / max(b.cfg.Supply.Pa, b.c.pa)
		u.vapourKg += f.unitGas * h * share * gasConstant / vapourR
	}
	b.stepByHand(h)
	b.moisture(h)
	b.inside()

	for i := range b.paths {
		p := &b.paths[i]
		if !p.open || p.left <= 0 {
			continue
		}
		took := p.DropM3 / burstS
		if p.Mode == Collapse {
			took = p.DropM3 / collapseS
		}
		if p.left -= took * h; p.Mode != Collapse {
			u.ingressM3 += took * h
		}
	}
}

// openPaths opens what gives way at the pressure at the end of a step of h
// seconds.
func (b *Bench) openPaths(h float64) {
	if !b.u.present {
		return
	}
	for i := range b.paths {
		p := &b.paths[i]
		if p.open {
			continue
		}
		if b.load() < p.opensAt()*(1-1e-9) {
			continue
		}
		p.standing += h
		if p.standing < p.After.Seconds() {
			continue
		}
		p.open, p.left = true, p.DropM3
		if !b.truth.Failed {
			b.truth.Failed, b.truth.Mode, b.truth.OnsetPa = true, p.Mode, b.load()
			b.truth.FailedAt = b.now + seconds(b.within+h)
		}
	}
}

// moisture lets liquid evaporate, the wall give off or take up vapour, and the
// excess condense, each towards its equilibrium with its own time constant.
func (b *Bench) moisture(h float64) {
	u, cfg := &b.u, &b.cfg.Unit
	kelvin := u.airC() + zeroC
	full := saturationPa(kelvin) / (vapourR * kelvin) * u.insideM3 // kg
	b.fullKg = full
	if u.liquidKg > 0 && u.vapourKg < full {
		took := min((full-u.vapourKg)*h/(cfg.EvaporateS+h), u.liquidKg)
		u.vapourKg += took
		u.liquidKg -= took
	}
	if cfg.SorbS > 0 {
		gave := (cfg.SorbRHPct/100*full - u.vapourKg) * h / (cfg.SorbS + h)
		gave = min(gave, u.sorbedKg)
		u.vapourKg += gave
		u.sorbedKg -= gave
	}
	if u.vapourKg > full {
		const condenseS = 30
		fell := (u.vapourKg - full) * h / (condenseS + h)
		u.vapourKg -= fell
		u.liquidKg += fell
	}
}

// inside gives the pressure of air and vapour in what is left of the void.
func (b *Bench) inside() {
	u, cfg := &b.u, &b.cfg.Unit
	volume := cfg.FreeM3*(1+cfg.Expansion*(u.celsius-u.startC)) -
		cfg.SqueezeM3PerPa*(b.c.pa-u.insidePa) - u.creep() - u.collapsed - u.liquidKg/1000
	u.insideM3 = max(volume, 1e-3*cfg.FreeM3)
	kelvin := u.airC() + zeroC
	u.insidePa = (u.airMol*gasConstant + u.vapourKg*vapourR) * kelvin / u.insideM3
}

func (u *unitState) creep() float64 { return u.creepM3[0] + u.creepM3[1] + u.creepM3[2] }

// outside gives what the unit displaces as volume at no pressure, and its
// squeeze, m³ and m³/Pa: volume − squeeze × chamber pressure.
func (u *unitState) outside(cfg *Unit) (volume, squeeze float64) {
	if !u.present {
		return 0, 0
	}
	volume = cfg.OuterM3*(1+cfg.Expansion*(u.celsius-u.startC)) + cfg.SqueezeM3PerPa*u.insidePa - u.creep() - u.collapsed
	return volume, cfg.SqueezeM3PerPa
}
