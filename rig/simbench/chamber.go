package simbench

import "math"

// chamber is the state of the pot: gas, water and wall.
type chamber struct {
	pa       float64 // Pa
	gasM3    float64 // m³
	gasMol   float64
	gasK     float64
	waterKg  float64
	waterC   float64
	wallC    float64
	airMol   float64 // dissolved in the water
	tankMol  float64
	refill   bool
	roomPa   float64
	roomC    float64
	exchange float64 // W/K of the gas at room pressure
}

// flows is what moves at a moment, into the chamber positive unless said otherwise.
type flows struct {
	gasIn    float64 // mol/s, at the supply's temperature
	gasOut   float64 // mol/s, out, at the gas's temperature
	dissolve float64 // mol/s from the gas into the water
	waterIn  float64 // m³/s
	waterOut float64 // m³/s, out
	unitGas  float64 // mol/s from the chamber into the unit
	roomGas  float64 // mol/s from the room into a unit that lies beside the chamber
	ingress  float64 // m³/s of water from the chamber into the unit
	shrink   float64 // m³/s that the unit loses outside by collapse
	paPerS   float64 // the rate of the chamber pressure that follows
	stiff    bool    // something flows freely towards another pressure
}

// ledger sums what has gone where, so that mass and energy can be audited.
type ledger struct {
	gasIn, gasOut, dissolved, unitGas   float64 // mol
	waterIn, waterOut, ingress          float64 // m³
	enthalpyIn, enthalpyOut, work, heat float64 // J: with gas in, with gas out, done by the gas, given by it
}

func (b *Bench) flow() flows {
	c, s := &b.c, &b.cfg.Supply
	var f flows
	inK := s.C + zeroC
	gas := func(m3PerS float64) float64 { return m3PerS * c.pa / (gasConstant * c.gasK) }
	gauge := c.pa - c.roomPa

	supplyPa := b.fx.supplyPa
	if s.TankM3 > 0 && !b.fx.surge {
		supplyPa = min(supplyPa, c.tankMol*gasConstant*(c.roomC+zeroC)/s.TankM3)
	}
	if s.Regulator {
		supplyPa = min(supplyPa, b.outletPa)
	}
	fill := share(&b.fill, b.fx.fillStuck, b.fx.fillShare)
	if b.cfg.HandOperated {
		fill = 0
	}
	if fill > 0 && supplyPa > c.pa {
		f.stiff = true
		if s.Water {
			f.waterIn += orificeFlow(s.FillOrifice*fill, supplyPa-c.pa)
		} else {
			f.gasIn += gasFlow(s.FillSonic*fill, supplyPa, c.pa, inK)
		}
	}
	if b.fx.fillPasses > 0 && supplyPa > c.pa {
		if s.Water {
			f.waterIn += b.fx.fillPasses
		} else {
			f.gasIn += gas(b.fx.fillPasses)
		}
	}
	if b.op.pumping {
		if s.Water {
			f.waterIn += b.op.flow(s, c)
		} else {
			f.gasIn += b.op.flow(s, c)
		}
	}

	vent := share(&b.vent, b.fx.ventStuck, b.fx.ventShare)
	if b.cfg.HandOperated {
		vent = b.op.vent * b.fx.ventShare
		if b.fx.ventStuck == stuckShut {
			vent = 0
		}
	}
	if b.fx.lidOpen {
		vent = lidOverVent
	}
	lost := 0.0 // m³/s at chamber pressure
	if gauge > 0 {
		lost = (b.cfg.Chamber.Blank + b.fx.leak) * gauge
		lost += b.fx.ventPasses
		if relief := b.fx.reliefPa; relief > 0 && gauge > 0.9*(relief-c.roomPa) {
			lost += b.fx.weep
		}
	}
	lift := b.lift()
	if s.Water {
		f.waterOut = lost + orificeFlow(s.VentOrifice*vent+b.cfg.Chamber.ReliefOrifice*lift, gauge)
		if f.waterOut < 0 {
			f.gasIn -= gas(f.waterOut) // an open vent takes in air, not water
			f.waterOut = 0
		}
	} else {
		f.gasOut = gas(lost)
		if open := s.VentSonic*vent + b.cfg.Chamber.ReliefSonic*lift; gauge >= 0 {
			f.gasOut += gasFlow(open, c.pa, c.roomPa, c.gasK)
		} else {
			f.gasIn += gasFlow(open, c.roomPa, c.pa, c.roomC+zeroC)
		}
	}
	f.stiff = f.stiff || vent > 0 || lift > 0

	if surface := b.cfg.Chamber.SurfaceM2; surface > 0 && c.waterKg > 0 {
		volume := c.waterKg / b.rho
		f.dissolve = b.cfg.Chamber.FilmMPerS * surface * (b.henry*c.pa - c.airMol/volume)
	}
	b.leaks(&f)

	gained := f.waterIn - f.waterOut - f.ingress - f.shrink
	mol := f.gasIn*inK/c.gasK - f.gasOut - f.dissolve - f.unitGas
	f.paPerS = cp / cv * (gasConstant*c.gasK*mol + c.pa*gained) / (c.gasM3 + cp/cv*c.pa*b.elastic)
	return f
}

