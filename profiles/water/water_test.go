package water_test

import (
	"math"
	"testing"

	"proofpot/profiles/internal/reference"
	"proofpot/profiles/water"
)

// worst keeps the largest deviation of a table and fails a row beyond its tolerance.
type worst struct{ most float64 }

func (w *worst) check(t *testing.T, got, want, tolerance float64, what string, row reference.Row) {
	t.Helper()
	d := math.Abs(got - want)
	w.most = max(w.most, d)
	if !(d <= tolerance) {
		t.Errorf("%s: got %.9g, want %.9g (off by %.2g, allowed %.2g) in %v", what, got, want, d, tolerance, row)
	}
}

func TestSeaDensityIsThatOfTEOS10(t *testing.T) {
	var exact, fit worst
	for _, r := range reference.Read(t, "seawater_density_teos10.csv") {
		w := water.SeaIsotherm(r.Number(t, "SA_g_kg"), r.Number(t, "t90_degC"))
		got := w.Density(water.AtmospherePa + 1e4*r.Number(t, "p_dbar"))
		exact.check(t, got, r.Number(t, "rho_t_exact_kg_m3"), 1e-6, "density by the Gibbs function", r)
		fit.check(t, got, r.Number(t, "rho_kg_m3"), 0.002, "density by the 75-term fit", r)
	}
	t.Logf("worst: %.2g kg/m³ against the Gibbs function, %.2g against the 75-term fit", exact.most, fit.most)
}

func TestEOS80IsThatOfUNESCO44(t *testing.T) {
	var rho, k worst
	for _, r := range reference.Read(t, "seawater_density_eos80.csv") {
		w := water.NewEOS80(r.Number(t, "S_psu"), r.Number(t, "t68_degC")/1.00024)
		p := water.AtmospherePa + 1e4*r.Number(t, "p_dbar")
		rho.check(t, 1/w.SpecificVolume(p), r.Number(t, "rho_kg_m3"), 1e-5, "density", r)
		k.check(t, w.SecantBulkModulus(p), r.Number(t, "K_secant_bar"), 1e-5, "secant bulk modulus", r)
	}
	t.Logf("worst: %.2g kg/m³, %.2g bar", rho.most, k.most)
}

func TestEOS80LiesWithinTwoHundredthsOfTEOS10(t *testing.T) {
	var w worst
	for _, r := range reference.Read(t, "seawater_density_teos10.csv") {
		old := water.NewEOS80(r.Number(t, "SP_psu"), r.Number(t, "t90_degC"))
		got := 1 / old.SpecificVolume(water.AtmospherePa+1e4*r.Number(t, "p_dbar"))
		w.check(t, got, r.Number(t, "rho_t_exact_kg_m3"), 0.02, "EOS-80 less TEOS-10", r)
	}
	t.Logf("EOS-80 differs from TEOS-10 by %.2g kg/m³ at most", w.most)
}

func TestFreshWaterIsThatOfIAPWS(t *testing.T) {
	var rho, tanaka, kappa, alpha worst
	for _, r := range reference.Read(t, "freshwater_properties.csv") {
		w := water.FreshIsotherm(r.Number(t, "t_degC"))
		p := water.AtmospherePa
		rho.check(t, w.Density(p), r.Number(t, "rho_iapws95_kg_m3"), 1e-3, "density by IAPWS-95", r)
		tanaka.check(t, w.Density(p), r.Number(t, "rho_tanaka_kg_m3"), 0.005, "density by Tanaka 2001", r)
		kappa.check(t, w.Compressibility(p)*1e9/r.Number(t, "kappa_T_1_per_GPa")-1, 0, 1e-3, "compressibility", r)
		alpha.check(t, w.Expansivity(p)*1e6, r.Number(t, "alpha_v_1e-6_per_K"), 0.1, "expansivity", r)
	}
	t.Logf("worst: %.2g kg/m³ against IAPWS-95, %.2g against Tanaka, compressibility %.2g of its value, expansivity %.2g 1e-6/K",
		rho.most, tanaka.most, kappa.most, alpha.most)
	var deep, kdeep worst
	for _, r := range reference.Read(t, "freshwater_density_pressure.csv") {
		w := water.FreshIsotherm(r.Number(t, "t_degC"))
		p := 1e6 * r.Number(t, "p_abs_MPa")
		deep.check(t, w.Density(p), r.Number(t, "rho_kg_m3"), 1e-3, "density under pressure", r)
		kdeep.check(t, w.Compressibility(p)*1e9/r.Number(t, "kappa_T_1_per_GPa")-1, 0, 1e-3, "compressibility under pressure", r)
	}
	t.Logf("worst under pressure: %.2g kg/m³, compressibility %.2g of its value", deep.most, kdeep.most)
}

