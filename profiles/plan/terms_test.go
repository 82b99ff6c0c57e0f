package plan

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"proofpot/profiles"
	"proofpot/profiles/internal/reference"
	"proofpot/profiles/water"
)

func TestVapourInASealedUnit(t *testing.T) {
	for _, r := range reference.Read(t, "humidity_worked_examples.csv") {
		if r["V_litre"] == "" {
			continue // the printed example has no volume
		}
		v := Void{FreeML: 1000 * r.Number(t, "V_litre"), SealedC: r.Number(t, "t_degC"), HumidityRH: r.Number(t, "RH_percent"), WaterC: r.Number(t, "t_cold_degC")}
		same(t, v.VapourMG(), r.Number(t, "mass_vapour_mg"), 5e-5, r)
		same(t, v.HumidityAtWater(), r.Number(t, "RH_at_t_cold_percent"), 5e-5, r)
		if fogs := v.ToFogMG() < 0; fogs != (r["condenses_at_t_cold"] == "yes") {
			t.Errorf("fogs: %v in %v", fogs, r)
		}
		warm := v
		warm.WaterC = v.SealedC
		same(t, warm.ToFogMG(), r.Number(t, "water_to_saturate_mg"), 5e-5, r)
	}
}

func TestALimitIsTheSameFlowInEveryTerm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := Void{
			FreeML: rapid.Float64Range(10, 5000).Draw(t, "free"), SealedPa: rapid.Float64Range(70000, 110000).Draw(t, "sealed"),
			SealedC: rapid.Float64Range(5, 35).Draw(t, "c"), HumidityRH: rapid.Float64Range(1, 40).Draw(t, "rh"),
			WaterC: rapid.Float64Range(2, 30).Draw(t, "water"), DiveMin: rapid.Float64Range(5, 240).Draw(t, "dive"),
		}
		a := v.Liquid(rapid.Float64Range(1e-4, 10).Draw(t, "limit"))
		again := []Terms{v.Moisture(a.MGPerH), v.PerDive(a.MLPerDive), v.Drops(a.DropsPerDive)}
		if a.DivesToFog > 0 {
			again = append(again, v.UntilFog(a.DivesToFog))
		}
		for i, b := range again {
			if math.Abs(b.MLPerH/a.MLPerH-1) > 1e-9 || math.Abs(b.MGPerDive/a.MGPerDive-1) > 1e-9 {
				t.Fatalf("way %d: %+v came back as %+v", i, a, b)
			}
		}
	})
}

func TestWhatAFewMilligramsDo(t *testing.T) {
	// Half a litre packed at 25 °C, 30 %RH, dived at 12 °C: 5 mg a dive.
	v := Void{FreeML: 500, SealedPa: 101325, SealedC: 25, HumidityRH: 30, WaterC: 12, DiveMin: 60}
	got := v.Moisture(5)
	want := (water.VapourDensity(water.SaturationPa(12), 12) - water.VapourDensity(0.3*water.SaturationPa(25), 25)) * 500
	same(t, got.DivesToFog, want/5, 1e-9, "dives")
	if got.DivesToFog > 1 || got.DivesToFog < 0.1 {
		t.Errorf("%.2f dives", got.DivesToFog)
	}
	// 0.05 ml/h in half a litre is some 10 Pa/h of inside pressure.
	same(t, v.Liquid(0.05).RisePaPerH, 10.13, 1e-3, "rise")
	damp := v
	damp.HumidityRH = 80
	if damp.Liquid(0.001).DivesToFog != 0 || damp.UntilFog(3).MLPerH != 0 {
		t.Error("it fogs as it is")
	}
	if !math.IsInf(v.Liquid(0).DivesToFog, 1) {
		t.Error("no ingress never fogs")
	}
}

func TestAirInAClosedUnitFollowsItsTemperature(t *testing.T) {
	// Amontons: 101,325 Pa at 20 °C is 96,141 Pa at 5 °C.
	same(t, InsidePa(101325, 20, 5), 101325*278.15/293.15, 1e-12, "cold")
}

func TestALimitInDivesUntilItFogsBecomesOneByTheHour(t *testing.T) {
	p := load(t, "proof-30m-sea")
	p.Accept = profiles.Accept{LeakMLPerH: 0.5, DiveMin: 45, FogDives: 6, FogWaterC: 4}
	u := Unit{FreeML: 500, SealedC: 22, SealedRH: 20}
	got, err := Resolve(p, u)
	if err != nil {
		t.Fatal(err)
	}
	// By hand: what the air at 4 °C still takes, over six dives of three quarters of an hour.
	want := (water.VapourDensity(water.SaturationPa(4), 4) - water.VapourDensity(0.2*water.SaturationPa(22), 22)) * 500 / (6 * 0.75)
	same(t, got.Accept.MoistureMGPerH, want, 1e-9, "mg/h")
	again, err := Resolve(got, u)
	if err != nil || again.Accept != got.Accept {
		t.Errorf("resolved once more: %+v, %v", again.Accept, err)
	}
	planned, err := New(p, pot, u)
	if err != nil || planned.Profile.Accept.MoistureMGPerH != got.Accept.MoistureMGPerH || !strings.Contains(planned.Text(time.Time{}), "fogs after 6 dives") {
		t.Errorf("%v\n%s", err, planned.Text(time.Time{}))
	}
	damp, blank, both := u, u, got
	damp.SealedRH, blank.FreeML, both.Accept.MoistureMGPerH = 60, 0, 2*got.Accept.MoistureMGPerH
	for want, resolve := range map[string]func() (profiles.Profile, error){
		"fogs as it is closed":         func() (profiles.Profile, error) { return Resolve(p, damp) },
		"needs a unit with air inside": func() (profiles.Profile, error) { return Resolve(p, blank) },
		"give one of them":             func() (profiles.Profile, error) { return Resolve(both, u) },
	} {
		if _, err := resolve(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want %q, got %v", want, err)
		}
	}
}
