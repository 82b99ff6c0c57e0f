package analysis

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/mat"

	"proofpot/profiles/water"
)

// reference reads a table of testdata/reference: source and tolerance stand at
// the head of each file.
func reference(t *testing.T, name string) []map[string]float64 {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", "reference", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]float64
	for _, row := range rows[1:] {
		m := map[string]float64{}
		for i, cell := range row {
			if v, err := strconv.ParseFloat(cell, 64); err == nil {
				m[rows[0][i]] = v
			}
		}
		out = append(out, m)
	}
	return out
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.10g, want %.10g ± %.2g", what, got, want, tolerance)
	}
}

func TestKellsWaterIsDensestAtFourDegrees(t *testing.T) {
	for _, r := range reference(t, "freshwater_properties.csv") {
		if c := r["t_degC"]; c >= 0 && c <= 50 {
			near(t, "density by Kell 1975", kellDensity(c), r["rho_kell1975_kg_m3"], 0.005)
			near(t, "density by IAPWS-95", kellDensity(c), r["rho_iapws95_kg_m3"], 0.01)
		}
	}
	near(t, "density at 25 °C", kellDensity(25), 997.04, 0.01)
	near(t, "expansion at 3.98 °C", waterExpansion(3.93, 4.03)/0.1, 0, 1e-6)
}

func TestWaterGrowsAsTheTradeNoteHasIt(t *testing.T) {
	// TRADE.md section 3.3, calculated there from Kell 1975.
	for c, want := range map[float64]float64{5: 1.60e-5, 10: 8.80e-5, 15: 1.51e-4, 20: 2.07e-4, 25: 2.57e-4} {
		near(t, "expansion", waterExpansion(c-0.05, c+0.05)/0.1, want, 0.01e-4)
	}
}

// What a kelvin does to a full pot, and what its contents give: TRADE.md section 3.3,
// worked out there from Kell 1975 and the formulae of 3.2, here from IAPWS SR7-09.
func TestAFullPotAndItsComplianceAreAsTheTradeNoteHasThem(t *testing.T) {
	for _, r := range []struct{ c, kappa, rigid, steel, alu float64 }{ // °C, 1/Pa, bar/K
		{5, 4.92e-10, 0.33, -0.28, -0.53}, {10, 4.78e-10, 1.84, 0.78, 0.19}, {15, 4.67e-10, 3.23, 1.74, 0.85}, {20, 4.59e-10, 4.51, 2.61, 1.44}, {25, 4.53e-10, 5.68, 3.40, 1.98},
	} {
		w := water.FreshIsotherm(r.c)
		kappa, alpha := w.Compressibility(water.AtmospherePa), waterExpansion(r.c-0.05, r.c+0.05)/0.1
		near(t, "compressibility", kappa, r.kappa, 0.006e-10)
		near(t, "expansion by IAPWS", w.Expansivity(water.AtmospherePa), alpha, 0.01e-4)
		near(t, "rigid, bar/K", alpha/kappa/1e5, r.rigid, 0.02)
		near(t, "steel, bar/K", (alpha-35e-6)/(kappa+2e-10)/1e5, r.steel, 0.02)
		near(t, "aluminium, bar/K", (alpha-69e-6)/(kappa+5e-10)/1e5, r.alu, 0.02)
	}
	// 10 l, walls of 2e-10 1/Pa, at 5 bar absolute and some 20 °C.
	fresh := water.FreshIsotherm(20)
	kappa := fresh.Compressibility(5e5)
	for _, r := range []struct{ gasML, c, perML float64 }{{0, 0.67, 1500}, {1, 0.87, 1150}, {10, 2.7, 375}, {100, 20.7, 48}, {1000, 200, 5.0}} { // ml/bar, mbar/ml
		v := vessel{gasML: r.gasML * 5, stiff: (10_000-r.gasML)*kappa + 10_000*2e-10, roomPa: 1e5, waterFed: true}
		c := v.compliance(5e5, 0) * 1e5
		near(t, "compliance, ml/bar", c, r.c, 0.035*r.c)
		near(t, "mbar a ml", 1000/c, r.perML, 0.035*r.perML)
	}
}

func TestViscosities(t *testing.T) {
	for _, r := range reference(t, "air_viscosity.csv") {
		for name, want := range r {
			if name == "mu_air_sutherland_uPa_s" || name == "mu_sutherland_uPa_s" {
				near(t, "air, US Standard Atmosphere 1976", airViscosity(r["T_K"])*1e6, want, 1e-3*want)
			}
		}
	}
	near(t, "air at 288.15 K, US Standard Atmosphere 1976", airViscosity(288.15), 1.7894e-5, 2e-9)
	for _, r := range reference(t, "freshwater_properties.csv") {
		if c := r["t_degC"]; c >= 0 && c <= 50 {
			near(t, "water, IAPWS R12-08", waterViscosity(c+273.15)*1e6, r["mu_uPa_s"], 2e-3*r["mu_uPa_s"])
		}
	}
}

