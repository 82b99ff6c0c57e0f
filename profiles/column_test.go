package profiles

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
	"proofpot/profiles/internal/reference"
	"proofpot/profiles/water"
)

func column(t testing.TB, w Water) Column {
	t.Helper()
	c, err := NewColumn(w)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// near fails where got is further from want than the tolerance, and keeps the worst.
func near(t *testing.T, worst *float64, got, want, tolerance float64, what any) {
	t.Helper()
	d := math.Abs(got - want)
	*worst = max(*worst, d)
	if !(d <= tolerance) {
		t.Errorf("got %.9g, want %.9g (off by %.3g, allowed %.3g): %v", got, want, d, tolerance, what)
	}
}

// Columns of sea and fresh water from an independent library and an independent integrator.
func TestDepthIsGoodToAMillimetreInAnyWater(t *testing.T) {
	var pressure, depth float64
	for _, r := range reference.Read(t, "column_teos10.csv") {
		model := Sea
		if r.Number(t, "SA_g_kg") == 0 {
			model = Fresh
		}
		c := column(t, Water{Model: model, SalinityGKg: r.Number(t, "SA_g_kg"), TemperatureC: r.Number(t, "t90_degC"),
			LatitudeDeg: r.Number(t, "lat_deg"), SurfacePa: water.AtmospherePa})
		d, p := r.Number(t, "depth_m"), r.Number(t, "gauge_Pa")
		near(t, &pressure, c.GaugePa(d), p, 0.1, r)
		near(t, &depth, c.DepthM(p), d, 1e-5, r)
	}
	t.Logf("worst: %.2g Pa, %.2g m", pressure, depth)
}

// standardOcean is a column of the water that the pressure-to-depth formulas of
// TEOS-10 assume: absolute salinity 35.16504 g/kg, conservative temperature 0 °C.
// Its specific volume is the 75-term polynomial of Roquet et al. 2015 (Ocean
// Modelling 90, 29) at that point, which leaves a polynomial of the pressure.
func standardOcean(latitudeDeg float64) Column {
	volume := [...]float64{9.726613854843870e-4, -4.505913211160929e-5, 7.130728965927127e-6, -6.657179479768312e-7, -2.994054447232880e-8}
	c := Column{SurfacePa: water.AtmospherePa}
	w := Water{Model: Sea, LatitudeDeg: latitudeDeg}
	equation := func(Layer) func(float64) float64 {
		return func(absolutePa float64) float64 {
			z, v := (absolutePa-water.AtmospherePa)/1e8, 0.0
			for k := len(volume) - 1; k >= 0; k-- {
				v = v*z + volume[k]
			}
			return v
		}
	}
	c.integrate(Layer{}, Layer{DepthM: columnDepthM}, equation, w.gravity())
	return c
}

func TestTheStandardOceanIsThatOfTEOS10(t *testing.T) {
	var depth, pressure float64
	for _, r := range reference.Read(t, "depth_teos10_z_from_p.csv") {
		c := standardOcean(r.Number(t, "lat_deg"))
		near(t, &depth, c.DepthM(1e4*r.Number(t, "p_dbar")), r.Number(t, "depth_m"), 1e-4, r)
	}
	for _, r := range reference.Read(t, "pressure_teos10_p_from_z.csv") {
		c := standardOcean(r.Number(t, "lat_deg"))
		near(t, &pressure, c.GaugePa(r.Number(t, "depth_m"))/1e4, r.Number(t, "p_dbar"), 1e-4, r)
	}
	t.Logf("worst: %.2g m, %.2g dbar", depth, pressure)
}

// unescoDepthM is the polynomial of Fofonoff & Millard 1983, UNESCO 44, p. 25:
// depth in the standard ocean, S = 35, t68 = 0 °C.
func unescoDepthM(dbar, latitudeDeg float64) float64 {
	s := math.Sin(latitudeDeg / 57.29578)
	s *= s
	g := 9.780318*(1+(5.2788e-3+2.36e-5*s)*s) + 1.092e-6*dbar
	return (((-1.82e-15*dbar+2.279e-10)*dbar-2.2512e-5)*dbar + 9.72659) * dbar / g
}

func TestEOS80DepthIsThatOfUNESCO44(t *testing.T) {
	var formula, ours float64
	for _, r := range reference.Read(t, "depth_unesco1983.csv") {
		dbar, lat := r.Number(t, "p_dbar"), r.Number(t, "lat_deg")
		tolerance := map[string]float64{"check": 1e-3, "published": 6e-3, "computed": 1e-6}[r["kind"]]
		near(t, &formula, unescoDepthM(dbar, lat), r.Number(t, "depth_m"), tolerance, r)
		if dbar <= 1200 {
			c := column(t, Water{Model: EOS80, SalinityGKg: 35, LatitudeDeg: lat})
			near(t, &ours, c.DepthM(1e4*dbar), unescoDepthM(dbar, lat), 0.01, r)
		}
	}
	t.Logf("worst: formula %.2g m, our integral against it %.2g m", formula, ours)
}

func TestEOS80LiesWithinCentimetresOfTEOS10(t *testing.T) {
	worst := 0.0
	for _, practical := range []float64{0, 7, 20, 35, 40} {
		for _, temperature := range []float64{0, 4, 12, 28} {
			for _, lat := range []float64{0, 45, 70} {
				old := column(t, Water{Model: EOS80, SalinityGKg: practical, TemperatureC: temperature, LatitudeDeg: lat})
				now := column(t, Water{Model: Sea, SalinityGKg: practical * 35.16504 / 35, TemperatureC: temperature, LatitudeDeg: lat})
				for d := 1.0; d <= 1200; d *= 1.5 {
					near(t, &worst, old.DepthM(now.GaugePa(d)), d, 0.02, []float64{practical, temperature, lat, d})
				}
			}
		}
	}
	t.Logf("EOS-80 differs from TEOS-10 by %.2g m at most, down to 1,200 m", worst)
}

// Another writer's conversion of the same waters, by its own code.
func TestAnotherWriterLoadsTheWallAlike(t *testing.T) {
	worst := 0.0
	for _, r := range reference.Read(t, "stage_targets.csv") {
		c := column(t, Water{Model: r["model"], SalinityGKg: r.Number(t, "salinity_gkg"), TemperatureC: r.Number(t, "temperature_c"), LatitudeDeg: r.Number(t, "latitude_deg")})
		load := r.Number(t, "target_Pa") - r.Number(t, "sealed_Pa")
		near(t, &worst, c.GaugePa(r.Number(t, "depth_m"))/load, 1, 3e-5, r)
	}
	t.Logf("worst: %.2g of the load", worst)
}

func TestConventionsAreTheirDefinitions(t *testing.T) {
	var worst float64
	for _, r := range reference.Read(t, "depth_convention_grid.csv") {
		for model, name := range map[string]string{MSW: "p_msw_bar", EN13319: "p_en13319_1019p7_bar", FSW: "p_fsw64_bar"} {
			c := column(t, Water{Model: model})
			near(t, &worst, c.GaugePa(r.Number(t, "depth_m"))/1e5, r.Number(t, name), 1e-6, r)
		}
	}
	t.Logf("worst: %.2g bar", worst)
	for _, c := range []struct {
		got, want, tolerance float64
		source               string
	}{
		{FSWPa, 3064.33657, 5e-6, "64 lb/ft³ at standard gravity"},
		{FSW33Pa, 101325.0 / 33, 1e-9, "US Navy Diving Manual: 33 fsw = 1 atm"},
		{MSWPa / FSWPa, 3.263349, 5e-7, "fsw in a msw"},
		{EN13319Density * water.StandardGravity, 9999.8410, 5e-5, "EN 13319"},
	} {
		near(t, &worst, c.got, c.want, c.tolerance, c.source)
	}
	// The table of definitions, by its items.
	for _, r := range reference.Read(t, "depth_unit_conventions.csv") {
		unit := map[string]float64{"Pa": 1, "bar": 1e5, "psi": 6894.757293168, "msw": MSWPa, "atm": 101325, "fsw64": FSWPa}[r["unit"]]
		item := map[string]float64{"1 msw": MSWPa, "1 fsw (64 lb/ft3, standard gravity)": FSWPa, "33 fsw": 33 * FSW33Pa, "1 atm": 101325}[r["item"]]
		if unit != 0 && item != 0 {
			near(t, &worst, item/unit/r.Number(t, "value"), 1, 2e-5, r)
		}
	}
}

func TestAModelIsKnownByAnySpelling(t *testing.T) {
	for name, want := range map[string]string{"en13319": EN13319, "EN-13319": EN13319, "Sea": Sea, "eos80": EOS80, "FSW": FSW, "fsw33": FSW33} {
		if got, err := Model(name); got != want || err != nil {
			t.Errorf("%q: got %q, %v", name, got, err)
		}
	}
	if _, err := Model("see"); err == nil || err.Error() != `unknown water model "see"; did you mean "sea"? there are sea, EOS-80, fresh, EN 13319, msw, fsw, fsw-33` {
		t.Errorf("got %v", err)
	}
}

func TestFreshWaterIgnoresSalinity(t *testing.T) {
	a, b := column(t, Water{Model: Fresh, TemperatureC: 8, SalinityGKg: 999}), column(t, Water{Model: Fresh, TemperatureC: 8})
	if a.GaugePa(40) != b.GaugePa(40) {
		t.Error("fresh water heeds the salinity")
	}
}

func TestAMountainLakePressesLessFromAbove(t *testing.T) {
	lake := column(t, Water{Model: Fresh, TemperatureC: 6, LatitudeDeg: 46, AltitudeM: 2500})
	if math.Abs(lake.SurfacePa-74691) > 10 { // USSA-1976 table I, 2,500 m: 746.92 mbar, from memory
		t.Errorf("surface pressure %.0f Pa", lake.SurfacePa)
	}
	sea := column(t, Water{Model: Fresh, TemperatureC: 6, LatitudeDeg: 46})
	if ratio := lake.GaugePa(30) / sea.GaugePa(30); ratio > 0.9993 || ratio < 0.9991 {
		t.Errorf("gravity at 2,500 m is some 0.08 %% less; the pressure is %.5f of that at sea level", ratio)
	}
	// A unit closed at sea level carries less there than its gauge pressure says.
	if d := lake.DifferentialPa(30, sea.SurfacePa); math.Abs(d-(lake.GaugePa(30)-26634)) > 10 {
		t.Errorf("differential %.0f Pa", d)
	}
	if d := lake.DifferentialDepthM(lake.DifferentialPa(30, sea.SurfacePa), sea.SurfacePa); math.Abs(d-30) > 1e-6 {
		t.Errorf("the depth of a difference came back as %g m", d)
	}
	if c := column(t, Water{Model: MSW, SurfacePa: 98000}); c.AbsolutePa(10) != 198000 {
		t.Errorf("the barometer is not heeded: %.0f", c.AbsolutePa(10))
	}
}

// waters draws any water that NewColumn accepts.
func waters(t *rapid.T) Water {
	w := Water{
		Model:        rapid.SampledFrom(WaterModels()).Draw(t, "model"),
		SalinityGKg:  rapid.Float64Range(0, 42).Draw(t, "salinity"),
		TemperatureC: rapid.Float64Range(0, 40).Draw(t, "temperature"),
		LatitudeDeg:  rapid.Float64Range(-90, 90).Draw(t, "latitude"),
		AltitudeM:    rapid.Float64Range(-500, 6000).Draw(t, "altitude"),
	}
	if rapid.Bool().Draw(t, "barometer") {
		w.SurfacePa = rapid.Float64Range(40000, 110000).Draw(t, "surface")
	}
	if conventions[w.Model] == 0 {
		at := 0.0
		for range rapid.IntRange(0, 4).Draw(t, "layers") {
			at += rapid.Float64Range(0.5, 400).Draw(t, "down")
			w.Layers = append(w.Layers, Layer{at, rapid.Float64Range(0, 42).Draw(t, "s"), rapid.Float64Range(0, 40).Draw(t, "t")})
		}
	}
	return w
}

func TestDepthAndPressureAreInverseOfEachOther(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, err := NewColumn(waters(t))
		if err != nil {
			t.Fatal(err)
		}
		d := rapid.Float64Range(-10, 2500).Draw(t, "depth")
		if got := c.DepthM(c.GaugePa(d)); math.Abs(got-d) > 1e-6 {
			t.Fatalf("%.9f m came back as %.9f m", d, got)
		}
		p := rapid.Float64Range(-1e5, 2.5e7).Draw(t, "gauge")
		if got := c.GaugePa(c.DepthM(p)); math.Abs(got-p) > 0.01 {
			t.Fatalf("%.6f Pa came back as %.6f Pa", p, got)
		}
	})
}

