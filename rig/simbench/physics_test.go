package simbench

import (
	"fmt"
	"math"
	"testing"
	"time"

	"proofpot/rig"
)

// vessel is a bare pot of 10 l without unit, faults, leaks or weather.
func vessel(startPa, celsius float64) Config {
	return Config{
		Room: Room{StartPa: startPa, StartC: celsius},
		Chamber: Chamber{
			VolumeM3: 10 * litre, WallM3PerPa: 1e-16, WallHeatJPerK: 5000, StartC: celsius,
			CushionTauS: math.Inf(1), WaterToWall: 0, WallToRoom: 0,
		},
		Supply: Supply{Pa: startPa, C: celsius},
	}
}

func at(d time.Duration) rig.Instant { return rig.Instant{Mono: d, Wall: testStart.Add(d)} }

func drive(t *testing.T, b *Bench, from, to time.Duration, v rig.Valves) {
	t.Helper()
	for d := from; d < to; d += 500 * time.Millisecond {
		if err := b.Drive(at(d), v); err != nil {
			t.Fatal(err)
		}
	}
	b.Read(at(to), nil)
}

// Charging an evacuated, insulated vessel from a line heats the gas to γ times
// the line's temperature (Moran & Shapiro, 4.12; any textbook): 137 °C from 20 °C.
func TestChargingAnEmptyVesselHeatsToGammaT(t *testing.T) {
	c := vessel(20, 20)
	c.Chamber.Gas = true
	c.Supply.Pa, c.Supply.FillSonic = 6e5, 1e-8
	b := bench(t, c)
	drive(t, b, 0, 60*time.Second, rig.Valves{Fill: true})
	near(t, "temperature, K", b.Truth().GasC+zeroC, 1.4*293.15, 2e-3)
	near(t, "temperature, °C", b.Truth().GasC, 137, 0.01)
	near(t, "pressure", b.Truth().ChamberPa, 6e5, 1e-3)
}

// Water pumped in squeezes the gas: p V^1.4 stays when no heat leaves.
// From 1 to 5 bar absolute that is 191 °C from 20 °C.
func TestAdiabaticSqueezeFollowsPoisson(t *testing.T) {
	c := vessel(1e5, 20)
	c.Chamber.CushionM3 = 1 * litre
	c.Supply.Water, c.Supply.Pa, c.Supply.FillOrifice = true, 8e5, 1e-7
	b := bench(t, c)
	v0 := b.c.gasM3
	for d := time.Duration(0); b.c.pa < 5e5; d += 100 * time.Millisecond {
		if err := b.Drive(at(d), rig.Valves{Fill: true}); err != nil {
			t.Fatal(err)
		}
	}
	near(t, "p V^γ", b.c.pa*math.Pow(b.c.gasM3/v0, 1.4), 1e5, 2e-4)
	near(t, "temperature, K", b.c.gasK, 293.15*math.Pow(b.c.pa/1e5, 0.4/1.4), 1e-4)
}

// The compliance of a 10 l steel pot (2e-10 1/Pa) at 5 bar absolute and 15 °C
// with 0 ml to 1 l of free gas, and full of gas: trade note, table of section 3.3.
func TestComplianceIsThatOfTheTradeTable(t *testing.T) {
	for _, row := range []struct{ gasML, mlPerBar, barPerK float64 }{
		{0, 0.67, 1.74}, {1, 0.87, 1.34}, {10, 2.7, 0.45}, {100, 20.7, 0.072}, {1000, 200, 0.022},
	} {
		c := vessel(5e5, 15)
		c.Chamber.CushionM3, c.Chamber.WallM3PerPa, c.Chamber.WallExpansion = row.gasML*millilitre, 2e-12, 35e-6
		b := bench(t, c)
		near(t, fmt.Sprintf("compliance with %g ml", row.gasML), b.Truth().ComplianceMLPerBar, row.mlPerBar, 0.013)
		warm(b, 0.01)
		near(t, fmt.Sprintf("bar/K with %g ml", row.gasML), (b.c.pa-5e5)/bar/0.01, row.barPerK, 0.03)
	}
	c := vessel(5e5, 15)
	c.Chamber.Gas, c.Chamber.WallM3PerPa, c.Chamber.WallExpansion = true, 2e-12, 35e-6
	b := bench(t, c)
	near(t, "compliance of gas alone", b.Truth().ComplianceMLPerBar, 2000, 0.01)
	warm(b, 0.01)
	near(t, "bar/K of gas alone", (b.c.pa-5e5)/bar/0.01, 0.017, 0.03)
}

