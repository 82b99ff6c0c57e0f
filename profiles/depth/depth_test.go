package depth

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
	"proofpot/profiles"
	"proofpot/profiles/internal/reference"
)

var fjord = profiles.Water{Model: "sea", SalinityGKg: 35, TemperatureC: 12, LatitudeDeg: 58}

func TestAnyUnitThatAPersonTypes(t *testing.T) {
	psi := 0.45359237 * 9.80665 / (0.0254 * 0.0254)
	for text, want := range map[string]Quantity{
		"30m":           {Depth: true, Value: 30},
		" 30 m ":        {Depth: true, Value: 30},
		"100ft":         {Depth: true, Value: 30.48},
		"4.2bar":        {Value: 420000},
		"4.2 bar gauge": {Value: 420000},
		"5.2 bar abs":   {Value: 520000, Absolute: true},
		"5.2bara":       {Value: 520000, Absolute: true},
		"61psi":         {Value: 61 * psi},
		"61 psig":       {Value: 61 * psi},
		"420kPa":        {Value: 420000},
		"420kpa":        {Value: 420000},
		"0.42MPa":       {Value: 420000},
		"4.2e5Pa":       {Value: 420000},
		"2atm":          {Value: 202650},
		"30msw":         {Value: 300000},
		"98fsw":         {Value: 98 * 64.0 / 144 * psi},
		"33fsw-33":      {Value: 101325},
		"-0.2bar":       {Value: -20000},
	} {
		got, err := Parse(text)
		if err != nil || got.Depth != want.Depth || got.Absolute != want.Absolute || math.Abs(got.Value/want.Value-1) > 1e-9 {
			t.Errorf("%q: got %+v, %v", text, got, err)
		}
	}
}

func TestWhatIsNoDepthIsOneClearLine(t *testing.T) {
	for text, want := range map[string]string{
		"":         `"" is not a depth or pressure; write a number and a unit, such as 30m, 100ft or 4.2bar`,
		"deep":     `"deep" is not a depth or pressure; write a number and a unit, such as 30m, 100ft or 4.2bar`,
		"30":       `"30": the unit is missing; allowed are m, ft, feet, cm, msw, fsw, fsw-33, bar, mbar, Pa, hPa, kPa, MPa, psi, atm, at, kgf/cm2`,
		"30,5m":    `"30,5m": decimals are written with a point: "30.5m"`,
		"30 mtr":   `"30 mtr": unknown unit "mtr"; allowed are m, ft, feet, cm, msw, fsw, fsw-33, bar, mbar, Pa, hPa, kPa, MPa, psi, atm, at, kgf/cm2`,
		"30 baar":  `"30 baar": unknown unit "baar"; did you mean "bar"? allowed are m, ft, feet, cm, msw, fsw, fsw-33, bar, mbar, Pa, hPa, kPa, MPa, psi, atm, at, kgf/cm2`,
		"3 bar up": `"3 bar up": found "up" behind the unit; allowed are gauge, abs`,
		"3 m abs":  `"3 m abs": a depth is neither gauge nor absolute`,
		"-3m":      `"-3m" is a depth of -3 m; must be 0 to 1200 m`,
		"1300m":    `"1300m" is a depth of 1300 m; must be 0 to 1200 m`,
		"-2bar":    `"-2bar" lies below a perfect vacuum: the surface pressure is 101325 Pa`,
		"nanm":     `"nanm" is not a depth or pressure; write a number and a unit, such as 30m, 100ft or 4.2bar`,
	} {
		if _, err := Convert(text, fjord); err == nil || err.Error() != want {
			t.Errorf("%q:\n got %v\nwant %s", text, err, want)
		}
	}
	if _, err := Convert("30m", profiles.Water{Model: "lava"}); err == nil {
		t.Error("an unknown water was taken")
	}
}

func TestTheKeysOfAConversion(t *testing.T) {
	c, err := Convert("30m", fjord)
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	var keys map[string]any
	if err := json.Unmarshal(b, &keys); err != nil || len(keys) != 6 {
		t.Fatalf("%s: %v", b, err)
	}
	for _, key := range []string{"depth_m", "gauge_pa", "absolute_pa", "density_kgm3", "gravity_ms2", "water"} {
		if _, ok := keys[key]; !ok {
			t.Errorf("no %s in %s", key, b)
		}
	}
	// The row of the table for 35 g/kg, 12 °C, 58°, 30 m.
	for _, r := range reference.Read(t, "column_teos10.csv") {
		if r["SA_g_kg"] == "35" && r["t90_degC"] == "12" && r["depth_m"] == "30" && math.Abs(c.GaugePa-r.Number(t, "gauge_Pa")) > 0.01 {
			t.Errorf("got %.3f Pa, want %s", c.GaugePa, r["gauge_Pa"])
		}
	}
	if c.AbsolutePa != c.GaugePa+101325 || c.Water != "sea" {
		t.Errorf("got %+v", c)
	}
}

func TestADepthAndItsPressureAreTheSameConversion(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := fjord
		w.Model = rapid.SampledFrom(profiles.WaterModels()).Draw(t, "model")
		d := rapid.Float64Range(0, 1199).Draw(t, "depth")
		column, err := profiles.NewColumn(w)
		if err != nil {
			t.Fatal(err)
		}
		a := at(column, d)
		for _, text := range []string{
			jsonNumber(a.GaugePa) + "Pa", jsonNumber(a.GaugePa/1e5) + "bar", jsonNumber(a.AbsolutePa/1e6) + "MPa abs", jsonNumber(d/0.3048) + "ft",
		} {
			b, err := Convert(text, w)
			if err != nil || math.Abs(b.DepthM-d) > 1e-6 || math.Abs(b.GaugePa-a.GaugePa) > 0.01 {
				t.Fatalf("%s: got %+v, %v, want %+v", text, b, err, a)
			}
		}
	})
}

