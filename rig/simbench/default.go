package simbench

import (
	"math"
	"math/rand/v2"
	"time"

	"proofpot/profiles"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// Figures of a bench that its sheet does not tell. Common practice, no source,
// where no other is given.
const (
	tallness       = 1.5   // height over diameter of a pot
	wallThickness  = 4e-3  // m
	steelDensity   = 7850. // kg/m³
	steelHeat      = 490.  // J/(kg K)
	steelVolume    = 35e-6 // 1/K, three times the linear expansion of mild steel
	toRoomFilm     = 8.    // W/(m² K), free convection and radiation of a pot in a room
	toWaterFilm    = 150.  // W/(m² K), free convection of water at a wall
	gasTau100      = 12.   // s, of 100 ml of gas at room pressure; grows with the cube root of volume, so that 10 l settle in 1 min, and in 2 min at 5 bar
	stillFilm      = 2e-6  // m/s, air into still water: the root of D/(π t) for some ten minutes with a little convection
	membraneLeaves = 0.001 // share of free exchange with the air that a membrane over the water leaves, as in an expansion vessel
	plasticHeat    = 1.8e6 // J/(m³ K), of a unit's walls
	rampSpare      = 1.5   // how much faster than the profile's ramp the needle lets in at middle pressure: a person sets it a little above
	usualRampM     = 13.   // m/min, where a profile states none
	waterPerMetre  = 9810. // Pa/m
	ventTauS       = 90.   // s, of the open vent while the flow is choked
	gasFollows     = 2.5   // how much longer a unit takes to follow in gas than in water
	supplyBelow    = 0.97  // regulator's gauge setting over the relief valve's
	defaultNoise   = 50.   // Pa
	defaultErrPa   = 300.  // Pa
	unknownOuter   = 1.6   // displaced over free volume where a sheet does not tell
	valveOpens     = 25 * time.Millisecond
	valveShuts     = 15 * time.Millisecond
)

// Default derives a bench and its unit from the sheet of a run. What stands on
// the sheet is true to what a person can write: volumes and stiffness are up to
// 10 % off (chamber and displaced volume 3 %), the bench's own leak lies within
// its stated doubt, sensors within their accuracy, all by the seed.
func Default(run setup.Run, seed uint64) Config {
	r := rand.New(rand.NewPCG(seed, 0x5349_4d42_454e_4348))
	spread := func() float64 { return 2*r.Float64() - 1 }
	vary := func(x, share float64) float64 { return x * (1 + share*spread()) }
	bench, unit := run.Bench, run.Unit

	c := Config{Seed: seed, HandOperated: bench.HandOperated}
	if column, err := profiles.NewColumn(run.Profile.Water); err == nil {
		c.GaugePa = column.GaugePa
	}
	roomPa := bench.RoomPa
	if roomPa <= 0 {
		roomPa = standardPa + 800*spread()
	}
	startC := 18.0 + 2*spread()
	if unit.SealedC != 0 {
		startC = unit.SealedC + 0.2*spread()
	}
	c.Room = Room{
		StartPa: roomPa, FrontPa: vary(250, 0.8), TidePa: 40, FrontPhase: math.Pi * spread(),
		StartC: startC, DaySwingK: vary(1.2, 0.5), HeatingK: vary(0.15, 0.6), HeatingS: vary(2100, 0.4), HeatingPhase: math.Pi * spread(),
		HumidityPct: 45 + 10*spread(),
	}

	ch := &c.Chamber
	ch.Gas = bench.Medium == setup.MediumGas
	ch.VolumeM3 = vary(bench.ChamberVolumeML*millilitre, 0.03)
	ch.CushionM3 = vary(bench.GasCushionML*millilitre, 0.1)
	diameter := math.Cbrt(4 * ch.VolumeM3 / (tallness * math.Pi))
	area := math.Pi * diameter * diameter * (tallness + 0.5)
	ch.WallHeatJPerK = area * wallThickness * steelDensity * steelHeat
	ch.WallExpansion = steelVolume
	ch.WallToRoom, ch.WaterToWall = toRoomFilm*area, toWaterFilm*area
	ch.StartC = startC + 0.15*spread()
	ch.Blank = max(0, bench.BlankLeakMLPerHPerBar+bench.BlankLeakSDMLPerHPerBar*r.NormFloat64()) * mlPerH / bar
	ch.ReliefPa = bench.ReliefPa
	if !ch.Gas {
		ch.CushionToWater = 0.5
		ch.SurfaceM2, ch.FilmMPerS = membraneLeaves*math.Pi*diameter*diameter/4, stillFilm
	}

	c.Unit = defaultUnit(unit, roomPa, ch.StartC, r)
	water := 0.0
	if !ch.Gas {
		water = max(0, ch.VolumeM3-c.Unit.OuterM3-ch.CushionM3)
	}
	// The sheet's stiffness is chamber and water: the wall is what the water's
	// compressibility leaves of it, and at least a stiff steel wall.
	stiffness := vary(bench.StiffnessMLPerBar*millilitre/bar, 0.1)
	ch.WallM3PerPa = max(stiffness-water*waterCompressibility(ch.StartC), 1e-11*ch.VolumeM3)

	gas := ch.CushionM3
	if ch.Gas {
		gas = ch.VolumeM3 - c.Unit.OuterM3
	}
	ch.CushionTauS = vary(gasTau100*math.Cbrt(max(gas, millilitre)/(100*millilitre)), 0.2)
	if ch.Gas && c.Unit.OuterM3 > 0 {
		c.Unit.HeatTauS *= gasFollows
		surface := 5.5 * math.Pow(c.Unit.OuterM3, 2./3) // of a stout cylinder
		c.Unit.FromGas = surface / (surface + area)
	}
	c.Supply = defaultSupply(&run, &c, gas, stiffness)
	ch.ReliefSonic, ch.ReliefOrifice = 10*c.Supply.FillSonic, 10*c.Supply.FillOrifice
	c.Operator = Habits{ReactionS: vary(1.2, 0.3), StrokeS: vary(1.4, 0.2), GaugeErrPa: 3000, CrackShare: 0.25, Inattention: 0.02}
	for i := range bench.Sensors {
		if s, ok := defaultSensor(bench.Sensors[i], r); ok {
			c.Sensors = append(c.Sensors, s)
		}
	}
	return c
}

// defaultUnit gives the unit as it truly is.
func defaultUnit(unit setup.Unit, roomPa, waterC float64, r *rand.Rand) Unit {
	if unit.FreeVolumeML <= 0 {
		return Unit{}
	}
	spread := func() float64 { return 2*r.Float64() - 1 }
	vary := func(x, share float64) float64 { return x * (1 + share*spread()) }
	outer := unit.OuterVolumeML
	if outer <= unit.FreeVolumeML {
		outer = unknownOuter * unit.FreeVolumeML
	}
	u := Unit{
		OuterM3: vary(outer*millilitre, 0.03), FreeM3: vary(unit.FreeVolumeML*millilitre, 0.08),
		SealedPa: unit.SealedPa, StartC: waterC + 0.3*spread(), StartRHPct: 42 + 10*spread(),
		Expansion: 180e-6, HeatTauS: vary(700, 0.3), EvaporateS: vary(900, 0.3),
		SorbS: vary(3*3600, 0.3), SorbKg: 300e-6, WetAtM3: vary(0.4*millilitre, 0.3),
	}
	u.FreeM3 = min(u.FreeM3, 0.9*u.OuterM3)
	u.HeatJPerK = plasticHeat * (u.OuterM3 - u.FreeM3)
	if u.SealedPa <= 0 {
		u.SealedPa = roomPa
	}
	if unit.SealedC != 0 {
		u.StartC = unit.SealedC + 0.1*spread()
	}
	u.SorbRHPct = u.StartRHPct + 5 + 4*spread()
	// A printed tube of Ø80 × 5 mm gives some 0.07 % of its volume a bar; thicker
	// walls, ribs and caps make a pod several times stiffer. Its creep comes back,
	// the slow part slowly.
	u.SqueezeM3PerPa = vary(0.00012*u.FreeM3/bar, 0.3)
	u.Creep = [3]Creep{
		{Share: vary(0.1, 0.4), LoadS: vary(240, 0.3), UnloadS: 240},
		{Share: vary(0.1, 0.4), LoadS: vary(3*3600, 0.3), UnloadS: 4 * 3600},
		{Share: vary(0.05, 0.4), LoadS: vary(3600, 0.3), UnloadS: 300 * 3600},
	}
	return u
}

// defaultSupply sizes regulator, needle and vent for the bench, so that it can
// do its profile's ramp at middle pressure with a little to spare.
func defaultSupply(run *setup.Run, c *Config, gas, stiffness float64) Supply {
	bench := &run.Bench
	roomPa := c.Room.StartPa
	gauge := bench.RatedPa - roomPa
	if bench.ReliefPa > 0 {
		gauge = min(gauge, bench.ReliefPa-roomPa)
	}
	if gauge <= 0 {
		gauge = 6 * bar
	}
	s := Supply{
		Water: bench.Supply == setup.SupplyWater && !c.Chamber.Gas,
		Pa:    roomPa + supplyBelow*gauge, C: c.Room.StartC,
		OpenDelay: valveOpens, CloseDelay: valveShuts,
	}
	deepest := 10.0
	for _, stage := range run.Profile.Stages {
		deepest = max(deepest, stage.DepthM)
	}
	middle := roomPa + deepest/2*waterPerMetre
	ramp := run.Profile.RampMPerMin
	if ramp <= 0 {
		ramp = usualRampM
	}
	paPerS := rampSpare * ramp / 60 * waterPerMetre
	if s.Water {
		squeezed := gas * roomPa / middle
		flow := (squeezed/middle + stiffness) * paPerS
		s.FillOrifice = flow / math.Sqrt(max(s.Pa-middle, bar))
		// The vent lets the same flow off at middle pressure three times faster.
		s.VentOrifice = 3 * flow / math.Sqrt(middle-roomPa)
		s.StrokeM3 = min(max((squeezed/middle+stiffness)*0.3*bar, 2*millilitre), 25*millilitre)
		return s
	}
	volume := gas + stiffness*middle
	mol := volume * paPerS / (cp / cv * gasConstant * (s.C + zeroC))
	s.FillSonic = mol * gasConstant * referenceK / (referencePa * s.Pa) / max(ellipse(max(middle/s.Pa, criticalR)), 0.3)
	s.VentSonic = volume / (ventTauS * referencePa)
	s.StrokeM3 = min(max(volume*0.15, 5*millilitre), 300*millilitre)
	s.StrokeDeadM3 = 0.02 * s.StrokeM3
	s.TankM3, s.TankPa = 24*litre, s.Pa+2*bar
	s.RefillMolPS = 1.0 * litre * standardPa / (gasConstant * referenceK) // 60 l/min of free air
	return s
}

// defaultSensor gives a sensor its channels, with flaws within its accuracy.
func defaultSensor(s setup.Sensor, r *rand.Rand) (Sensor, bool) {
	main, ok := sensors.QuantityNamed(s.Measures)
	if !ok {
		return Sensor{}, false
	}
	out := Sensor{ID: s.ID, Every: every(main)}
	add := func(q sensors.Quantity) {
		for i := range out.Channels {
			if out.Channels[i].Quantity == q {
				return
			}
		}
		out.Channels = append(out.Channels, channel(q, s, r))
	}
	add(main)
	for _, f := range s.Fields {
		if q, ok := sensors.QuantityNamed(f.Measures); ok {
			add(q)
		}
	}
	return out, true
}

// every gives how often a quantity is read.
func every(q sensors.Quantity) time.Duration {
	switch q {
	case sensors.LidOpen, sensors.StopOpen, sensors.FloatOpen:
		return 100 * time.Millisecond
	case sensors.ChamberPressure, sensors.ChamberGas, sensors.ChamberWater, sensors.ChamberWall:
		return 500 * time.Millisecond
	case sensors.UnitPressure, sensors.UnitTemperature, sensors.UnitHumidity, sensors.ProbeWet, sensors.ProbeLevel:
		return 2 * time.Second
	}
	return 10 * time.Second
}

// channel gives one quantity the noise, steps and errors of a common sensor.
func channel(q sensors.Quantity, s setup.Sensor, r *rand.Rand) Channel {
	spread := func() float64 { return 2*r.Float64() - 1 }
	switch q {
	case sensors.ChamberPressure:
		noise, accuracy := s.NoisePa, s.AccuracyPa
		if noise <= 0 {
			noise = defaultNoise
		}
		if accuracy <= 0 {
			accuracy = defaultErrPa
		}
		return Channel{
			Quantity: q, Noise: noise, Resolution: 10, Offset: 0.5 * accuracy * spread(),
			DriftPerH: 0.01 * accuracy * spread(), ThermalPerK: 0.02 * accuracy * spread(), Low: -0.2 * bar, High: 1000 * bar,
		}
	case sensors.ChamberGas:
		return Channel{Quantity: q, Noise: 0.02, Resolution: 0.01, Offset: 0.1 * spread(), LagS: 3}
	case sensors.ChamberWater, sensors.ChamberWall:
		return Channel{Quantity: q, Noise: 0.004, Resolution: 0.01, Offset: 0.1 * spread(), LagS: 5}
	case sensors.UnitPressure:
		return Channel{Quantity: q, Noise: 3, Resolution: 1, Offset: 80 * spread(), DriftPerH: 0.3 * spread(), Low: 10e3, High: 2000e3}
	case sensors.UnitTemperature:
		return Channel{Quantity: q, Noise: 0.01, Resolution: 0.01, Offset: 0.2 * spread(), LagS: 5}
	case sensors.UnitHumidity:
		return Channel{Quantity: q, Noise: 0.06, Resolution: 0.01, Offset: 1.5 * spread(), LagS: 8}
	case sensors.RoomPressure:
		return Channel{Quantity: q, Noise: 2, Resolution: 1, Offset: 30 * spread()}
	case sensors.RoomTemperature:
		return Channel{Quantity: q, Noise: 0.02, Resolution: 0.01, Offset: 0.2 * spread(), LagS: 20}
	case sensors.RoomHumidity:
		return Channel{Quantity: q, Noise: 0.1, Resolution: 0.01, Offset: 2 * spread(), LagS: 20}
	}
	return Channel{Quantity: q}
}

// applyConditions turns the faults that hold from start to end into the bench's
// own properties.
func (c *Config) applyConditions() {
	for _, f := range c.BenchFaults {
		switch f.Kind {
		case BareSurface:
			c.Chamber.SurfaceM2 /= membraneLeaves
		case TrappedGas:
			c.Chamber.CushionM3 += f.Value
		case RoomWarms:
			c.Room.TrendKPerH += f.Value
		case HeatingSwings:
			c.Room.HeatingK = f.Value
		case DaySwings:
			c.Room.DaySwingK = f.Value
		case ColdWater:
			c.Chamber.StartC -= f.Value
		case WarmUnit:
			c.Unit.StartC += f.Value
		case WetPrint:
			c.Unit.SorbRHPct = 100 * f.Value
		case ReadyCreep:
			for i := range c.Unit.Creep {
				c.Unit.Creep[i].Share *= f.Value
			}
		}
	}
}