func TestGasThroughACapillaryForetellsWater(t *testing.T) {
	for _, r := range reference(t, "leak_gas_liquid_equivalence.csv") {
		p1, p2 := r["gas_p1_Pa"], r["gas_p2_Pa"]
		gas := r["Q_gas_Pa_m3_s"] / p1 // m³/s at the upstream pressure
		got := liquidEquivalent(gas, p1, p2, 293.15) * (r["liq_P1_Pa"] - r["liq_P2_Pa"]) / (p1 - p2)
		near(t, "water, m³/s", got, r["V_liq_m3_s"], 2e-3*r["V_liq_m3_s"])
	}
}

func TestPressureDecayIsCorrectedForTemperature(t *testing.T) {
	for _, r := range reference(t, "pressure_decay_examples.csv") {
		k1, k2 := r["t1_degC"]+273.15, r["t2_degC"]+273.15
		// Volume lost at the later state, as throughput at the first temperature.
		q := r["V_litre"] * gasGrowth(r["p1_mbar"], k1, r["p2_mbar"], k2) * r["p2_mbar"] * k1 / k2 / r["dt_s"]
		near(t, "leak, mbar L/s", q, r["Q_corrected_mbarL_s"], 1e-9*math.Abs(r["Q_corrected_mbarL_s"])+1e-12)
	}
}

func TestTheLinearModelMeetsNorris(t *testing.T) {
	rows := reference(t, "Norris.csv")
	n := len(rows)
	x := mat.NewDense(n, 2, nil)
	y := make([]float64, n)
	// Certified by NIST StRD; the standard deviations are for the residual one.
	const sd = 0.884796396144373
	cov := mat.NewSymDense(n, nil)
	for i, r := range rows {
		x.SetRow(i, []float64{1, r["x"]})
		y[i] = r["y"]
		cov.SetSym(i, i, sd*sd)
	}
	inf := math.Inf(1)
	p, err := (&linear{x: x, y: y, cov: cov, mean: []float64{0, 0}, sd: []float64{inf, inf}}).solve()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "B0", p.b[0], -0.262323073774029, 1e-9)
	near(t, "B1", p.b[1], 1.00211681802045, 1e-10)
	near(t, "sd of B0", p.sd(0), 0.232818234301152, 1e-9)
	near(t, "sd of B1", p.sd(1), 0.429796848199937e-3, 1e-12)
	near(t, "residual sum of squares", p.chi2*sd*sd, 26.6173985294224, 1e-8)
}

func TestWhatIsKnownBeforehandIsWeighed(t *testing.T) {
	// One reading of 3 ± 2 and knowledge of 1 ± 1 make 1.4 ± 2/√5.
	p, err := (&linear{x: mat.NewDense(1, 1, []float64{1}), y: []float64{3}, cov: mat.NewSymDense(1, []float64{4}), mean: []float64{1}, sd: []float64{1}}).solve()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "value", p.b[0], 1.4, 1e-12)
	near(t, "uncertainty", p.sd(0), 2/math.Sqrt(5), 1e-12)
}

// A transducer that strays makes the interval of independent errors far too
// narrow, and the one that knows how it strays about right.
func TestIndependentErrorsClaimTooMuch(t *testing.T) {
	const n, runs, noise, dt = 60, 800, 6.0, 5.0
	w := drifts[0]
	rng := rand.New(rand.NewPCG(1, 2))
	cov := mat.NewSymDense(n, nil)
	x := mat.NewDense(n, 2, nil)
	var sxx float64
	for i := range n {
		h := (float64(i) - (n-1)/2.0) * dt / 3600
		x.SetRow(i, []float64{1, h})
		sxx += h * h
		for j := i; j < n; j++ {
			c := w.cov(float64(i)*dt, float64(j)*dt)
			if i == j {
				c += noise * noise
			}
			cov.SetSym(i, j, c)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		t.Fatal("not a covariance")
	}
	var lower mat.TriDense
	chol.LTo(&lower)
	inf := math.Inf(1)
	naive, known := 0, 0
	for range runs {
		z := mat.NewVecDense(n, nil)
		for i := range n {
			z.SetVec(i, rng.NormFloat64())
		}
		var y mat.VecDense
		y.MulVec(&lower, z)
		values := make([]float64, n)
		slope := 0.0
		for i := range n {
			values[i] = y.AtVec(i)
			slope += x.At(i, 1) * values[i] / sxx
		}
		if math.Abs(slope) <= 1.96*noise/math.Sqrt(sxx) {
			naive++
		}
		p, err := (&linear{x: x, y: values, cov: cov, mean: []float64{0, 0}, sd: []float64{inf, inf}}).solve()
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(p.b[1]) <= 1.96*p.sd(1) {
			known++
		}
	}
	t.Logf("of %d tight holds the interval of independent errors holds zero in %d, the one with drift in %d", runs, naive, known)
	if naive > runs*70/100 {
		t.Errorf("independent errors held zero in %d of %d: no longer a warning", naive, runs)
	}
	if known < runs*92/100 || known > runs*98/100 {
		t.Errorf("the interval held zero in %d of %d, want 92 to 98 %%", known, runs)
	}
}
