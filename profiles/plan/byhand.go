package plan

import (
	"math"
	"sort"
	"strings"

	"proofpot/profiles"
	"proofpot/profiles/assumed"
	"proofpot/profiles/water"
)

// Stages in which a person does something to the unit itself: a vacuum drawn
// through its port, a warm unit put into the water, a unit under power.

// resealDoubtPa: a unit that is opened and plugged again in the run is closed at
// the room's pressure, and every depth of the run counts from there.
const resealDoubtPa = 2e3

// judgeByHand says what such a stage lacks on this bench.
func (p *Plan) judgeByHand() {
	u, room := p.Unit, p.Bench.RoomPa
	pressed, warm := "", ""
	for i, s := range p.Profile.Stages {
		refuse := func(format string, args ...any) {
			p.say(Refusal, "stage %d (%s): "+format, append([]any{i + 1, s.Name}, args...)...)
		}
		kind := s.Kind
		switch kind {
		case profiles.KindVacuum, profiles.KindPlunge, profiles.KindPowered:
			if u.FreeML <= 0 {
				refuse("there is no unit with air inside")
				continue
			}
			var lacks []string
			if u.InsidePa <= 0 {
				lacks = append(lacks, `"inside pressure"`)
			}
			if u.InsideK <= 0 {
				lacks = append(lacks, `"inside temperature"`)
			}
			if u.InsideRH <= 0 && kind == profiles.KindPowered { // warm walls give off vapour
				lacks = append(lacks, `"inside humidity"`)
			}
			if len(lacks) > 0 {
				refuse("a stage of kind %q is judged by what is measured inside the unit, and no sensor of bench %q measures %s; add one, or leave the stage out",
					kind, p.Bench.ID, strings.Join(lacks, " and "))
			}
		}
		switch kind {
		case profiles.KindVacuum, profiles.KindPlunge:
			if pressed != "" {
				refuse("a stage of kind %q is done with the lid open; put it before stage %q, which is under pressure", kind, pressed)
			}
			if math.Abs(u.SealedPa-room) > resealDoubtPa {
				refuse("the unit is closed anew at the room's %.0f hPa here, and its sheet says %.0f hPa; leave sealed_pa out, or run the stage by itself with a unit closed today", room/100, u.SealedPa/100)
			}
		case profiles.KindConditioning, profiles.KindDepressurise:
			warm = ""
		default:
			if warm != "" && s.HoldS > 0 && kind != profiles.KindPowered {
				p.say(Caution, "stage %d (%s) measures while the unit still cools after stage %q, and so shrinks as a leak would look: put the powered stage last", i+1, s.Name, warm)
			}
			if kind == profiles.KindPowered {
				warm = s.Name
			}
			if pressed == "" {
				pressed = s.Name
			}
		}
	}
}

// vacuumProof is what a vacuum check can tell: by the pressure-change method, the
// gas that comes in through one laminar path as the water that it would pass
// under the same difference of pressure.
func (p *Plan) vacuumProof(l Leg) Proof {
	u := p.Unit
	inside := p.Bench.RoomPa - l.VacuumPa
	q := Proof{Leg: l, LimitMLPerH: p.Profile.Accept.LeakMLPerH, ByChamber: math.Inf(1), DetectMGPerH: math.Inf(1)}
	liquid := LiquidOverGas(inside, p.Bench.RoomPa)
	q.ComplianceMLPerBar = u.FreeML / inside * 1e5 * liquid
	detect := func(holdS float64) (float64, []Source) {
		if u.InsidePa <= 0 || u.InsideK <= 0 || u.FreeML <= 0 {
			return math.Inf(1), nil
		}
		w := window{pa: p.Bench.RoomPa, fromPa: p.Bench.RoomPa, waitS: l.Settle.Seconds(), holdS: holdS}
		s := u.insideSignal(w, false)
		// The same air at less pressure: each Pa is worth more of it.
		s.correct = u.SealedPa / inside * liquid
		v, from := s.doubt(holdS)
		return currieFactor * v, from
	}
	q.DetectMLPerH, q.Budget = detect(l.Hold.Seconds())
	sort.SliceStable(q.Budget, func(i, j int) bool { return q.Budget[i].MLPerH > q.Budget[j].MLPerH })
	q.ByInside = q.DetectMLPerH
	q.Enough = q.LimitMLPerH <= 0 || q.DetectMLPerH <= q.LimitMLPerH
	if q.LimitMLPerH > 0 {
		q.Needed = shortest(func(holdS float64) bool { v, _ := detect(holdS); return v <= q.LimitMLPerH })
	}
	return q
}

// insideProof is what the hold of a plunge or of a powered unit can tell: by the
// inside alone, since a unit that grows and shrinks with its own temperature moves
// the chamber's pressure as a leak does.
func (p *Plan) insideProof(q Proof, w window) Proof {
	u := p.Unit
	q.ByChamber = math.Inf(1)
	detect := func(holdS float64) (float64, []Source) {
		if u.InsidePa <= 0 || u.InsideK <= 0 || u.FreeML <= 0 {
			return math.Inf(1), nil
		}
		v := w
		v.holdS = holdS
		s := u.insideSignal(v, p.Bench.Gas)
		from := v.waitS + v.rampS
		left := func(tauS float64) float64 { return math.Exp(-from / tauS) }
		if q.Leg.Kind == profiles.KindPlunge {
			// The thermometer lags behind what is left of the cooling.
			lagK := assumed.InsideLagS * q.Leg.WarmerK / assumed.UnitFollowsS * left(assumed.UnitFollowsS) * (1 - math.Exp(-holdS/assumed.UnitFollowsS))
			s.steady = append(s.steady, steady{"lag of the thermometer while the unit cools", lagK / (holdS / 3600) * u.FreeML / (water.ZeroC + u.SealedC)})
		} else {
			s.steady = append(s.steady, steady{"vapour from warm walls", warmVapour * q.Leg.WarmerK * left(wallsDryS) * vapourKnown * u.FreeML / u.SealedPa})
		}
		d, budget := s.doubt(holdS)
		return currieFactor * d, budget
	}
	q.DetectMLPerH, q.Budget = detect(w.holdS)
	q.ByInside = q.DetectMLPerH
	sort.SliceStable(q.Budget, func(i, j int) bool { return q.Budget[i].MLPerH > q.Budget[j].MLPerH })
	q.Enough = q.LimitMLPerH <= 0 || q.DetectMLPerH <= q.LimitMLPerH
	q.Needed, q.Changes = 0, nil
	if q.LimitMLPerH > 0 {
		q.Needed = shortest(func(holdS float64) bool { v, _ := detect(holdS); return v <= q.LimitMLPerH })
	}
	return q
}

// What the walls of a unit that warms itself give off: they keep the humidity of
// their air, so that each kelvin lets the vapour's pressure rise by a fifteenth of
// some 1 kPa (Clausius and Clapeyron at 20 °C), and come to rest in hours.
const (
	warmVapour  = 30.0  // Pa/h a kelvin, at first
	wallsDryS   = 10800 // s
	vapourKnown = 0.1   // of it stays in doubt with a humidity sensor
)
