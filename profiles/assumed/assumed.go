// Package assumed holds what is assumed of a bench and a unit beyond what their
// sheets say, where both the plan of a run and the analysis of its record count on
// it: a detection limit that is foreseen must be the one that is found.
package assumed

import "math"

const (
	// SheetSD: of volumes and stiffness that a person wrote, good to some 10 %, read
	// as a rectangular distribution (JCGM 100:2008, 4.3.7).
	SheetSD = 0.10 / 1.7320508075688772

	// Walls of a chamber grow by three times their linear coefficient: steel
	// 35e-6, stainless 50e-6, aluminium 69e-6, glass-fibre laminates to 90e-6 1/K
	// (handbook values), less what the unit grows; a sheet that does not name
	// the material leaves the whole range.
	WallGrowth, WallGrowthSD = 62e-6, 22e-6 // 1/K

	// A unit grows by three times its own coefficient, 70e-6 (metal) to 300e-6 1/K
	// (plastics; handbook values), into the room that the water has.
	UnitGrowth, UnitGrowthSD = 170e-6, 80e-6 // 1/K

	// A unit that was put in warmer or colder than the water grows or shrinks until
	// it has taken its temperature; how far off it may be where no thermometer
	// inside tells – 0.3 K either way, rectangular – and by what it follows; common
	// practice, no source.
	UnitApartK   = 0.3 / 1.7320508075688772 // K
	UnitFollowsS = 700.0                    // s

	// A unit gives way after a step of the pressure, and comes back after a release:
	// with the logarithm of time, and with two relaxation times, some minutes and
	// half an hour (a sum of exponentials; Findley, Lai & Onaran, Creep and Relaxation
	// of Nonlinear Viscoelastic Materials, for the form; common practice, no source,
	// for the size). All have the sign of the step.
	CreepS     = 20.0   // s
	CreepML    = 0.0015 // ml a bar of the step and a litre of the unit, for each e-fold of time
	SoonCreepS = 300.0  // s
	SoonCreep  = 0.004  // ml a bar and a litre, in the long run
	SlowCreepS = 2000.0 // s
	SlowCreep  = 0.006  // ml a bar and a litre, in the long run

	// The void gives way in the same manner: plastics creep under a steady load at
	// some 5 to 20 % of the elastic strain a decade (Findley, Lai & Onaran, Creep and
	// Relaxation of Nonlinear Viscoelastic Materials; common practice for printed
	// walls), here for each e-fold, and as uncertain.
	VoidCreep  = 0.04
	VoidCreepS = 60.0 // s

	// A small absolute sensor wanders, and may go on drifting one way; the
	// thermometer beside it may be behind the air or before it; common practice, no
	// source.
	InsideWanderPa = 1.5  // Pa/√h
	InsideDriftPa  = 0.2  // Pa/h
	InsideLagS     = 10.0 // s

	UnknownBlankSD = 0.1 // ml/h/bar, where no blank was run; common practice, no source

	// A heated room swings about its mean within some half an hour, by so much as a
	// root mean square; common practice, no source.
	SwingK = 0.1 // K
	// Missed is the share of what that does to the water which its thermometer does
	// not show: its readings are smoothed over as long.
	Missed = 0.7
)

// swings are the times in which a heated room may swing, s, each as likely.
var swings = [...]float64{1200, 1800, 2700, 3600}

// Pot is a chamber of steel walls of 4 mm, half as tall again as wide.
type Pot struct {
	ChamberML float64
	WaterML   float64 // 0 for a pot of gas
}

const (
	film      = 8.0    // W/(m² K), free convection and radiation at its surface (handbook values)
	toWater   = 150.0  // W/(m² K), free convection of water at a wall (handbook values)
	wallHeat  = 15.4e3 // J/(m² K), 4 mm of steel
	waterHeat = 4.19   // J/(ml K)
)

// Follows is how fast a pot follows its room, K/h a kelvin between them.
func (p Pot) Follows() float64 {
	area := 5.86 * math.Pow(p.ChamberML*1e-6, 2.0/3) // m²
	return film * area / (area*wallHeat + waterHeat*p.WaterML) * 3600
}

// Swing is what the swing of the room does to the volume of a pot of water without
// being seen.
type Swing struct{ variance [len(swings)]float64 }

// Swing gives it for a water whose volume grows by expansivity, 1/K: water takes
// the heat in, a quarter of a swing late, and the walls stand between it and the
// room, a little nearer to the water's temperature than film by film.
func (p Pot) Swing(expansivity float64) Swing {
	var s Swing
	if p.WaterML <= 0 {
		return s
	}
	for i, t := range swings {
		late := Missed * SwingK * p.Follows() * t / 3600 / (2 * math.Pi) * (p.WaterML*expansivity - WallGrowth*p.ChamberML)
		wall := SwingK * film / (film + toWater) * WallGrowth * p.ChamberML
		s.variance[i] = (late*late + wall*wall) / float64(len(swings))
	}
	return s
}

// Cov is the covariance of the means over two spans of time, ml²: apart is how far
// their middles lie apart, long how long they are, s.
func (s Swing) Cov(apart, long1, long2 float64) float64 {
	sum := 0.0
	for i, t := range swings {
		if s.variance[i] > 0 {
			sum += s.variance[i] * math.Cos(2*math.Pi*apart/t) * mean(long1/t) * mean(long2/t)
		}
	}
	return sum
}

// mean is what is left of a swing in a mean over so many of them.
func mean(swings float64) float64 {
	if x := math.Pi * swings; x > 1e-3 {
		return math.Sin(x) / x
	}
	return 1
}
