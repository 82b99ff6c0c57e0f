package simbench

import (
	"math"

	"proofpot/rig"
)

// What the simulated person does to the unit itself: a hand vacuum pump on its
// port, a warm unit put into the water, its own load under power.
const (
	drawM3PerS  = 20e-6 // m³/s at the inside pressure, a small hand vacuum pump; common practice, no source
	drawBeyond  = 300.0 // Pa below the target, so that it is reached
	letInPaPerS = 2e3   // Pa/s, a port opened by a quarter of a turn
	// airFilm is the share of the drop of temperature from the air inside to the
	// water that lies between air and wall: a film of 10 W/(m² K) there against 5 mm
	// of plastic (0.2 W/(m K)) and 150 W/(m² K) in water; handbook values.
	airFilm    = 0.76
	powerTauS  = 300.0 // s, of the air and the boards inside
	warmSpread = 0.05  // by how much a person misses the temperature, either way
)

// byHand is what has been done to the unit.
type byHand struct {
	inAir     bool    // it lies beside the chamber
	port      bool    // its port stands open to the room
	draws     bool    // the vacuum pump is worked
	targetPa  float64 // of drawing down, or of letting in
	powerK    float64 // its load under power warms its air by so much; 0: off
	airAboveK float64 // the air inside above the wall
	warm      bool    // it was put in warm, or is under power: it warms what is around
}

// workOnUnit carries out what was asked, at the moment when the person does it.
func (b *Bench) workOnUnit(p rig.Prompt) {
	u := &b.u
	if !u.present {
		return
	}
	u.hand.draws = p.Kind == rig.DrawDown
	u.hand.port = p.Kind == rig.LetIn
	warmer := p.WarmerK * (1 + warmSpread*(2*b.op.chance.Float64()-1))
	switch p.Kind {
	case rig.DrawDown:
		u.hand.inAir, u.hand.targetPa = true, p.InsidePa-drawBeyond
	case rig.LetIn:
		u.hand.targetPa = p.InsidePa
	case rig.CloseUp:
		u.hand.inAir = false
		b.closeAtRoom()
	case rig.PutIn:
		u.hand.inAir, u.hand.warm = false, true
		u.celsius = b.c.waterC + warmer
		b.closeAtRoom()
	case rig.SwitchOn:
		u.hand.powerK, u.hand.warm = warmer, true
	case rig.SwitchOff:
		u.hand.powerK = 0
	}
}

// closeAtRoom shuts the unit with air of the room's pressure inside.
func (b *Bench) closeAtRoom() {
	b.inside()
	u := &b.u
	kelvin := u.airC() + zeroC
	u.airMol += (b.c.roomPa - u.insidePa) * u.insideM3 / (gasConstant * kelvin)
	b.inside()
}

// stepByHand goes on by h seconds: pump, port and load.
func (b *Bench) stepByHand(h float64) {
	u, k := &b.u, &b.u.hand
	switch {
	case k.draws && u.insidePa > k.targetPa:
		left := math.Exp(-drawM3PerS * h / u.insideM3)
		left = max(left, k.targetPa/u.insidePa)
		u.airMol *= left
		u.vapourKg *= left
	case k.port && u.insidePa < min(k.targetPa, b.c.roomPa):
		gain := min(letInPaPerS*h, min(k.targetPa, b.c.roomPa)-u.insidePa)
		kelvin := u.airC() + zeroC
		share := b.cfg.Room.HumidityPct / 100 * saturationPa(b.c.roomC+zeroC) / b.c.roomPa
		u.airMol += (1 - share) * gain * u.insideM3 / (gasConstant * kelvin)
		u.vapourKg += share * gain * u.insideM3 / (vapourR * kelvin)
	}
}

// warmByHand moves the heat of a unit that was put in warm or is under power;
// around is what it lies in, °C.
func (b *Bench) warmByHand(h, around float64) {
	u, k, cfg := &b.u, &b.u.hand, &b.cfg.Unit
	if !k.warm || cfg.HeatJPerK <= 0 {
		return
	}
	outward := cfg.HeatJPerK / cfg.HeatTauS // W/K, wall to what is around
	inward := outward * (1 - airFilm) / airFilm
	k.airAboveK += (k.powerK*airFilm - k.airAboveK) * h / (powerTauS + h)
	u.celsius += inward * k.airAboveK * h / cfg.HeatJPerK
	heat := outward * (u.celsius - around) * h
	if b.c.waterKg > 0 {
		b.c.waterC += heat / (b.c.waterKg * waterHeat)
	} else {
		b.c.wallC += heat / b.cfg.Chamber.WallHeatJPerK
	}
}

// airC is the temperature of the air inside.
func (u *unitState) airC() float64 { return u.celsius + u.hand.airAboveK }

// leaksOfAir is what passes through the paths of a unit that lies in the room:
// air, at the difference that its vacuum makes.
func (b *Bench) leaksOfAir(f *flows) {
	u := &b.u
	for i := range b.paths {
		p := &b.paths[i]
		if !p.open || p.Mode == Collapse {
			continue
		}
		laminar := p.openShare(b.load()) * p.FlowM3 / p.OpenPa
		f.roomGas += laminarGas(laminar, b.c.roomPa, u.insidePa, b.c.roomC+zeroC, b.muWater)
		u.leakM3 += laminar * (b.c.roomPa - u.insidePa)
	}
}

// Answered tells whether the simulated person has done what wants an answer.
func (b *Bench) Answered() bool { return b.op.doing.WantsAnswer() && !b.op.acting }