// lidOverVent is how much more a lifted lid lets out than the vent.
const lidOverVent = 50

// lift gives how far the relief valve is open: in proportion over the 10 % above
// its setting (full lift at 10 % accumulation: ISO 4126-1, from memory).
func (b *Bench) lift() float64 {
	if b.fx.reliefPa <= 0 {
		return 0
	}
	gauge := b.fx.reliefPa - b.c.roomPa
	return min(max((b.c.pa-b.fx.reliefPa)/(0.1*gauge), 0), 1)
}

// longest step in s, the share of the pressure that a step may change, and the
// shortest step.
const (
	longestS  = 0.5
	changeMax = 0.002
	shortestS = 2e-4
)

// stepSize gives a step in s that keeps the changes small.
func (b *Bench) stepSize(f *flows, left float64) float64 {
	h := min(left, longestS)
	rate := math.Abs(f.paPerS)
	if rate > 0 {
		h = min(h, changeMax*b.c.pa/rate)
		if f.stiff {
			away := math.Abs(b.c.pa - b.c.roomPa)
			if b.fill.open || b.fx.fillStuck == stuckOpen {
				from := b.fx.supplyPa
				if b.cfg.Supply.Regulator {
					from = min(from, b.outletPa)
				}
				away = min(away+1000, math.Abs(from-b.c.pa))
			}
			h = min(h, max(0.2*away, 2)/rate)
		}
	}
	h = b.unitStep(f, h)
	return max(h, min(left, shortestS))
}