// warm raises everything by some kelvin at once.
func warm(b *Bench, kelvin float64) {
	b.c.waterC, b.c.wallC, b.c.gasK = b.c.waterC+kelvin, b.c.wallC+kelvin, b.c.gasK+kelvin
	b.volumes()
	b.c.pa = b.pressure(b.c.gasMol * gasConstant * b.c.gasK)
	b.c.gasM3 = b.gasM3(b.c.pa)
}

// bar/K of a pot full of water, rigid and of steel, by temperature: trade note,
// table of section 3.3; null of a steel pot at 6.3 °C.
func TestAFullPotIsAThermometer(t *testing.T) {
	for _, row := range []struct{ celsius, rigid, steel float64 }{
		{5, 0.33, -0.28}, {10, 1.84, 0.78}, {15, 3.23, 1.74}, {20, 4.51, 2.61}, {25, 5.68, 3.40},
	} {
		for _, steel := range []bool{false, true} {
			c := vessel(standardPa, row.celsius)
			want := row.rigid
			if steel {
				c.Chamber.WallM3PerPa, c.Chamber.WallExpansion, want = 2e-12, 35e-6, row.steel
			}
			b := bench(t, c)
			warm(b, 1e-3)
			if got := (b.c.pa - standardPa) / bar / 1e-3; math.Abs(got-want) > 0.011 {
				t.Errorf("at %g °C, steel %v: %.3f bar/K, want %.2f", row.celsius, steel, got, want)
			}
		}
	}
	c := vessel(standardPa, 6.3)
	c.Chamber.WallM3PerPa, c.Chamber.WallExpansion = 2e-12, 35e-6
	b := bench(t, c)
	warm(b, 1e-3)
	if got := (b.c.pa - standardPa) / bar / 1e-3; math.Abs(got) > 0.03 {
		t.Errorf("steel pot at 6.3 °C: %.3f bar/K, want about none", got)
	}
}

// A full pot brought up quickly falls back by 0.34 % of the step at 15 °C and
// 1.04 % at 25 °C as its water gives off the heat of compression: trade note, 3.4.
func TestFullPotRelaxesAsWaterCools(t *testing.T) {
	for _, row := range []struct{ celsius, share float64 }{{15, 0.0034}, {25, 0.0104}} {
		c := vessel(1e5, row.celsius)
		c.Supply.Water, c.Supply.Pa, c.Supply.FillOrifice = true, 8e5, 1e-8
		b := bench(t, c)
		for d := time.Duration(0); b.c.pa < 6e5; d += 100 * time.Millisecond {
			if err := b.Drive(at(d), rig.Valves{Fill: true}); err != nil {
				t.Fatal(err)
			}
		}
		high, warmer := b.c.pa, b.c.waterC-row.celsius
		warm(b, -warmer)
		near(t, fmt.Sprintf("relaxation at %g °C", row.celsius), (high-b.c.pa)/(high-1e5), row.share, 0.03)
	}
}

// Mass and energy of the gas, and the mass of water, close over a whole run
// with ramps, holds, a leak, air dissolving and a vent.
func TestNothingIsLostOrMade(t *testing.T) {
	for _, water := range []bool{false, true} {
		c := withUnitFault(t, config(t, 3), "burst at 18 m, 400 ml/h")
		c = withBenchFault(t, c, "bare water")
		if water {
			run := builtIn()
			run.Bench.Supply = "water"
			c.Supply = defaultSupply(&run, &c, c.Chamber.CushionM3, 1.2e-11)
		}
		b := bench(t, c)
		mol, kg := b.c.gasMol, b.c.waterKg
		energy := b.c.gasMol * cv * b.c.gasK
		k := control(t, b)
		for _, depth := range []float64{3, 25, 37.5, 10} {
			k.to(depth, 10)
			k.hold(5 * time.Minute)
		}
		l := b.sum
		near(t, "gas, mol", b.c.gasMol, mol+l.gasIn-l.gasOut-l.dissolved-l.unitGas, 1e-9)
		near(t, "air in the water, mol", b.c.airMol, b.henry*c.Room.StartPa*kg/waterDensity(c.Chamber.StartC)+l.dissolved, 1e-4)
		near(t, "water, kg", b.c.waterKg, kg+998.6*(l.waterIn-l.waterOut-l.ingress), 1e-5)
		near(t, "energy of the gas, J", b.c.gasMol*cv*b.c.gasK, energy+l.enthalpyIn-l.enthalpyOut-l.work-l.heat, 1e-9)
		near(t, "state of the gas", b.c.pa*b.c.gasM3, b.c.gasMol*gasConstant*b.c.gasK, 1e-8)
		if l.ingress < 50*millilitre {
			t.Errorf("only %.1f ml came in", l.ingress/millilitre)
		}
		near(t, "water in the unit, ml", b.u.liquidKg/1000/millilitre, l.ingress/millilitre, 0.002)
	}
}

