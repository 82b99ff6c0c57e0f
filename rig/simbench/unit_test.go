package simbench

import (
	"math"
	"testing"
	"time"

	"proofpot/rig"
	"proofpot/sensors"
)

// run brings a bench with a unit fault to depths at 10 m/min and holds each.
func run(t *testing.T, c Config, hold time.Duration, depths ...float64) *controller {
	t.Helper()
	k := control(t, bench(t, c))
	k.keep = true
	for _, d := range depths {
		k.to(d, 10)
		k.hold(hold)
	}
	return k
}

func TestALeakOpensAtItsDepth(t *testing.T) {
	for seed, row := range []struct {
		text string
		mode string
		at   float64
	}{
		{"seep at 24 m, 3 ml/h", Seep, 24}, {"burst at 18 m", Burst, 18}, {"collapse at 31 m, 6 ml", Collapse, 31},
		{"damp at 10 m, 20 ul/h", Damp, 10}, {"reseal below 3 m, 8 ml/h", Reseal, resealWakesPa / lake(1)},
		{"seep at 1.5 bar", Seep, 1.5 * bar / lake(1)},
	} {
		c := withUnitFault(t, config(t, uint64(seed)), row.text)
		var before, after float64
		b := bench(t, c)
		k := control(t, b)
		k.each = func() {
			if !b.Truth().Failed {
				before = b.load()
			} else if after == 0 {
				after = b.load()
			}
		}
		k.to(3, 10)
		k.to(37.5, 10)
		got := b.Truth()
		if !got.Failed || got.Mode != row.mode {
			t.Errorf("%s: failed %v, mode %q", row.text, got.Failed, got.Mode)
		}
		near(t, row.text+": onset", got.OnsetPa, lake(row.at), 2e-3)
		if before > got.OnsetPa {
			t.Errorf("%s: tight at %.0f Pa after it opened at %.0f Pa", row.text, before, got.OnsetPa)
		}
	}
}

func TestADelayedLeakWaitsAtPressure(t *testing.T) {
	c := withUnitFault(t, config(t, 1), "seep at 8 m, 5 ml/h after 10 min")
	k := run(t, c, 30*time.Minute, 3, 12)
	got := k.b.Truth()
	if !got.Failed || got.FailedAt < 40*time.Minute || got.FailedAt > 44*time.Minute {
		t.Errorf("opened %v at %s, want some 10 min after the ramp at 31 min", got.Failed, got.FailedAt)
	}
	near(t, "onset, at the hold's pressure", got.OnsetPa, lake(12), 0.02)
}

func TestASeepGrowsWithTheDifferenceAndSqueezesTheAirInside(t *testing.T) {
	c := withUnitFault(t, config(t, 2), "seep at 12 m, 30 ml/h")
	k := run(t, c, 5*time.Minute, 12.1)
	u := &k.b.u
	near(t, "flow, ml/h", k.b.Truth().LeakMLPerH, 30*(k.b.c.pa-u.insidePa)/lake(12), 0.01)
	shallow, air := k.b.Truth().LeakMLPerH/(k.b.c.pa-u.insidePa), u.airMol
	k.to(36, 10)
	k.hold(10 * time.Minute)
	near(t, "flow over difference, deeper", k.b.Truth().LeakMLPerH/(k.b.c.pa-u.insidePa), shallow, 1e-3)
	if u.airMol != air {
		t.Error("air left the unit")
	}
	wet := u.vapourKg * vapourR * (u.celsius + zeroC) / u.insideM3
	near(t, "dry air inside, p V = n R T", (u.insidePa-wet)*u.insideM3, air*gasConstant*(u.celsius+zeroC), 1e-9)
	lost := c.Unit.FreeM3 - u.insideM3
	near(t, "volume that the air lost", lost, k.sumIngress()+c.Unit.SqueezeM3PerPa*(k.b.c.pa-u.insidePa)+u.creep(), 0.01)
}

func (c *controller) sumIngress() float64 { return c.b.sum.ingress }

