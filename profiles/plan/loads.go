package plan

import (
	"strconv"

	"proofpot/profiles"
	"proofpot/profiles/water"
)

// Load is what the wall of the unit carries in one situation: outside less
// inside, Pa; negative where its air pushes outward and lifts covers.
type Load struct {
	Where string
	Pa    float64
	Depth float64 // m, depth-equivalent for a unit closed at the surface of the water meant
}

// InsidePa gives the absolute pressure in a closed unit whose air goes from the
// temperature at which it was closed to another, Pa: Amontons' law at constant
// volume.
func InsidePa(sealedPa, sealedC, nowC float64) float64 {
	return sealedPa * (nowC + water.ZeroC) / (sealedC + water.ZeroC)
}

// SealIn gives how much more the deepest stage loads the wall than the dive at
// the rated depth does, whose water cools the air inside and whose surface may lie
// high: a unit closed warm, or in another weather, carries there what it does not
// carry on the bench. 0 where there is no such dive.
func (p *Plan) SealIn() float64 {
	c, u, rated := p.Column, p.Unit, p.Profile.RatedM()
	if u.FreeML <= 0 || rated <= 0 || !physical(c.Water.Model) {
		return 0
	}
	dive := c.AbsolutePa(rated) - InsidePa(u.SealedPa, u.SealedC, c.Water.TemperatureC)
	if dive <= 0 {
		return 0
	}
	return (p.target(p.Profile.DeepestM()) - u.SealedPa) / dive
}

// physical tells whether a model is a water; a convention has no temperature.
func physical(model string) bool {
	return model == profiles.Sea || model == profiles.EOS80 || model == profiles.Fresh
}

// loads compares what the wall carries in the dive that is meant with what it
// carries on the bench, and what it carries on the way.
func (p *Plan) loads() []Load {
	u := p.Unit
	if u.FreeML <= 0 {
		return nil
	}
	rated := p.Profile.RatedM()
	deep := p.Profile.DeepestM()
	c := p.Column
	cold := c.Water.TemperatureC
	var all []Load
	add := func(where string, outsidePa, insidePa float64) {
		d := outsidePa - insidePa
		all = append(all, Load{where, d, c.DepthM(d)})
	}
	if deep > 0 {
		add("on the bench at the deepest stage, as closed", p.target(deep), u.SealedPa)
	}
	if rated > 0 && physical(c.Water.Model) {
		add("in the dive at the rated depth, inside as cold as the water", c.AbsolutePa(rated), InsidePa(u.SealedPa, u.SealedC, cold))
		add("just below the surface, inside as cold as the water", c.AbsolutePa(0.3), InsidePa(u.SealedPa, u.SealedC, cold))
	}
	add("at the water's surface, as closed", c.SurfacePa, u.SealedPa)
	add("in the sun at 60 °C at the water's surface", c.SurfacePa, InsidePa(u.SealedPa, u.SealedC, 60))
	add("in a cabin or on a pass at 2,500 m", water.StandardAtmospherePa(2500), u.SealedPa)
	for _, s := range p.Profile.Stages {
		if s.WarmerK <= 0 {
			continue
		}
		switch s.Kind {
		case profiles.KindPlunge:
			// Closed warm: its air has the unit's temperature when it goes in.
			add("stage "+s.Name+": after a plunge "+kelvins(s.WarmerK)+" warmer than the water", p.target(s.DepthM), InsidePa(u.SealedPa, u.SealedC, u.SealedC-s.WarmerK))
		case profiles.KindPowered:
			add("stage "+s.Name+": powered, its air "+kelvins(s.WarmerK)+" warmer than the water", p.target(s.DepthM), InsidePa(u.SealedPa, u.SealedC, u.SealedC+s.WarmerK))
		}
	}
	return all
}

func kelvins(k float64) string { return strconv.FormatFloat(k, 'f', -1, 64) + " K" }