// The same run in steps a tenth as long ends at the same pressure.
func TestShorterCallsGiveTheSameRun(t *testing.T) {
	end := func(every time.Duration) Truth {
		b := bench(t, withUnitFault(t, config(t, 5), "seep at 8 m, 20 ml/h"))
		for d := time.Duration(0); d < 20*time.Minute; d += every {
			if err := b.Drive(at(d), rig.Valves{Fill: d < 90*time.Second}); err != nil {
				t.Fatal(err)
			}
		}
		b.Read(at(20*time.Minute), nil)
		return b.Truth()
	}
	long, short := end(500*time.Millisecond), end(20*time.Millisecond)
	near(t, "pressure", long.ChamberPa, short.ChamberPa, 2e-4)
	near(t, "ingress", long.IngressML, short.IngressML, 1e-3)
	near(t, "onset", long.OnsetPa, short.OnsetPa, 5e-5)
}

func TestGasSettlesWithItsTimeConstant(t *testing.T) {
	c := config(t, 1)
	c.Room.HeatingK, c.Room.DaySwingK = 0, 0
	b := bench(t, c)
	k := control(t, b)
	k.to(0.5, 5)
	b.c.gasK += 10
	b.c.gasMol *= (b.c.gasK - 10) / b.c.gasK
	tau := c.Chamber.CushionTauS * math.Sqrt(b.c.gasMol*gasConstant*b.c.gasK/b.c.gasM3/c.Room.StartPa)
	before := b.c.gasK - zeroC - (b.c.waterC+b.c.wallC)/2
	from := k.now.Mono
	k.hold(seconds(tau))
	passed := (k.now.Mono - from).Seconds()
	left := (b.c.gasK - zeroC - (b.c.waterC+b.c.wallC)/2) / before
	near(t, "warmth left", left, math.Exp(-passed/tau), 0.06)
}

// The heat that the gas gives off is found again in water and wall. At 3.98 °C,
// where water does not warm when it is compressed, to the last joule.
func TestTheHeatOfTheGasGoesToWaterAndWall(t *testing.T) {
	c := vessel(standardPa, 3.98)
	c.Chamber.CushionM3, c.Chamber.CushionTauS, c.Chamber.CushionToWater, c.Chamber.WaterToWall = 1*litre, 30, 0.6, 20
	c.Supply = Supply{Pa: 8e5, C: 3.98, FillSonic: 1e-9}
	b := bench(t, c)
	drive(t, b, 0, 10*time.Minute, rig.Valves{Fill: true})
	kg := b.c.waterKg
	got := kg*waterHeat*(b.c.waterC-3.98) + c.Chamber.WallHeatJPerK*(b.c.wallC-3.98)
	near(t, "heat, J", got, b.sum.heat, 0.01)
	near(t, "shared between water and wall, which come to one temperature", b.c.wallC, b.c.waterC, 0.01)
	if b.sum.heat < 100 {
		t.Errorf("only %.0f J", b.sum.heat)
	}
}

// flow foretells the rate of pressure that a step then brings.
func TestTheForetoldRateIsTheRate(t *testing.T) {
	for _, gasML := range []float64{0.5, 20, 1000} {
		c := vessel(3e5, 15)
		c.Chamber.CushionM3, c.Chamber.WallM3PerPa = gasML*millilitre, 5e-12
		c.Supply = Supply{Water: true, Pa: 8e5, C: 15, FillOrifice: 1e-11}
		b := bench(t, c)
		b.fill.open = true
		f, pa := b.flow(), b.c.pa
		b.step(1e-3, &f)
		near(t, fmt.Sprintf("Pa/s with %g ml", gasML), (b.c.pa-pa)/1e-3, f.paPerS, 0.02)
	}
}

func TestAWideVentEmptiesWithoutRinging(t *testing.T) {
	c := vessel(standardPa, 15)
	c.Chamber.Gas, c.Chamber.CushionTauS = true, 1
	c.Supply = Supply{Pa: 8e5, C: 15, FillSonic: 1e-7, VentSonic: 3e-6}
	b := bench(t, c)
	drive(t, b, 0, 10*time.Second, rig.Valves{Fill: true})
	last := b.c.pa
	for d := 10 * time.Second; d < 20*time.Second; d += 10 * time.Millisecond {
		if err := b.Drive(at(d), rig.Valves{Vent: true}); err != nil {
			t.Fatal(err)
		}
		if b.c.pa > last+6 && d > 10*time.Second+50*time.Millisecond && last < 1.05*standardPa {
			t.Fatalf("at %s the pressure rises from %.1f Pa to %.1f Pa", d, last, b.c.pa)
		}
		last = b.c.pa
	}
	near(t, "vented", b.c.pa, standardPa, 1e-4)
}
