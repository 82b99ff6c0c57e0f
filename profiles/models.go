package profiles

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"proofpot/profiles/strict"
	"proofpot/profiles/water"
)

// The water models.
const (
	Sea     = "sea"      // TEOS-10: absolute salinity, temperature, latitude
	EOS80   = "EOS-80"   // UNESCO 44: practical salinity, temperature, latitude
	Fresh   = "fresh"    // IAPWS: temperature, latitude; salinity is ignored
	EN13319 = "EN 13319" // depth gauges: 1019.7 kg/m³, so that 10 m are 1 bar
	MSW     = "msw"      // metres of sea water: 10 kPa each
	FSW     = "fsw"      // feet of sea water of 64 lb/ft³: 3064.34 Pa each
	FSW33   = "fsw-33"   // feet of sea water of which 33 make an atmosphere: 3070.45 Pa each
)

// WaterModels lists the names that Water.Model may have. Case, blanks and
// hyphens do not matter: "en13319" is EN 13319.
func WaterModels() []string { return slices.Clone(waterModels) }

var waterModels = []string{Sea, EOS80, Fresh, EN13319, MSW, FSW, FSW33}

// Pressures of the conventions, Pa a metre of depth.
const (
	footM      = 0.3048
	poundForce = 0.45359237 * water.StandardGravity // N

	// MSWPa is one metre of sea water: a tenth of a bar (US Navy Diving Manual).
	MSWPa = 10000.0
	// FSWPa is one foot of sea water of 64 lb/ft³ at standard gravity: 64/144 psi
	// (US Navy Diving Manual).
	FSWPa = 64 * poundForce / (footM * footM)
	// FSW33Pa is one foot of sea water where 33 make a standard atmosphere, the
	// other definition in use, 0.2 % above the first (US Navy Diving Manual).
	FSW33Pa = water.AtmospherePa / 33
	// EN13319Density is that of the sea water of EN 13319, kg/m³, at standard
	// gravity: 10 m are 1 bar (from memory).
	EN13319Density = 1019.7
)

// conventions are the models without any physics of the water: Pa a metre.
var conventions = map[string]float64{
	EN13319: EN13319Density * water.StandardGravity,
	MSW:     MSWPa,
	FSW:     FSWPa / footM,
	FSW33:   FSW33Pa / footM,
}

// Model finds a water model by its name; the error names the nearest.
func Model(name string) (string, error) {
	if slices.Contains(waterModels, name) {
		return name, nil
	}
	for _, m := range waterModels {
		if plain(m) == plain(name) {
			return m, nil
		}
	}
	text := fmt.Sprintf("unknown water model %q; ", name)
	if near, ok := strict.Nearest(name, waterModels); ok {
		text += fmt.Sprintf("did you mean %q? ", near)
	}
	return "", &KeyError{"model", text + "there are " + strings.Join(waterModels, ", ")}
}

// Kind gives the kind of a water in words: a metre of one kind presses otherwise
// than a metre of another.
func (w Water) Kind() string {
	switch model, _ := Model(w.Model); model {
	case Fresh:
		return "fresh water"
	case Sea, EOS80:
		return "sea water"
	default:
		return "sea water by the convention " + model
	}
}

func plain(name string) string {
	return strings.NewReplacer(" ", "", "-", "", "_", "").Replace(strings.ToLower(name))
}

// Check says what is wrong with a water: a *KeyError whose key is of this water,
// or nil.
func (w Water) Check() error {
	model, err := Model(w.Model)
	if err != nil {
		return err
	}
	if err := within("altitude_m", w.AltitudeM, -500, 6000, "m"); err != nil {
		return err
	}
	if w.SurfacePa != 0 {
		if err := within("surface_pa", w.SurfacePa, 40000, 110000, "Pa absolute"); err != nil {
			return err
		}
	}
	if err := within("latitude_deg", w.LatitudeDeg, -90, 90, "degrees"); err != nil {
		return err
	}
	if conventions[model] != 0 {
		if len(w.Layers) > 0 {
			return &KeyError{"layer", fmt.Sprintf("the convention %s knows no layers: leave them out, or take the model sea, EOS-80 or fresh", model)}
		}
		return nil
	}
	if err := checkPoint(model, "", w.SalinityGKg, w.TemperatureC); err != nil {
		return err
	}
	above := 0.0
	for i, l := range w.Layers {
		key := fmt.Sprintf("layer[%d].", i)
		if !(l.DepthM > above && l.DepthM <= columnDepthM) {
			return &KeyError{key + "depth_m", fmt.Sprintf("layer at %g m; must lie deeper than %g m, the point above it, and not deeper than %g m", l.DepthM, above, columnDepthM)}
		}
		above = l.DepthM
		if err := checkPoint(model, key, l.SalinityGKg, l.TemperatureC); err != nil {
			return err
		}
	}
	return nil
}

// checkPoint checks salinity and temperature against the range of the equation
// of state.
func checkPoint(model, key string, salinity, temperature float64) error {
	coldest := -2.0
	if model == Fresh {
		coldest = 0
	} else if err := within(key+"salinity_gkg", salinity, 0, 42, "g/kg"); err != nil {
		return err
	}
	return within(key+"temperature_c", temperature, coldest, 40, "°C")
}

func within(key string, v, low, high float64, unit string) error {
	if v >= low && v <= high && !math.IsNaN(v) {
		return nil
	}
	name := key[strings.LastIndexByte(key, '.')+1:]
	return &KeyError{key, fmt.Sprintf("%s is %g; must be %g to %g %s", name, v, low, high, unit)}
}