func jsonNumber(v float64) string {
	b, _ := json.Marshal(v)
	return string(b)
}

func TestAReportNamesConditionsAndConventions(t *testing.T) {
	c, err := Convert("30m", fjord)
	if err != nil {
		t.Fatal(err)
	}
	text, err := Report(c, fjord)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"35 g/kg absolute salinity", "12 °C", "latitude 58°", "1013.25 hPa by the standard atmosphere at 0 m",
		"EN 13319", "msw", "64 lb/ft³", "33 ft are an atmosphere", "practical salinity 34.84", "30.809 m", "+0.783 %"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	for _, model := range profiles.WaterModels() {
		w := profiles.Water{Model: model, AltitudeM: 2500, SurfacePa: 75100}
		c, err := Convert("3 bar", w)
		if err != nil {
			t.Fatal(err)
		}
		text, err := Report(c, w)
		if err != nil || !strings.Contains(text, "751.00 hPa by barometer, altitude 2500 m") || strings.Contains(text, "NaN") {
			t.Errorf("%s: %v\n%s", model, err, text)
		}
	}
}

func TestATableOverARange(t *testing.T) {
	rows, err := Range("10m", "40m", "10m", fjord)
	if err != nil || len(rows) != 4 || rows[3].DepthM != 40 {
		t.Fatalf("got %v, %v", rows, err)
	}
	text, err := Table(rows, fjord)
	if err != nil || strings.Count(text, "\n") != 7 || !strings.Contains(text, "bar absolute") {
		t.Errorf("%v\n%s", err, text)
	}
	bars, err := Range("1bar", "2bar", "0.5bar", fjord)
	if err != nil || len(bars) != 3 || math.Abs(bars[1].GaugePa-150000) > 1e-3 {
		t.Errorf("got %v, %v", bars, err)
	}
	for _, c := range [][3]string{{"1m", "2bar", "1m"}, {"1m", "2m", "0m"}, {"2m", "1m", "1m"}, {"0m", "1200m", "1e-6m"}, {"0m", "1300m", "1m"}, {"x", "1m", "1m"}, {"-1m", "1m", "1m"}} {
		if rows, err := Range(c[0], c[1], c[2], fjord); err == nil {
			t.Errorf("%v: got %d rows", c, len(rows))
		}
	}
}

func TestALayerIsADepthATemperatureAndASalinity(t *testing.T) {
	for text, want := range map[string]profiles.Layer{
		"20m,8":       {DepthM: 20, TemperatureC: 8, SalinityGKg: 35},
		"20 m, 8, 34": {DepthM: 20, TemperatureC: 8, SalinityGKg: 34},
		"100ft,-1.5":  {DepthM: 30.48, TemperatureC: -1.5, SalinityGKg: 35},
	} {
		if got, err := ParseLayer(text, 35); err != nil || math.Abs(got.DepthM-want.DepthM) > 1e-9 || got.TemperatureC != want.TemperatureC || got.SalinityGKg != want.SalinityGKg {
			t.Errorf("%q: got %+v, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "20m", "20m,x", "20m,8,x", "20m,8,34,1", "3bar,8", "20,8"} {
		if got, err := ParseLayer(text, 35); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: got %+v, %v", text, got, err)
		}
	}
}

func TestAUnitClosedAtSeaLevelCarriesLessInAHighLake(t *testing.T) {
	lake := profiles.Water{Model: profiles.Fresh, TemperatureC: 8, LatitudeDeg: 46, AltitudeM: 2500}
	c, err := Convert("30m", lake)
	if err != nil {
		t.Fatal(err)
	}
	text, err := Report(c, lake)
	// US Standard Atmosphere 1976 at 2500 m: 746.92 hPa, 266.33 hPa below 1013.25.
	if err != nil || !strings.Contains(text, "at this surface -0.2663 bar") {
		t.Errorf("%v\n%s", err, text)
	}
	level := lake
	level.AltitudeM = 0
	if text, err := Report(c, level); err != nil || strings.Contains(text, "closed at") {
		t.Errorf("%v\n%s", err, text)
	}
}

func FuzzParseLayer(f *testing.F) {
	for _, s := range []string{"20m,8", "66ft,8,34.5", "3bar,4", ",,", "1e300m,nan"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		l, err := ParseLayer(text, 35)
		if err != nil {
			return
		}
		w := fjord
		w.Layers = []profiles.Layer{l}
		if c, err := profiles.NewColumn(w); err == nil && math.IsNaN(c.GaugePa(100)) {
			t.Fatalf("%q gave %+v", text, l)
		}
	})
}

func FuzzConvert(f *testing.F) {
	for _, s := range []string{"30m", "4.2 bar abs", "1e3kPa", "-0.1bar", "98fsw", "3 m x"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		c, err := Convert(text, fjord)
		if err == nil && !(c.DepthM <= 1200.001 && c.AbsolutePa >= -1e-6 && !math.IsNaN(c.DepthM)) {
			t.Fatalf("%q gave %+v", text, c)
		}
	})
}
