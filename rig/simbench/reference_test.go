package simbench

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
)

// table reads a reference table: comment lines with its sources, a header, rows.
func table(t *testing.T, path string) []map[string]float64 {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil || len(all) < 2 {
		t.Fatalf("%s: %d rows, %v", path, len(all), err)
	}
	var rows []map[string]float64
	for _, cells := range all[1:] {
		row := map[string]float64{}
		for i, cell := range cells {
			if x, err := strconv.ParseFloat(cell, 64); err == nil {
				row[all[0][i]] = x
			}
		}
		rows = append(rows, row)
	}
	return rows
}

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: got %.6g, want %.6g ± %.3g %%", what, got, want, 100*relative)
	}
}

const referenceTables = "../../testdata/reference/"

// IAPWS-95, R12-08 by way of the table's header; Kell against itself.
func TestWaterIsThatOfIAPWS(t *testing.T) {
	for _, row := range table(t, referenceTables+"freshwater_properties.csv") {
		at := row["t_degC"]
		if got, want := waterDensity(at), row["rho_iapws95_kg_m3"]; math.Abs(got-want) > 0.005 {
			t.Errorf("density at %g °C: got %.5f, want %.5f ± 0.005", at, got, want)
		}
		if got, want := waterDensity(at), row["rho_kell1975_kg_m3"]; math.Abs(got-want) > 1e-5 {
			t.Errorf("Kell's density at %g °C: got %.5f, want %.5f", at, got, want)
		}
		near(t, "compressibility", waterCompressibility(at), row["kappa_T_1_per_GPa"]*1e-9, 1e-4)
		if got, want := waterExpansion(at)*1e6, row["alpha_v_1e-6_per_K"]; math.Abs(got-want) > 0.5 {
			t.Errorf("expansion at %g °C: got %.3f, want %.3f ± 0.5 per million K", at, got, want)
		}
		near(t, "viscosity", waterViscosity(at), row["mu_uPa_s"]*1e-6, 0.003)
	}
	if a := waterExpansion(3.98); math.Abs(a) > 2e-7 { // densest at 3.98 °C
		t.Errorf("expansion at 3.98 °C is %g 1/K", a)
	}
}

// Sonntag 1990 against IAPWS-95.
func TestVapourPressureIsThatOfIAPWS(t *testing.T) {
	for _, row := range table(t, referenceTables+"saturation_vapour_pressure.csv") {
		want := row["p_iapws95_Pa"]
		if want == 0 {
			want = row["p_if97_Pa"]
		}
		near(t, "saturation", saturationPa(row["t_degC"]+zeroC), want, 2e-4)
	}
}

// US Standard Atmosphere 1976, eq. 51; sea level value 1.7894e-5 Pa s.
func TestAirViscosityIsThatOfTheStandardAtmosphere(t *testing.T) {
	for _, row := range table(t, "testdata/air_viscosity.csv") {
		near(t, "air viscosity", airViscosity(row["T_K"]), row["mu_sutherland_uPa_s"]*1e-6, 1e-5)
	}
	near(t, "air viscosity at sea level", airViscosity(288.15), 1.7894e-5, 1e-4)
}

// Gas and water through one capillary, by Hagen and Poiseuille.
func TestOneCapillaryPassesWaterAndAirAsComputed(t *testing.T) {
	const kelvin = 293.15
	for _, row := range table(t, referenceTables+"leak_gas_liquid_equivalence.csv") {
		k := row["V_liq_m3_s"] / (row["liq_P1_Pa"] - row["liq_P2_Pa"])
		got := laminarGas(k, row["gas_p1_Pa"], row["gas_p2_Pa"], kelvin, 1001.6e-6) * gasConstant * kelvin
		near(t, "gas throughput", got, row["Q_gas_Pa_m3_s"], 5e-4) // viscosity of air printed to four digits
	}
}

// Bunsen's coefficient of air in water at 20 °C is 0.0187 l/l at 1 atm (from
// memory); 5 l of water under 4 bar more swallow some 0.37 l.
func TestAirDissolvesAsHenrySays(t *testing.T) {
	molarVolume := gasConstant * zeroC / standardPa // m³ at 0 °C and 1 atm
	near(t, "Bunsen coefficient", airSolubility(293.15)*standardPa*molarVolume, 0.0187, 0.03)
	near(t, "uptake, l", airSolubility(293.15)*4*bar*5*litre*molarVolume/litre, 0.37, 0.03)
}

// A throat of 1 mm² passes 0.04042 p A / √T kg/s of choked air (isentropic
// nozzle, any textbook of gas dynamics: √(γ/R) (2/(γ+1))^3 with γ = 1.4), which
// is a sonic conductance of 0.2 l/(s bar).
func TestAChokedValvePassesWhatANozzleDoes(t *testing.T) {
	const airKg, p1, kelvin = 28.9647e-3, 7e5, 293.15
	nozzle := math.Sqrt(1.4/(gasConstant/airKg)) * math.Pow(2/2.4, 3) * p1 * 1e-6 / math.Sqrt(kelvin) / airKg
	near(t, "choked flow", gasFlow(0.2e-8, p1, standardPa, kelvin), nozzle, 0.01)
	if gasFlow(1e-9, 2e5, 2e5, kelvin) != 0 || gasFlow(1e-9, 1e5, 2e5, kelvin) != 0 {
		t.Error("a valve passes gas without or against a difference")
	}
	// ISO 6358-1: √(1 − ((r − b) / (1 − b))²) of the choked flow, 0.866 half way from b to 1.
	near(t, "flow half way", gasFlow(1e-9, 5e5, 0.65*5e5, kelvin)/gasFlow(1e-9, 5e5, 0, kelvin), 0.8660, 1e-4)
	last := gasFlow(1e-9, 5e5, 0, kelvin)
	for r := 0.0; r <= 1; r += 1e-3 {
		f := gasFlow(1e-9, 5e5, 5e5*r, kelvin)
		if f > last || last-f > 0.02*gasFlow(1e-9, 5e5, 0, kelvin) && r < 0.98 {
			t.Fatalf("flow jumps or grows at a ratio of %.3f: %g after %g", r, f, last)
		}
		last = f
	}
}
