package depth

import (
	"fmt"

	"proofpot/profiles"
)

// Conversion is a depth and its pressure in one water.
type Conversion struct {
	DepthM      float64 `json:"depth_m"`
	GaugePa     float64 `json:"gauge_pa"`
	AbsolutePa  float64 `json:"absolute_pa"`
	DensityKgM3 float64 `json:"density_kgm3"` // at the surface
	GravityMS2  float64 `json:"gravity_ms2"`  // at the surface
	Water       string  `json:"water"`        // model
}

// Convert turns what a person typed into depth and pressure: depths down to
// 1,200 m, pressures from a vacuum up to there.
func Convert(text string, w profiles.Water) (Conversion, error) {
	column, err := profiles.NewColumn(w)
	if err != nil {
		return Conversion{}, err
	}
	return convert(text, column)
}

func convert(text string, c profiles.Column) (Conversion, error) {
	q, err := Parse(text)
	if err != nil {
		return Conversion{}, err
	}
	depth := q.Value
	if !q.Depth {
		gauge := q.Value
		if q.Absolute {
			gauge -= c.SurfacePa
		}
		if c.SurfacePa+gauge < 0 {
			return Conversion{}, fmt.Errorf("%q lies below a perfect vacuum: the surface pressure is %.0f Pa", text, c.SurfacePa)
		}
		depth = c.DepthM(gauge)
	}
	if depth > profiles.MaxDepthM+1e-6 || (q.Depth && depth < 0) {
		return Conversion{}, fmt.Errorf("%q is a depth of %.4g m; must be 0 to %g m", text, depth, profiles.MaxDepthM)
	}
	return at(c, depth), nil
}

func at(c profiles.Column, depthM float64) Conversion {
	gauge := c.GaugePa(depthM)
	return Conversion{DepthM: depthM, GaugePa: gauge, AbsolutePa: c.SurfacePa + gauge,
		DensityKgM3: c.DensityKgM3, GravityMS2: c.GravityMS2, Water: c.Water.Model}
}

// Range converts evenly spaced depths or pressures: first, first + step … last.
// All three are in the units that Parse knows, and of one kind.
func Range(first, last, step string, w profiles.Water) ([]Conversion, error) {
	const most = 10000 // rows
	column, err := profiles.NewColumn(w)
	if err != nil {
		return nil, err
	}
	var q [3]Quantity
	for i, text := range []string{first, last, step} {
		if q[i], err = Parse(text); err != nil {
			return nil, err
		}
	}
	a, b, s := q[0], q[1], q[2]
	switch {
	case a.Depth != b.Depth || a.Depth != s.Depth || a.Absolute != b.Absolute:
		return nil, fmt.Errorf("%q to %q by %q: must be all depths, or all pressures of one kind", first, last, step)
	case s.Value <= 0 || b.Value < a.Value:
		return nil, fmt.Errorf("%q to %q by %q: the step must be more than 0 and the end not before the beginning", first, last, step)
	case (b.Value-a.Value)/s.Value > most:
		return nil, fmt.Errorf("%q to %q by %q: more than %d rows", first, last, step, most)
	}
	if _, err := convert(last, column); err != nil {
		return nil, err
	}
	if _, err := convert(first, column); err != nil {
		return nil, err
	}
	var rows []Conversion
	for i := range int((b.Value-a.Value)/s.Value+1e-9) + 1 {
		v := a.Value + float64(i)*s.Value
		switch {
		case a.Absolute:
			v = column.DepthM(v - column.SurfacePa)
		case !a.Depth:
			v = column.DepthM(v)
		}
		rows = append(rows, at(column, v))
	}
	return rows, nil
}