func TestALeakLowersThePotByItsVolumeOverCompliance(t *testing.T) {
	c := withUnitFault(t, config(t, 4), "seep at 200 m, 20 ml/h")
	lost := func(opens bool) (pa, ml, compliance float64) {
		b := bench(t, c)
		k := control(t, b)
		k.to(35, 10)
		k.hold(10 * time.Minute)
		if opens {
			b.paths[0].open = true
		}
		pa = b.c.pa
		k.hold(30 * time.Minute)
		return pa - b.c.pa, b.Truth().IngressML, b.Truth().ComplianceMLPerBar
	}
	sound, _, compliance := lost(false)
	leaking, in, after := lost(true)
	near(t, "pressure lost × compliance, ml", (leaking-sound)/bar*(compliance+after)/2, in, 0.02)
	near(t, "ingress, ml", in, 0.5*20*35/200, 0.05)
}

func TestABurstGoesOnUntilTheVoidIsFull(t *testing.T) {
	c := withUnitFault(t, config(t, 3), "burst at 18 m, 20 l/h")
	k := run(t, c, 20*time.Minute, 20)
	got := k.b.Truth()
	if got.LeakMLPerH > 100 || got.LiquidML < 100 {
		t.Errorf("after 20 min %.0f ml in, still %.0f ml/h", got.LiquidML, got.LeakMLPerH)
	}
	near(t, "inside pressure", got.InsidePa, got.ChamberPa, 0.02)
}

func TestACollapseIsAStepAndNoLeak(t *testing.T) {
	c := withUnitFault(t, config(t, 4), "collapse at 20 m, 6 ml")
	b := bench(t, c)
	k := control(t, b)
	k.to(19.5, 10)
	k.hold(10 * time.Minute)
	pa, inside, gas, compliance := b.c.pa, b.u.insidePa, b.c.gasM3, b.Truth().ComplianceMLPerBar
	b.paths[0].OpenPa = b.load() - 1 // now
	k.hold(10 * time.Minute)
	near(t, "step of the pot × compliance, ml", (pa-b.c.pa)/bar*compliance, 6, 0.06)
	near(t, "gas volume gained, ml", (b.c.gasM3-gas)/millilitre, 6, 0.05)
	near(t, "step inside", b.u.insidePa/inside, c.Unit.FreeM3/(c.Unit.FreeM3-6*millilitre), 0.002)
	if l := b.Truth(); l.LeakMLPerH != 0 || l.IngressML != 0 {
		t.Errorf("a collapse leaks %g ml/h, %g ml", l.LeakMLPerH, l.IngressML)
	}
}

func TestAResealingLipLeaksOnlyShallow(t *testing.T) {
	c := withUnitFault(t, config(t, 5), "reseal below 3 m, 8 ml/h")
	k := control(t, bench(t, c))
	k.to(3, 10)
	k.hold(3 * time.Minute)
	near(t, "at 3 m, ml/h", k.b.Truth().LeakMLPerH, 8, 0.05)
	k.to(12, 10)
	if l := k.b.Truth().LeakMLPerH; l != 0 {
		t.Errorf("leaks %g ml/h at 12 m", l)
	}
	k.to(2, 10)
	if l := k.b.Truth().LeakMLPerH; l < 3 {
		t.Errorf("leaks only %g ml/h back at 2 m", l)
	}
}

func TestADampUnitShowsOnlyInTheHumidity(t *testing.T) {
	k := run(t, withUnitFault(t, config(t, 6), "damp at 10 m, 20 ul/h"), time.Hour, 12)
	clean := run(t, config(t, 6), time.Hour, 12)
	if rh := k.b.Truth().InsideRHPct; rh < 85 || clean.b.Truth().InsideRHPct > 60 {
		t.Errorf("inside %.0f %% damp, %.0f %% clean", rh, clean.b.Truth().InsideRHPct)
	}
	if apart := math.Abs(k.b.c.pa - clean.b.c.pa); apart > 60 {
		t.Errorf("the pot shows it by %.0f Pa", apart)
	}
	for _, r := range k.all {
		if r.Quantity == sensors.ProbeWet && r.Value != 0 {
			t.Fatal("the wet probe is wet")
		}
	}
}

