package simbench

import (
	"math"
	"math/rand/v2"
	"time"

	"proofpot/rig"
)

// Habits describe the person at a hand-operated bench.
type Habits struct {
	ReactionS   float64 // s, mean time from a prompt to the hand
	StrokeS     float64 // s, one stroke of the pump with its return
	GaugeErrPa  float64 // Pa, how wrong his own gauge is read, standard deviation
	CrackShare  float64 // how far he opens the vent to let off slowly, 0 to 1
	Inattention float64 // chance that a prompt is noticed only after ten reactions
}

// operator does what he is prompted to, after a while, by his own gauge.
type operator struct {
	Habits
	chance  *rand.Rand
	doing   rig.PromptKind
	target  float64
	heard   rig.Prompt
	actsAt  time.Duration
	acting  bool // something heard and not yet done
	gauge   float64
	pumping bool          // in the pressing half of a stroke
	turnAt  time.Duration // when he next looks, or turns the handle
	vent    float64       // 0 shut to 1 open
	strokes int
	pressed float64 // share of the stroke done
	before  float64 // Pa, when it began
	rise    float64 // Pa that the last whole stroke brought
	gently  bool
}

// hear takes a prompt. It may be given at each step: only a change counts.
func (o *operator) hear(now time.Duration, p rig.Prompt) {
	if p.Kind == o.heard.Kind && p.TargetPa == o.heard.TargetPa && p.InsidePa == o.heard.InsidePa {
		return
	}
	o.heard = p
	wait := o.ReactionS * (0.5 + o.chance.ExpFloat64()/2)
	if p.Kind == rig.StopPumping {
		wait /= 2
	}
	if o.chance.Float64() < o.Inattention {
		wait += 10 * o.ReactionS
	}
	o.acting, o.actsAt = true, now+seconds(wait)
}

// next gives when the operator does something of his own accord.
func (o *operator) next() time.Duration {
	at := time.Duration(math.MaxInt64)
	if o.acting {
		at = o.actsAt
	}
	if o.strokeGoes() {
		at = min(at, o.turnAt)
	}
	return at
}

func (o *operator) strokeGoes() bool {
	return o.doing == rig.PumpUp || o.doing == rig.SlowDown || o.pumping
}

// act does what is due at a time, looking at the chamber's gauge; it tells
// whether something new was begun.
func (o *operator) act(now time.Duration, chamberPa float64) (begun bool) {
	if o.acting && now >= o.actsAt {
		o.acting, begun = false, true
		o.doing, o.target = o.heard.Kind, o.heard.TargetPa
		o.gauge = o.GaugeErrPa * o.chance.NormFloat64()
		if !o.pumping {
			o.turnAt = now
		}
		switch o.doing {
		case rig.LetOff:
			o.vent = o.CrackShare
		case rig.VentAll, rig.DrawDown, rig.ShutPort, rig.LetIn, rig.CloseUp, rig.PutIn:
			o.vent = 1
		default:
			o.vent = 0
		}
	}
	reads := chamberPa + o.gauge
	if !o.strokeGoes() || now < o.turnAt {
		return begun
	}
	if o.pumping {
		o.pressed += lookS * o.speed()
		if reads < o.target && o.pressed < 1-1e-9 && o.doing != rig.StopPumping && o.doing != rig.ShutOff {
			o.turnAt = now + seconds(lookS*o.StrokeS/2)
			return begun
		}
		// The stroke is done, or the gauge is there: the handle goes back.
		o.pumping = false
		o.rise = max(chamberPa-o.before, 0) / o.pressed
		back := o.StrokeS / 2
		if o.doing == rig.SlowDown {
			back *= 4
		}
		o.turnAt = now + seconds(back)
		return begun
	}
	if reads < o.target {
		o.pumping, o.pressed, o.before = true, 0, chamberPa
		o.gently = o.rise > o.target-reads // the last stroke would be too much: press slowly
		o.strokes++
		o.turnAt = now + seconds(lookS*o.StrokeS/2)
		return begun
	}
	// Asked for more than his gauge says is needed, he comes to trust the prompt.
	o.gauge -= 0.1 * o.GaugeErrPa
	o.turnAt = now + seconds(o.StrokeS/2)
	return begun
}

// lookS is how often, in parts of a pressing half stroke, he looks at the gauge.
const lookS = 0.2

// speed is how fast he presses, 1 for a full stroke in half the stroke's time.
func (o *operator) speed() float64 {
	if o.gently {
		return 0.2
	}
	return 1
}

// flow gives what the pump brings while it is pressed: m³/s of water, or mol/s
// of air, less what stays compressed in its dead volume (clearance of a
// reciprocating compressor: Moran & Shapiro, ideal polytropic, n = 1.4).
func (o *operator) flow(s *Supply, c *chamber) float64 {
	half := o.StrokeS / 2
	if s.Water {
		return s.StrokeM3 / half * o.speed()
	}
	drawn := s.StrokeM3 - s.StrokeDeadM3*(math.Pow(c.pa/c.roomPa, 1/1.4)-1)
	return max(drawn, 0) / half * o.speed() * c.roomPa / (gasConstant * (c.roomC + zeroC))
}

// Prompt tells the simulated operator what he is to do.
func (b *Bench) Prompt(now rig.Instant, p rig.Prompt) {
	b.advance(now.Mono)
	b.op.hear(b.now, p)
}

// Strokes is how many strokes of the pump the operator has made.
func (b *Bench) Strokes() int { return b.op.strokes }