// step goes on by h seconds with the flows f.
func (b *Bench) step(h float64, f *flows) {
	c, cfg := &b.c, &b.cfg.Chamber
	inK := b.cfg.Supply.C + zeroC

	if c.waterKg > 0 {
		in := f.waterIn * h * b.rho
		c.waterC += in / (c.waterKg + in) * (b.cfg.Supply.C - c.waterC)
		c.waterKg += in - (f.waterOut+f.ingress)*h*b.rho
		c.airMol += f.dissolve * h
	}
	mol1, kelvin1 := c.gasMol, c.gasK
	in, out := f.gasIn*h, (f.gasOut+f.dissolve+f.unitGas)*h
	c.gasMol = max(mol1+in-out, 1e-12)
	if s := &b.cfg.Supply; s.TankM3 > 0 {
		b.runTank(h, in)
	}

	// Temperatures of wall, water and unit: their time constants are minutes to
	// hours, so that the explicit step is exact enough.
	toWall := 0.0
	if c.waterKg > 0 {
		toWall = cfg.WaterToWall * (c.waterC - c.wallC)
		c.waterC -= toWall * h / (c.waterKg * waterHeat)
	}
	c.wallC += (toWall + cfg.WallToRoom*(c.roomC-c.wallC)) * h / cfg.WallHeatJPerK
	b.stepUnit(h, f)

	// Gas: the balance of energy over the step, with the work by the mean
	// pressure and the heat exchange as the exact exponential; the pressure is
	// the root of p (g + e p) = n R T. Repeated until it no longer moves.
	b.volumes()
	pa1, gasM31 := c.pa, c.gasM3
	energy := mol1*cv*kelvin1 + in*cp*inK - out*cp*kelvin1
	toWater, toUnit := cfg.CushionToWater, 0.0
	if c.waterKg <= 0 {
		toWater = 0
		if b.u.present {
			toUnit = b.cfg.Unit.FromGas
		}
	}
	aroundK := toWater*c.waterC + toUnit*b.u.celsius + (1-toWater-toUnit)*c.wallC + zeroC
	heatCapacity := c.gasMol * cv
	// Free convection: Nu ~ Ra^1/4 and Ra ~ density squared, so that the
	// exchange grows with the root of the pressure (Incropera & DeWitt,
	// Fundamentals of Heat and Mass Transfer, 9.6).
	stay := math.Exp(-h * c.exchange * math.Sqrt(pa1/b.cfg.Room.StartPa) / heatCapacity)
	pa, kelvin, work, before := pa1, kelvin1, 0.0, 0.0
	for range 12 {
		volume := b.gasM3(pa)
		work = (pa1 + pa) / 2 * (volume - gasM31)
		before = (energy - work) / heatCapacity
		kelvin = aroundK + (before-aroundK)*stay
		next := b.pressure(c.gasMol * gasConstant * kelvin)
		moved := math.Abs(next - pa)
		pa = next
		if moved < 1e-9*pa {
			break
		}
	}
	heat := heatCapacity * (before - kelvin)
	c.pa, c.gasK, c.gasM3 = pa, kelvin, b.gasM3(pa)
	if c.waterKg > 0 {
		// Compression warms water too: dT = α T / (ρ cp) dp (Bejan, Advanced
		// Engineering Thermodynamics, 4.5, isentropic).
		warming := b.alpha * (c.waterC + zeroC) / (b.rho * waterHeat) * (pa - pa1)
		c.waterC += warming + toWater*heat/(c.waterKg*waterHeat)
	}
	if toUnit > 0 {
		b.u.celsius += toUnit * heat / b.cfg.Unit.HeatJPerK
	}
	c.wallC += (1 - toWater - toUnit) * heat / cfg.WallHeatJPerK
	b.openPaths(h)

	l := &b.sum
	l.gasIn += in
	l.gasOut += f.gasOut * h
	l.dissolved += f.dissolve * h
	l.unitGas += f.unitGas * h
	l.waterIn += f.waterIn * h
	l.waterOut += f.waterOut * h
	l.ingress += f.ingress * h
	l.enthalpyIn += in * cp * inK
	l.enthalpyOut += out * cp * kelvin1
	l.work += work
	l.heat += heat
	b.peakPa = max(b.peakPa, pa)
}

// runTank takes gas from the compressor's tank and fills it again.
func (b *Bench) runTank(h, mol float64) {
	c, s := &b.c, &b.cfg.Supply
	c.tankMol = max(c.tankMol-mol, 0)
	pa := c.tankMol * gasConstant * (c.roomC + zeroC) / s.TankM3
	switch {
	case pa < 0.75*s.TankPa:
		c.refill = true
	case pa >= s.TankPa:
		c.refill = false
	}
	if c.refill && !b.fx.compressorOff && !b.fx.noPower {
		c.tankMol += s.RefillMolPS * h
	}
}

// volumes brings the water's properties and the two numbers that give the
// volume left for gas, base + elastic × pressure, up to date.
func (b *Bench) volumes() {
	c, cfg := &b.c, &b.cfg.Chamber
	base := cfg.VolumeM3*(1+cfg.WallExpansion*(c.wallC-cfg.StartC)) - cfg.WallM3PerPa*b.cfg.Room.StartPa
	elastic := cfg.WallM3PerPa
	if c.waterKg > 0 {
		b.rho, b.alpha = waterDensity(c.waterC), waterExpansion(c.waterC)
		kappa := waterCompressibility(c.waterC)
		volume := c.waterKg / b.rho
		base -= volume * (1 + kappa*standardPa)
		elastic += volume * kappa
	}
	outer, squeeze := b.u.outside(&b.cfg.Unit)
	b.base, b.elastic = base-outer, elastic+squeeze
}

// gasM3 gives the volume left for gas at a chamber pressure.
func (b *Bench) gasM3(pa float64) float64 { return b.base + b.elastic*pa }

// pressure solves pa × gasM3(pa) = nrt for its positive root, in the form that
// loses no digits.
func (b *Bench) pressure(nrt float64) float64 {
	root := math.Sqrt(b.base*b.base + 4*b.elastic*nrt)
	if b.base > 0 {
		return 2 * nrt / (b.base + root)
	}
	return (root - b.base) / (2 * b.elastic)
}