func TestGravityIsThatOfTheEllipsoid(t *testing.T) {
	var teos, grs, unesco worst
	for _, r := range reference.Read(t, "gravity_latitude.csv") {
		lat := r.Number(t, "lat_deg")
		teos.check(t, water.Gravity(lat), r.Number(t, "g_gsw_p0_m_s2"), 1e-9, "gravity of TEOS-10", r)
		teos.check(t, water.Gravity(-lat), r.Number(t, "g_gsw_p0_m_s2"), 1e-9, "gravity of TEOS-10, south", r)
		grs.check(t, water.Gravity(lat), r.Number(t, "g_grs80_m_s2"), 2e-6, "gravity of GRS 80", r)
		unesco.check(t, water.GravityUNESCO(lat), r.Number(t, "g_unesco1983_m_s2"), 1e-9, "gravity of UNESCO 44", r)
	}
	t.Logf("worst: %.2g m/s² against TEOS-10, %.2g against GRS 80, %.2g against UNESCO 44", teos.most, grs.most, unesco.most)
}

func TestGravityFallsWithAltitude(t *testing.T) {
	// The free-air gradient of geodesy is 0.3086 mGal/m at middle latitudes
	// (Torge, Geodesy: 3.086e-6 1/s²), a little less for the second order.
	g := water.Gravity(45)
	if got := (g - water.AtAltitude(g, 45, 1000)) / 1000; math.Abs(got-3.0855e-6) > 2e-9 {
		t.Errorf("gradient %.5g m/s² a metre", got)
	}
	if water.AtAltitude(g, 45, 0) != g {
		t.Error("sea level is not at sea level")
	}
}

func TestTheStandardAtmosphereIsThatOf1976(t *testing.T) {
	var w worst
	for _, r := range reference.Read(t, "std_atmosphere_1976.csv") {
		w.check(t, water.StandardAtmospherePa(r.Number(t, "altitude_m"))/100, r.Number(t, "p_Z_geometric_hPa"), 0.0001, "pressure", r)
	}
	t.Logf("worst: %.2g hPa", w.most)
	for _, r := range reference.Read(t, "std_atmosphere_ft_published.csv") {
		const psi = 6894.757293168
		w.check(t, water.StandardAtmospherePa(0.3048*r.Number(t, "altitude_ft"))/psi, r.Number(t, "p_psia"), 0.0006, "pressure", r)
	}
}

func TestSaturationIsThatOfIF97(t *testing.T) {
	for _, r := range reference.Read(t, "saturation_if97_published.csv") {
		kelvin, want := r.Number(t, "input"), r.Number(t, "value")
		if r["quantity"] == "T_sat_K at p_MPa" { // the same line, printed the other way round
			kelvin, want = want, kelvin
		}
		if got := water.SaturationPa(kelvin-water.ZeroC) / 1e6; math.Abs(got/want-1) > 2e-8 { // nine printed digits of a temperature
			t.Errorf("got %.10g, want %.10g MPa at %g K", got, want, kelvin)
		}
	}
	for _, r := range reference.Read(t, "saturation_vapour_pressure.csv") {
		got := water.SaturationPa(r.Number(t, "t_degC"))
		for column, tolerance := range map[string]float64{"p_if97_Pa": 1e-6, "p_iapws95_Pa": 2e-4, "p_sonntag1990_Pa": 1e-3, "p_wmo_magnus_Pa": 4e-3} {
			if r[column] != "" && math.Abs(got/r.Number(t, column)-1) > tolerance {
				t.Errorf("%s: got %.6g in %v", column, got, r)
			}
		}
	}
}

func TestDewPointAndVapourDensity(t *testing.T) {
	var td, rho worst
	for _, r := range reference.Read(t, "dewpoint_absolute_humidity.csv") {
		temperature := r.Number(t, "t_degC")
		e := water.SaturationPa(temperature) * r.Number(t, "RH_percent") / 100
		rho.check(t, 1000*water.VapourDensity(e, temperature)/r.Number(t, "rho_v_if97_g_m3")-1, 0, 3e-5, "vapour density", r)
		if r["td_if97_degC"] == "" {
			if !math.IsNaN(water.DewPointC(e)) {
				t.Errorf("a dew point below freezing was given for %v", r)
			}
			continue
		}
		td.check(t, water.DewPointC(e), r.Number(t, "td_if97_degC"), 1e-3, "dew point", r)
	}
	t.Logf("worst: dew point %.2g K, vapour density %.2g of its value", td.most, rho.most)
}
