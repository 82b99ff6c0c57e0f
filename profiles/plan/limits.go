package plan

import (
	"fmt"

	"proofpot/profiles"
)

// sealInShare is how much of the proof factor the cold of the dive may take
// without a word.
const sealInShare = 0.97

// limit works out how far the bench may go: 90 % of the lower of rating and
// relief setting, in gauge.
func (p *Plan) limit() {
	b := p.Bench
	if b.RatedPa <= b.RoomPa {
		return
	}
	gauge := b.RatedPa - b.RoomPa
	if b.ReliefPa > b.RoomPa {
		gauge = min(gauge, b.ReliefPa-b.RoomPa)
	}
	p.LimitPa = b.RoomPa + shareOfRating*gauge
}

// Refused tells whether the plan must not be run.
func (p *Plan) Refused() bool {
	for _, f := range p.Findings {
		if f.Weight == Refusal {
			return true
		}
	}
	return false
}

// CanProve tells whether every hold can carry a pass on this bench.
func (p *Plan) CanProve() bool {
	for _, q := range p.Proofs {
		if !q.Enough {
			return false
		}
	}
	return len(p.Proofs) > 0
}

func (p *Plan) say(weight, format string, args ...any) {
	p.Findings = append(p.Findings, Finding{weight, fmt.Sprintf(format, args...)})
}

// judge says what stands against the run, what to heed and what it cannot prove.
func (p *Plan) judge() {
	b := p.Bench
	bar := func(pa float64) float64 { return (pa - b.RoomPa) / 1e5 }
	pressed := p.PeakPa > b.RoomPa+1
	switch {
	case !pressed:
	case b.RatedPa <= b.RoomPa:
		p.say(Refusal, "the chamber's rating is not given: nothing is pressurised without it")
	case b.ReliefPa <= b.RoomPa:
		p.say(Refusal, "the relief valve's setting is not given: nothing is pressurised without it")
	case b.ReliefPa > b.RatedPa:
		p.say(Refusal, "the relief valve is set to %.2f bar gauge, above the chamber's rating of %.2f bar gauge", bar(b.ReliefPa), bar(b.RatedPa))
	case p.PeakPa > p.LimitPa:
		p.say(Refusal, "the highest pressure is %.2f bar gauge, and this bench may go to %.2f bar gauge: 90 %% of its rating of %.2f and its relief setting of %.2f bar gauge",
			bar(p.PeakPa), bar(p.LimitPa), bar(b.RatedPa), bar(b.ReliefPa))
	}
	p.judgeByHand()
	if ratio := p.SealIn(); ratio > 0 && ratio < sealInShare*p.Profile.ProofFactor && p.Profile.ProofFactor > 1 {
		p.say(Caution, "as this unit was closed, at %.0f hPa and %g °C, the dive at the rated depth loads its wall so much that the deepest stage is %.2f times it, and not %g times: its air sucks in the cold; close it cooler, or test %.3g m deeper",
			p.Unit.SealedPa/100, p.Unit.SealedC, ratio, p.Profile.ProofFactor, p.Profile.DeepestM()*(p.Profile.ProofFactor/ratio-1))
	}
	if pressed {
		p.cautions()
	}
	for i, q := range p.Proofs {
		// Of a stage with several depths the first, shallowest, which sees least.
		if !q.Enough && (i == 0 || p.Proofs[i-1].Leg.Stage != q.Leg.Stage) {
			p.say(Doubt, "stage %d (%s): %s", q.Leg.Stage+1, q.Leg.Name, q.Why())
		}
	}
}

// cautions are what must be heeded where the energy is.
func (p *Plan) cautions() {
	e := p.Energy
	p.say(Caution, "%s of compressed gas at %.2f bar gauge (ASME PCC-2 article 501, equation II-2) and %s in stretched walls and squeezed water: stay behind a barrier while the pressure rises, in the first minutes of a hold and at proof pressure, and never come nearer above the highest pressure that the unit has already held",
		Joules(e.GasJ), (p.PeakPa-p.Bench.RoomPa)/1e5, Joules(e.ElasticJ))
	p.say(Caution, "the same article keeps everyone 30 m or more from a test by gas, however small its energy; whoever runs this bench answers for its rating, its relief valve and the law of the place")
	if e.VoidJ > 0 {
		p.say(Caution, "a void of %.0f ml that collapses gives %s at once, with pressure peaks far above the chamber's: fill it with a solid as far as the unit allows, and use no chamber of glass or acrylic", p.Unit.FreeML, Joules(e.VoidJ))
	}
	if e.LidN > 0 {
		p.say(Caution, "the lid carries %.1f kN, the weight of %.0f kg: never touch a clamp before the vent stands open, its flow has stopped and a second sign says that the pressure is gone", e.LidN/1000, e.LidN/9.80665)
	}
	if p.Bench.Gas {
		p.say(Caution, "a unit that has taken up gas is a pressure vessel when it comes out: read its inside pressure, open its vent first, face away")
	}
	for _, s := range p.Profile.Stages {
		switch s.Kind {
		case profiles.KindSearch:
			p.say(Caution, "stage %q goes on until the unit fails: expect an implosion", s.Name)
		case profiles.KindVacuum:
			p.say(Caution, "stage %q loads the unit from its own inside: windows and covers held from within only, and seals of one direction, are not made for it; never draw more than half an atmosphere, and let the air in slowly", s.Name)
		case profiles.KindPlunge:
			p.say(Caution, "stage %q wants hands at the open chamber: the vent stays open until you say that the lid is locked and you stand back", s.Name)
		case profiles.KindPowered:
			p.say(Caution, "stage %q runs the unit under power in water: cells that flood can burst hours later; test with dummies where you can, out of doors, and set a wet unit apart", s.Name)
		}
	}
}