func TestPressureGrowsWithDepthWithoutJumps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, err := NewColumn(waters(t))
		if err != nil {
			t.Fatal(err)
		}
		d := rapid.Float64Range(-10, 2500).Draw(t, "depth")
		if i := rapid.IntRange(-1, len(c.knots)-1).Draw(t, "knot"); i >= 0 {
			d = c.knots[i].depth - 5e-4 // across a knot
		}
		step := c.GaugePa(d+1e-3) - c.GaugePa(d)
		if step < 9.2 || step > 10.9 {
			t.Fatalf("a millimetre below %.6f m is %.4f Pa", d, step)
		}
	})
}

func TestALayeredLakeIsTheSumOfItsParts(t *testing.T) {
	// The same water given as one and as layers is the same column.
	plain := Water{Model: Sea, SalinityGKg: 34, TemperatureC: 7, LatitudeDeg: 60}
	same := plain
	same.Layers = []Layer{{33, 34, 7}, {400, 34, 7}}
	a, b := column(t, plain), column(t, same)
	for d := 0.0; d < 1200; d += 7 {
		if diff := a.GaugePa(d) - b.GaugePa(d); math.Abs(diff) > 1e-3 {
			t.Fatalf("%g m: %g Pa apart", d, diff)
		}
	}
	// Fresh water on the sea: 10 m of one above the other, the step as good as sharp.
	fjord := plain
	fjord.SalinityGKg, fjord.Layers = 0, []Layer{{10, 0, 7}, {10.001, 34, 7}}
	brackish := fjord
	brackish.Layers = nil
	want := column(t, brackish).GaugePa(10) + a.GaugePa(30) - a.GaugePa(10)
	if got := column(t, fjord).GaugePa(30); math.Abs(got-want) > 1 {
		t.Errorf("got %.1f Pa, want %.1f Pa", got, want)
	}
}

