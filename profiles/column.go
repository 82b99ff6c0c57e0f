package profiles

import (
	"math"
	"sort"

	"proofpot/profiles/water"
)

// columnDepthM is how deep a column is worked out, m: deeper than any profile,
// so that what is read above its proof pressure still has a depth.
const columnDepthM = 2000.0

// Column is a body of water from its surface down: depth to pressure and back.
// The conventions are straight lines; sea and fresh water are the integral of
// dp/dz = g(z)/v(S, t, p). Above the surface (negative gauge pressure: a vacuum)
// and below 2,000 m it goes on in a straight line. NaN gives NaN. A Column is a
// value, safe to copy and to use from several goroutines.
type Column struct {
	Water       Water   // with the model's name as WaterModels spells it
	SurfacePa   float64 // Pa absolute, on the surface
	DensityKgM3 float64 // kg/m³, at the surface
	GravityMS2  float64 // m/s², at the surface

	knots []knot // at least two, downwards from the surface
}

// knot is a depth where pressure and slope are known; between knots the pressure
// is the cubic through both (Hermite), good to 1e-5 Pa over the 100 m between them.
type knot struct {
	depth float64 // m
	gauge float64 // Pa
	slope float64 // Pa/m
}

// NewColumn works out the column of a water. The error is a *KeyError.
func NewColumn(w Water) (Column, error) {
	if err := w.Check(); err != nil {
		return Column{}, err
	}
	w.Model, _ = Model(w.Model)
	c := Column{Water: w, SurfacePa: w.SurfacePa}
	if c.SurfacePa == 0 {
		c.SurfacePa = water.StandardAtmospherePa(w.AltitudeM)
	}
	if perMetre := conventions[w.Model]; perMetre != 0 {
		c.GravityMS2 = water.StandardGravity
		c.DensityKgM3 = perMetre / water.StandardGravity
		c.knots = []knot{{0, 0, perMetre}, {columnDepthM, perMetre * columnDepthM, perMetre}}
		return c, nil
	}
	gravity := w.gravity()
	c.GravityMS2 = gravity(0, 0)
	layers := append([]Layer{{0, w.SalinityGKg, w.TemperatureC}}, w.Layers...)
	if last := layers[len(layers)-1]; last.DepthM < columnDepthM {
		layers = append(layers, Layer{columnDepthM, last.SalinityGKg, last.TemperatureC})
	}
	for i, l := range layers[1:] {
		c.integrate(layers[i], l, w.equation(), gravity)
	}
	c.DensityKgM3 = c.knots[0].slope / c.GravityMS2
	return c, nil
}

// gravity gives g in m/s² by depth in m and gauge pressure in Pa.
func (w Water) gravity() func(depthM, gaugePa float64) float64 {
	if w.Model == EOS80 {
		g := water.AtAltitude(water.GravityUNESCO(w.LatitudeDeg), w.LatitudeDeg, w.AltitudeM)
		return func(_, gaugePa float64) float64 { return g + water.GravityPerPa*gaugePa }
	}
	g := water.AtAltitude(water.Gravity(w.LatitudeDeg), w.LatitudeDeg, w.AltitudeM)
	return func(depthM, _ float64) float64 { return g * (1 + water.GravityPerMetre*depthM) }
}

// equation gives the specific volume in m³/kg, by absolute pressure in Pa, of
// water of one salinity and temperature.
func (w Water) equation() func(l Layer) func(absolutePa float64) float64 {
	switch w.Model {
	case EOS80:
		return func(l Layer) func(float64) float64 {
			state := water.NewEOS80(l.SalinityGKg, l.TemperatureC)
			return state.SpecificVolume
		}
	case Fresh:
		return func(l Layer) func(float64) float64 {
			state := water.FreshIsotherm(l.TemperatureC)
			return state.SpecificVolume
		}
	}
	return func(l Layer) func(float64) float64 {
		state := water.SeaIsotherm(l.SalinityGKg, l.TemperatureC)
		return state.SpecificVolume
	}
}

