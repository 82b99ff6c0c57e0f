package depth

import (
	"fmt"
	"math"
	"strings"
	"text/tabwriter"

	"proofpot/profiles"
	"proofpot/profiles/water"
)

// Conditions says in words which water was assumed.
func Conditions(w profiles.Water) (string, error) {
	c, err := profiles.NewColumn(w)
	if err != nil {
		return "", err
	}
	w = c.Water
	var text string
	switch w.Model {
	case profiles.Sea:
		text = fmt.Sprintf("sea water by TEOS-10 of %g g/kg absolute salinity, %g °C, latitude %g°", w.SalinityGKg, w.TemperatureC, w.LatitudeDeg)
	case profiles.EOS80:
		text = fmt.Sprintf("sea water by EOS-80 of practical salinity %g, %g °C, latitude %g°", w.SalinityGKg, w.TemperatureC, w.LatitudeDeg)
	case profiles.Fresh:
		text = fmt.Sprintf("fresh water by IAPWS SR7-09, %g °C, latitude %g°", w.TemperatureC, w.LatitudeDeg)
	case profiles.EN13319:
		text = "the convention of EN 13319, 1019.7 kg/m³ at 9.80665 m/s²"
	case profiles.MSW:
		text = "the convention of metres of sea water, 10 kPa each"
	case profiles.FSW:
		text = "the convention of feet of sea water of 64 lb/ft³, 3064.34 Pa each"
	case profiles.FSW33:
		text = "the convention of feet of sea water of which 33 are an atmosphere, 3070.45 Pa each"
	}
	if n := len(w.Layers); n > 0 {
		text += fmt.Sprintf(" at the surface and %d points below it down to %g m", n, w.Layers[n-1].DepthM)
	}
	surface := fmt.Sprintf("; surface pressure %.2f hPa", c.SurfacePa/100)
	if w.SurfacePa == 0 {
		surface += fmt.Sprintf(" by the standard atmosphere at %g m", w.AltitudeM)
	} else {
		surface += fmt.Sprintf(" by barometer, altitude %g m", w.AltitudeM)
	}
	return text + surface, nil
}

// Report words a conversion: the pressures in the usual units, the conditions
// assumed, and what the same pressure is by every other water and convention.
func Report(c Conversion, w profiles.Water) (string, error) {
	conditions, err := Conditions(w)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%.3f m (%.2f ft) in %s\n\n", c.DepthM, c.DepthM/0.3048, conditions)
	t := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	line := func(name string, pa float64) {
		fmt.Fprintf(t, "  %s\t%.4f bar\t%.2f kPa\t%.5f MPa\t%.3f psi\t%.4f atm\n", name, pa/1e5, pa/1e3, pa/1e6, pa/6894.757293168, pa/water.AtmospherePa)
	}
	line("gauge", c.GaugePa)
	line("absolute", c.AbsolutePa)
	t.Flush()
	fmt.Fprintf(&b, "  at the surface: density %.3f kg/m³, gravity %.5f m/s²\n\n", c.DensityKgM3, c.GravityMS2)
	if own, err := profiles.NewColumn(w); err == nil && math.Abs(own.SurfacePa-water.AtmospherePa) > 50 {
		off := own.SurfacePa - water.AtmospherePa
		fmt.Fprintf(&b, "A unit closed at 1013.25 hPa carries %.4f bar here, as at %.2f m; at this surface %+.4f bar.\n\n",
			(c.GaugePa+off)/1e5, own.DepthM(c.GaugePa+off), off/1e5)
	}
	b.WriteString("The same gauge pressure by other waters and conventions\n")
	for _, other := range others(w) {
		column, err := profiles.NewColumn(other.water)
		if err != nil || other.water.Model == c.Water {
			continue // a temperature that this model does not know, or itself
		}
		d := column.DepthM(c.GaugePa)
		apart := fmt.Sprintf("%+.4f m", d-c.DepthM)
		if c.DepthM != 0 {
			apart += fmt.Sprintf("\t%+.3f %%", 100*(d-c.DepthM)/c.DepthM)
		}
		shown := fmt.Sprintf("%.3f m", d)
		if m := other.water.Model; m == profiles.FSW || m == profiles.FSW33 {
			shown = fmt.Sprintf("%.3f ft", d/0.3048)
		}
		fmt.Fprintf(t, "  %s\t%s\t%s\n", shown, apart, other.name)
	}
	t.Flush()
	return b.String(), nil
}