func TestTheWetProbeWaitsForItsVolume(t *testing.T) {
	c := withUnitFault(t, config(t, 7), "seep at 10 m, 30 ml/h")
	b := bench(t, c)
	k := control(t, b)
	wet := false
	k.each = func() {
		for _, r := range k.buffer {
			if r.Quantity != sensors.ProbeWet {
				continue
			}
			if liquid := b.u.liquidKg / 1000; (r.Value != 0) != (liquid >= c.Unit.WetAtM3) && r.At == b.now {
				t.Fatalf("probe %g with %.3f ml, wets at %.3f ml", r.Value, liquid/millilitre, c.Unit.WetAtM3/millilitre)
			}
			wet = wet || r.Value != 0
		}
	}
	k.to(12, 10)
	k.hold(10 * time.Minute)
	if !wet {
		t.Error("never wet")
	}
}

func TestAWetPrintIsNotALeak(t *testing.T) {
	c := withBenchFault(t, config(t, 8), "wet print, 90 %")
	k := run(t, c, 2*time.Hour, 12)
	got := k.b.Truth()
	if got.InsideRHPct < c.Unit.StartRHPct+15 || got.InsideRHPct > 90 {
		t.Errorf("humidity inside from %.0f %% to %.0f %%", c.Unit.StartRHPct, got.InsideRHPct)
	}
	if got.Failed || got.IngressML != 0 {
		t.Errorf("a wet print let %g ml in", got.IngressML)
	}
	if rise := got.InsidePa - c.Unit.SealedPa; rise > 1500 {
		t.Errorf("inside pressure rose by %.0f Pa, more than vapour can", rise)
	}
}

func TestADriedWallGivesNoMore(t *testing.T) {
	c := withBenchFault(t, config(t, 8), "wet print, 90 %")
	c.Unit.SorbKg = 0.5e-6 // half a milligram
	b := bench(t, c)
	before := b.u.vapourKg
	b.Read(at(6*time.Hour), nil)
	near(t, "given off, kg", b.u.vapourKg-before, 0.5e-6, 1e-6)
}

// A flooded unit gives its water back when the pot is vented, and then its air.
func TestAFloodedUnitDrainsAndBreathesOut(t *testing.T) {
	c := withUnitFault(t, config(t, 3), "burst at 18 m, 5 l/h")
	b := bench(t, c)
	k := control(t, b)
	k.to(25, 20)
	k.hold(20 * time.Minute)
	air, flooded := b.u.airMol, b.u.liquidKg
	k.to(0.1, 60)
	for range 7200 {
		k.tick(rig.Valves{Vent: true})
	}
	if b.u.liquidKg > 0.05*flooded {
		t.Errorf("%.0f of %.0f ml are still inside", b.u.liquidKg*1000, flooded*1000)
	}
	if b.u.airMol > air*(1-1e-9) {
		t.Error("no air came out after the water")
	}
	near(t, "inside", b.u.insidePa, b.c.roomPa, 0.01)
}

// Rows of the reference table of sealed canisters: cooled, what the air cannot
// hold falls out.
func TestColdAirDropsItsWater(t *testing.T) {
	for _, row := range table(t, referenceTables+"humidity_worked_examples.csv") {
		if row["V_litre"] == 0 || row["t_cold_degC"] == 0 {
			continue
		}
		c := vessel(standardPa, row["t_degC"])
		c.Chamber.VolumeM3 = 40 * litre
		c.Unit = Unit{OuterM3: 2 * row["V_litre"] * litre, FreeM3: row["V_litre"] * litre, SealedPa: standardPa,
			StartC: row["t_degC"], StartRHPct: row["RH_percent"], EvaporateS: 900, WetAtM3: 1}
		b := bench(t, c)
		near(t, "vapour at the start, mg", b.u.vapourKg*1e6, row["mass_vapour_mg"], 0.005)
		b.u.celsius = row["t_cold_degC"]
		for range 4000 {
			b.moisture(1)
			b.inside()
		}
		want := min(row["RH_at_t_cold_percent"], 100)
		near(t, "humidity in the cold", b.insideRH(), want, 0.006)
		if condenses := b.u.liquidKg > 0; condenses != (row["RH_at_t_cold_percent"] > 100) {
			t.Errorf("condenses %v at %g %%", condenses, row["RH_at_t_cold_percent"])
		}
		near(t, "water in all, mg", (b.u.vapourKg+b.u.liquidKg)*1e6, row["mass_vapour_mg"], 0.005)
	}
}

