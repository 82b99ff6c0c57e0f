// Package depth turns any depth or pressure that a person types into the other,
// in a named water, and says which conditions it assumed and how far the
// conventions differ.
package depth

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"

	"proofpot/profiles"
	"proofpot/profiles/strict"
)

// Quantity is a depth or a pressure as typed.
type Quantity struct {
	Text     string
	Depth    bool    // a depth in the water meant; otherwise a pressure
	Absolute bool    // of a pressure: absolute, otherwise gauge
	Value    float64 // m, or Pa
}

// unit is what may stand behind a number.
type unit struct {
	name  string
	depth bool
	si    float64 // m or Pa
}

// units that Parse understands. msw and fsw are pressures by definition, whatever
// the water.
var units = []unit{
	{"m", true, 1}, {"ft", true, 0.3048}, {"feet", true, 0.3048}, {"cm", true, 0.01},
	{"msw", false, profiles.MSWPa}, {"fsw", false, profiles.FSWPa}, {"fsw-33", false, profiles.FSW33Pa},
	{"bar", false, 1e5}, {"mbar", false, 100}, {"Pa", false, 1}, {"hPa", false, 100}, {"kPa", false, 1e3}, {"MPa", false, 1e6},
	{"psi", false, 6894.757293168}, {"atm", false, 101325}, {"at", false, 98066.5}, {"kgf/cm2", false, 98066.5},
}

// Parse reads "30m", "100 ft", "4.2bar" (gauge), "61psi", "420kPa", "0.42MPa",
// "2atm", "30msw", "98fsw". Behind a pressure "abs" or "gauge" may stand; without
// it it is gauge.
func Parse(text string) (Quantity, error) {
	s := strings.TrimSpace(text)
	end := strings.IndexFunc(s, func(r rune) bool {
		return !unicode.IsDigit(r) && !strings.ContainsRune("+-.,", r)
	})
	if end < 0 {
		end = len(s)
	}
	// An exponent belongs to the number where digits follow it.
	if rest := s[end:]; len(rest) > 1 && (rest[0] == 'e' || rest[0] == 'E') && strings.ContainsAny(rest[1:2], "+-0123456789") {
		more := strings.IndexFunc(rest[2:], func(r rune) bool { return !unicode.IsDigit(r) })
		if more < 0 {
			more = len(rest) - 2
		}
		end += 2 + more
	}
	number, behind := s[:end], strings.TrimSpace(s[end:])
	if strings.Contains(number, ",") {
		return Quantity{}, fmt.Errorf("%q: decimals are written with a point: %q", text, strings.Replace(s, ",", ".", 1))
	}
	value, err := strconv.ParseFloat(number, 64)
	if err != nil || math.IsInf(value, 0) {
		return Quantity{}, fmt.Errorf("%q is not a depth or pressure; write a number and a unit, such as 30m, 100ft or 4.2bar", text)
	}
	name, reference, _ := strings.Cut(behind, " ")
	u, absolute, err := unitNamed(name)
	if err != nil {
		return Quantity{}, fmt.Errorf("%q: %w", text, err)
	}
	switch strings.TrimSpace(reference) {
	case "":
	case "gauge":
		absolute = false
	case "abs", "absolute":
		absolute = true
	default:
		return Quantity{}, fmt.Errorf("%q: found %q behind the unit; allowed are gauge, abs", text, reference)
	}
	if absolute && u.depth {
		return Quantity{}, fmt.Errorf("%q: a depth is neither gauge nor absolute", text)
	}
	return Quantity{Text: s, Depth: u.depth, Absolute: absolute, Value: value * u.si}, nil
}

// unitNamed finds a unit: as spelled, else without regard to case; a g or an a
// behind bar and psi is gauge or absolute.
func unitNamed(name string) (u unit, absolute bool, err error) {
	if name == "" {
		return unit{}, false, fmt.Errorf("the unit is missing; allowed are %s", strings.Join(unitNames(), ", "))
	}
	for _, same := range []func(a, b string) bool{func(a, b string) bool { return a == b }, strings.EqualFold} {
		for _, u := range units {
			if same(u.name, name) {
				return u, false, nil
			}
			if (u.name == "bar" || u.name == "psi") && (same(u.name+"g", name) || same(u.name+"a", name)) {
				return u, same(u.name+"a", name), nil
			}
		}
	}
	text := fmt.Sprintf("unknown unit %q; ", name)
	if near, ok := strict.Nearest(name, unitNames()); ok {
		text += fmt.Sprintf("did you mean %q? ", near)
	}
	return unit{}, false, fmt.Errorf("%sallowed are %s", text, strings.Join(unitNames(), ", "))
}

func unitNames() []string {
	names := make([]string, len(units))
	for i, u := range units {
		names[i] = u.name
	}
	return names
}

// ParseLayer reads a point of a profile of the water: "20m,8" or "66ft,8,34.5",
// depth, temperature in °C and, where it is given, salinity as the water's.
func ParseLayer(text string, salinity float64) (profiles.Layer, error) {
	parts := strings.Split(text, ",")
	if len(parts) < 2 || len(parts) > 3 {
		return profiles.Layer{}, fmt.Errorf("%q: want depth, temperature and, optionally, salinity, such as 20m,8 or 20m,8,34.5", text)
	}
	q, err := Parse(parts[0])
	if err != nil {
		return profiles.Layer{}, err
	}
	if !q.Depth {
		return profiles.Layer{}, fmt.Errorf("%q: %q is a pressure; a layer lies at a depth, such as 20m", text, parts[0])
	}
	l := profiles.Layer{DepthM: q.Value, SalinityGKg: salinity}
	for i, to := range []*float64{&l.TemperatureC, &l.SalinityGKg}[:len(parts)-1] {
		v, err := strconv.ParseFloat(strings.TrimSpace(parts[i+1]), 64)
		if err != nil {
			return profiles.Layer{}, fmt.Errorf("%q: %q is not a number", text, strings.TrimSpace(parts[i+1]))
		}
		*to = v
	}
	return l, nil
}