// integrate goes from the point above down to the point below by the
// Runge-Kutta rule of fourth order: steps of at most 100 m in water that stays
// the same, of 20 m and at least four where it changes.
func (c *Column) integrate(from, to Layer, equation func(Layer) func(float64) float64, gravity func(depthM, gaugePa float64) float64) {
	same := from.SalinityGKg == to.SalinityGKg && from.TemperatureC == to.TemperatureC
	span := to.DepthM - from.DepthM
	steps := int(math.Ceil(span / 100))
	if !same {
		steps = max(4, int(math.Ceil(span/20)))
	}
	volume := equation(from)
	slope := func(depthM, gaugePa float64) float64 {
		if !same {
			f := (depthM - from.DepthM) / span
			volume = equation(Layer{depthM, from.SalinityGKg + f*(to.SalinityGKg-from.SalinityGKg), from.TemperatureC + f*(to.TemperatureC-from.TemperatureC)})
		}
		return gravity(depthM, gaugePa) / volume(c.SurfacePa+gaugePa)
	}
	h := span / float64(steps)
	z, p := from.DepthM, 0.0
	if n := len(c.knots); n > 0 {
		p = c.knots[n-1].gauge
	} else {
		c.knots = append(c.knots, knot{z, p, slope(z, p)})
	}
	for i := range steps {
		k1 := slope(z, p)
		k2 := slope(z+h/2, p+h/2*k1)
		k3 := slope(z+h/2, p+h/2*k2)
		k4 := slope(z+h, p+h*k3)
		z, p = from.DepthM+span*float64(i+1)/float64(steps), p+h/6*(k1+2*k2+2*k3+k4)
		c.knots = append(c.knots, knot{z, p, slope(z, p)})
	}
}

// GaugePa gives the hydrostatic gauge pressure at a depth, Pa.
func (c Column) GaugePa(depthM float64) float64 {
	if len(c.knots) == 0 || math.IsNaN(depthM) {
		return math.NaN()
	}
	i := sort.Search(len(c.knots), func(i int) bool { return c.knots[i].depth > depthM })
	if i == 0 || i == len(c.knots) {
		end := c.knots[max(i-1, 0)]
		return end.gauge + end.slope*(depthM-end.depth)
	}
	p, _ := between(c.knots[i-1], c.knots[i], depthM)
	return p
}

// AbsolutePa gives the absolute pressure at a depth, Pa.
func (c Column) AbsolutePa(depthM float64) float64 { return c.SurfacePa + c.GaugePa(depthM) }

// DifferentialPa gives what the wall of a unit carries at a depth that was
// closed at an absolute pressure: outside less inside, Pa.
func (c Column) DifferentialPa(depthM, sealedPa float64) float64 {
	return c.AbsolutePa(depthM) - sealedPa
}

// DifferentialDepthM gives the depth at which the wall of a unit that was closed
// at an absolute pressure carries a difference of pressure, m: the inverse of
// DifferentialPa.
func (c Column) DifferentialDepthM(differentialPa, sealedPa float64) float64 {
	return c.DepthM(differentialPa + sealedPa - c.SurfacePa)
}

// DepthM gives the depth of a hydrostatic gauge pressure, m: the inverse of
// GaugePa to within a micrometre.
func (c Column) DepthM(gaugePa float64) float64 {
	if len(c.knots) == 0 || math.IsNaN(gaugePa) {
		return math.NaN()
	}
	i := sort.Search(len(c.knots), func(i int) bool { return c.knots[i].gauge > gaugePa })
	if i == 0 || i == len(c.knots) {
		end := c.knots[max(i-1, 0)]
		return end.depth + (gaugePa-end.gauge)/end.slope
	}
	a, b := c.knots[i-1], c.knots[i]
	depth := a.depth + (b.depth-a.depth)*(gaugePa-a.gauge)/(b.gauge-a.gauge)
	for range 4 {
		p, slope := between(a, b, depth)
		step := (p - gaugePa) / slope
		depth -= step
		if math.Abs(step) < 1e-9 {
			break
		}
	}
	return depth
}

// between gives pressure and slope at a depth between two knots.
func between(a, b knot, depthM float64) (gaugePa, slope float64) {
	h := b.depth - a.depth
	t := (depthM - a.depth) / h
	chord := (b.gauge - a.gauge) / h
	q, r := a.slope-chord, b.slope-chord
	u := 1 - t
	gaugePa = a.gauge + chord*h*t + h*t*u*(u*q-t*r)
	slope = chord + u*(1-3*t)*q + t*(3*t-2)*r
	return gaugePa, slope
}