func TestCreepSlowsDownAndComesPartlyBack(t *testing.T) {
	c := withBenchFault(t, config(t, 9), "creeping wall, 5 times")
	b := bench(t, c)
	k := control(t, b)
	k.to(37.5, 20)
	at := b.u.creep()
	k.hold(10 * time.Minute)
	first := b.u.creep() - at
	k.hold(50 * time.Minute)
	at = b.u.creep()
	k.hold(10 * time.Minute)
	if later := b.u.creep() - at; later <= 0 || later > 0.5*first {
		t.Errorf("creep of %.3f ml in the first ten minutes, %.3f ml an hour later", first/millilitre, later/millilitre)
	}
	most := b.u.creep()
	k.to(0.2, 20)
	k.hold(3 * time.Hour)
	if slow := b.u.creepM3[2] / b.cfg.Unit.Creep[2].Share / (b.u.creepM3[1] / b.cfg.Unit.Creep[1].Share); slow < 1.5 {
		t.Errorf("the lasting part of the creep went as fast as the rest: ratio %.2f", slow)
	}
	if left := b.u.creep() / most; left < 0.1 || left > 0.8 {
		t.Errorf("%.0f %% of the creep is left after three hours at rest", 100*left)
	}
}

func TestElasticSqueezeComesBackAtOnce(t *testing.T) {
	c := config(t, 9)
	for i := range c.Unit.Creep {
		c.Unit.Creep[i].Share = 0
	}
	b := bench(t, c)
	k := control(t, b)
	k.to(37.5, 20)
	volume := b.u.insideM3
	near(t, "squeeze, ml", (c.Unit.FreeM3-volume)/millilitre, c.Unit.SqueezeM3PerPa*(b.c.pa-b.u.insidePa)/millilitre, 0.05)
	k.to(0.2, 20)
	near(t, "volume back", b.u.insideM3, c.Unit.FreeM3, 1e-4)
}

func TestAGasPotLetsGasIn(t *testing.T) {
	r := builtIn()
	r.Bench.Medium, r.Bench.GasCushionML, r.Bench.StiffnessMLPerBar = "gas", 0, 0.7
	c := Default(r, 3)
	c.GaugePa = lake
	k := run(t, withUnitFault(t, c, "seep at 10 m, 1 ml/h"), 20*time.Minute, 12)
	u := &k.b.u
	pa := k.b.c.pa
	near(t, "equivalent, ml/h", k.b.Truth().LeakMLPerH, 1*(pa-u.insidePa)/lake(10), 0.01)
	// DESIGN, section 2: q_liquid = q_gas at mean pressure × viscosity of gas / of water.
	atMean := k.b.flow().unitGas * gasConstant * k.b.c.gasK / ((pa + u.insidePa) / 2)
	near(t, "gas at mean pressure × viscosities, ml/h", atMean*airViscosity(k.b.c.gasK)/waterViscosity(c.Chamber.StartC)/mlPerH, k.b.Truth().LeakMLPerH, 1e-9)
	if u.insidePa < c.Unit.SealedPa+2000 || u.liquidKg > 0 {
		t.Errorf("inside %.0f Pa, %.2g kg of liquid", u.insidePa, u.liquidKg)
	}
}

func TestABlankRunHasNoUnit(t *testing.T) {
	r := builtIn()
	r.Unit.FreeVolumeML, r.Unit.OuterVolumeML = 0, 0
	r.Bench.Sensors = r.Bench.Sensors[:3]
	c := Default(r, 4)
	k := run(t, c, time.Minute, 25)
	before, from := k.b.sum.gasOut, k.now.Mono
	k.hold(30 * time.Minute)
	want := c.Chamber.Blank * (k.b.c.pa - c.Room.StartPa) * (k.now.Mono - from).Seconds()
	near(t, "gas lost by the bench, ml", (k.b.sum.gasOut-before)*gasConstant*k.b.c.gasK/k.b.c.pa/millilitre, want/millilitre, 0.02)
	c.UnitFaults = []UnitFault{{Mode: Seep, OpenPa: 1e5}}
	if _, err := New(c, testStart); err == nil {
		t.Error("a unit fault without a unit is taken")
	}
}