func TestWaterOutOfRangeIsRefused(t *testing.T) {
	good := Water{Model: Sea, SalinityGKg: 35, TemperatureC: 10}
	for key, w := range map[string]Water{
		"model":                 {Model: "lava"},
		"salinity_gkg":          {Model: Sea, SalinityGKg: 60},
		"temperature_c":         {Model: Fresh, TemperatureC: -1},
		"latitude_deg":          {Model: Sea, LatitudeDeg: 91},
		"altitude_m":            {Model: MSW, AltitudeM: 9000},
		"surface_pa":            {Model: MSW, SurfacePa: 1013},
		"layer":                 {Model: MSW, Layers: []Layer{{1, 1, 1}}},
		"layer[1].depth_m":      {Model: Sea, Layers: []Layer{{10, 1, 1}, {9, 1, 1}}},
		"layer[0].salinity_gkg": {Model: Sea, Layers: []Layer{{10, 99, 1}}},
	} {
		var e *KeyError
		if _, err := NewColumn(w); !errors.As(err, &e) || e.Key != key {
			t.Errorf("%s: got %v", key, err)
		}
	}
	good.TemperatureC = math.NaN()
	if _, err := NewColumn(good); err == nil {
		t.Error("not a number was taken for a temperature")
	}
	var none Column
	if !math.IsNaN(none.DepthM(1)) || !math.IsNaN(none.GaugePa(1)) || !math.IsNaN(column(t, Water{Model: MSW}).DepthM(math.NaN())) {
		t.Error("no column, or no number, must give no depth")
	}
}

func BenchmarkConvention(b *testing.B) {
	for b.Loop() {
		c, _ := NewColumn(Water{Model: EN13319})
		c.DepthM(c.GaugePa(30))
	}
}

func BenchmarkSeaByIntegration(b *testing.B) {
	for b.Loop() {
		c, _ := NewColumn(Water{Model: Sea, SalinityGKg: 35, TemperatureC: 12, LatitudeDeg: 58})
		c.DepthM(c.GaugePa(30))
	}
}

func BenchmarkDepthOfAReading(b *testing.B) {
	c := column(b, Water{Model: Sea, SalinityGKg: 35, TemperatureC: 12, LatitudeDeg: 58})
	b.ReportAllocs()
	for b.Loop() {
		c.DepthM(312345)
	}
}