type named struct {
	name  string
	water profiles.Water
}

// others are the waters and conventions beside a water, with its own salinity,
// temperature and latitude where it has them.
func others(w profiles.Water) []named {
	own, _ := profiles.Model(w.Model)
	physical := w
	if own != profiles.Sea && own != profiles.EOS80 {
		physical.SalinityGKg, physical.Layers = 35, nil
	}
	switch own {
	case profiles.Sea, profiles.EOS80, profiles.Fresh:
	default:
		physical.TemperatureC, physical.LatitudeDeg = 10, 45
	}
	as := func(model string, salinity float64) profiles.Water {
		o := physical
		o.Model, o.SalinityGKg = model, salinity
		if model == profiles.Fresh || model != own {
			o.Layers = nil
		}
		return o
	}
	// Practical and absolute salinity of the same sea water, without regional
	// anomaly: TEOS-10, S_R = (35.16504/35) g/kg × S_P.
	const absolute = 35.16504 / 35
	sp, sa := physical.SalinityGKg/absolute, physical.SalinityGKg
	if own == profiles.EOS80 {
		sp, sa = physical.SalinityGKg, physical.SalinityGKg*absolute
	}
	convention := func(model string) profiles.Water {
		return profiles.Water{Model: model, AltitudeM: w.AltitudeM, SurfacePa: w.SurfacePa}
	}
	where := fmt.Sprintf("%g °C, latitude %g°", physical.TemperatureC, physical.LatitudeDeg)
	return []named{
		{fmt.Sprintf("sea water by TEOS-10, %.4g g/kg, %s", sa, where), as(profiles.Sea, sa)},
		{fmt.Sprintf("sea water by EOS-80, practical salinity %.4g, %s", sp, where), as(profiles.EOS80, sp)},
		{"fresh water, " + where, as(profiles.Fresh, 0)},
		{"EN 13319: 10 m are 1 bar", convention(profiles.EN13319)},
		{"msw: 10 kPa a metre", convention(profiles.MSW)},
		{"fsw: 64 lb/ft³, 3064.34 Pa a foot", convention(profiles.FSW)},
		{"fsw-33: 33 ft are an atmosphere, 3070.45 Pa a foot", convention(profiles.FSW33)},
	}
}

// Table words conversions over a range, a row each.
func Table(rows []Conversion, w profiles.Water) (string, error) {
	conditions, err := Conditions(w)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	fmt.Fprintf(&b, "In %s\n\n", conditions)
	t := tabwriter.NewWriter(&b, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "m\tft\tbar gauge\tbar absolute\tkPa gauge\tMPa gauge\tpsi gauge\tatm gauge\tmsw\tfsw\tfsw-33\t")
	for _, r := range rows {
		fmt.Fprintf(t, "%.2f\t%.2f\t%.4f\t%.4f\t%.2f\t%.5f\t%.2f\t%.4f\t%.2f\t%.2f\t%.2f\t\n", r.DepthM, r.DepthM/0.3048, r.GaugePa/1e5, r.AbsolutePa/1e5,
			r.GaugePa/1e3, r.GaugePa/1e6, r.GaugePa/6894.757293168, r.GaugePa/water.AtmospherePa, r.GaugePa/profiles.MSWPa, r.GaugePa/profiles.FSWPa, r.GaugePa/profiles.FSW33Pa)
	}
	t.Flush()
	return b.String(), nil
}
