// Package plan works out, before anything is pressurised, what a profile does on
// a bench with a unit: pressures and times, what is stored and what it loads,
// and what each hold is able to prove. It is pure: figures in, figures out.
package plan

import (
	"fmt"
	"math"
	"time"

	"proofpot/profiles"
	"proofpot/profiles/assumed"
)

// Bench is what a plan needs to know of a bench. Pressures are absolute.
type Bench struct {
	ID                string
	Gas               bool    // the chamber holds gas alone; otherwise water with a gas cushion
	ByHand            bool    // a person pumps; otherwise valves
	WaterFed          bool    // water is pumped in and squeezes the cushion; otherwise gas is let in
	ChamberML         float64 // ml, empty
	CushionML         float64 // ml of gas at room pressure, with water
	StiffnessMLPerBar float64 // ml/bar, chamber and water without the gas
	RatedPa           float64 // Pa; 0: not known, nothing may be pressurised
	ReliefPa          float64 // Pa; 0: none
	RoomPa            float64 // Pa, barometer
	LidMM             float64 // mm, inner diameter of the lid; 0: not known

	BlankMLPerHPerBar   float64 // ml/h a bar gauge, the bench's own loss
	BlankSDMLPerHPerBar float64 // its standard deviation; 0: no blank was run

	NoisePa     float64 // Pa, standard deviation of one reading of the chamber pressure; 0: 100
	SampleS     float64 // s, between readings; 0: 1
	Correlation float64 // of the noise of neighbouring readings, 0 … 1

	GasThermometerK   float64 // K, standard deviation of a reading in the gas; 0: none there
	WaterThermometerK float64 // K, in the water; 0: none there
	DriftKPerH        float64 // K/h that water and walls may drift during a hold; 0: as a pot that has stood in its room
}

// Unit is what a plan needs to know of a unit.
type Unit struct {
	ID       string
	OuterML  float64 // ml of water that it displaces; 0: the free volume
	FreeML   float64 // ml of air inside; 0: none, a blank run
	SealedPa float64 // Pa absolute, when it was closed; 0: the room's
	SealedC  float64 // °C, when it was closed; 0: 20
	SealedRH float64 // % relative humidity, when it was closed; 0: 50

	InsidePa float64 // Pa, standard deviation of one reading of the inside pressure; 0: no such sensor
	InsideK  float64 // K, of the inside temperature; 0: none, the inside pressure cannot be corrected
	InsideRH float64 // %, of the inside humidity; 0: none
	InsideS  float64 // s, between readings inside; 0: 2
}

// Leg is one ramp with the settling and the hold that follow it: a stage, or a
// part of one that goes up and down.
type Leg struct {
	Stage      int     // number of the profile's stage, from 0
	Name       string  // of the stage
	Kind       string  // of the stage
	DepthM     float64 // m, depth-equivalent
	AbsolutePa float64 // Pa, in the chamber
	GaugePa    float64 // Pa, in the chamber above the room
	VacuumPa   float64 // Pa below the room, drawn inside the unit
	WarmerK    float64 // K that the unit is warmer than the water
	Start      time.Duration
	Ramp       time.Duration
	Steady     time.Duration // topping up after it, until the pressure stays
	Settle     time.Duration // its floor, where it ends by rule
	SettleMax  time.Duration // ceiling; as Settle, where it ends after a fixed time
	Hold       time.Duration
}

// End gives when a leg ends, settling at its floor.
func (l Leg) End() time.Duration { return l.Start + l.Ramp + l.Steady + l.Settle + l.Hold }

// Plan is what a profile does on a bench.
type Plan struct {
	Profile profiles.Profile
	Column  profiles.Column
	Bench   Bench
	Unit    Unit

	Legs     []Leg
	Vent     time.Duration // at 1 bar/min at the end
	Total    time.Duration // vent included, settling at its floor
	TotalMax time.Duration // with every settling at its ceiling
	LimitPa  float64       // Pa absolute, 90 % of rating and relief setting in gauge; 0: no rating is known
	PeakPa   float64       // Pa absolute, highest in the chamber

	Energy   Energy
	Loads    []Load
	Proofs   []Proof // of every leg that measures, in order
	Findings []Finding
}

// The weights of a finding.
const (
	Refusal = "refused" // must not be run
	Caution = "caution" // to be heeded by who stands there
	Doubt   = "doubt"   // the run could not prove what it claims
)

// Finding is one thing that the plan shows, to be said before the run.
type Finding struct {
	Weight string
	Text   string
}

const (
	ventPaPerS    = 1e5 / 60 // 1 bar/min: common practice; gas-loaded seals blister (HSE RR485)
	shareOfRating = 0.9      // common practice: below where a relief valve begins to weep
	lowDepthM     = 1.0      // between two cycles, where a stage gives none
	vacuumPaPerS  = 1e4      // 0.1 bar/s at most: common practice
)

// New plans a profile on a bench with a unit. It is an error when profile or
// bench make no sense; what must not be run is a Finding of weight Refusal.
func New(p profiles.Profile, b Bench, u Unit) (*Plan, error) {
	if err := p.Check(); err != nil {
		return nil, fmt.Errorf("profile %q: %w", p.Name, err)
	}
	column, err := profiles.NewColumn(p.Water)
	if err != nil {
		return nil, fmt.Errorf("profile %q: %w", p.Name, err)
	}
	if b, err = b.complete(); err != nil {
		return nil, err
	}
	if u, err = u.complete(b); err != nil {
		return nil, err
	}
	if p, err = Resolve(p, u); err != nil {
		return nil, fmt.Errorf("profile %q, unit %q: %w", p.Name, u.ID, err)
	}
	plan := &Plan{Profile: p, Column: column, Bench: b, Unit: u, PeakPa: b.RoomPa}
	plan.limit()
	plan.lay()
	plan.Energy = plan.energy()
	plan.Loads = plan.loads()
	plan.proofs()
	plan.judge()
	return plan, nil
}

// complete puts the usual figures where a bench gives none.
func (b Bench) complete() (Bench, error) {
	def := func(v *float64, usual float64) {
		if *v == 0 {
			*v = usual
		}
	}
	def(&b.RoomPa, 101325)
	def(&b.NoisePa, 100)
	def(&b.SampleS, 1)
	if !(b.ChamberML > 0) {
		return b, fmt.Errorf("bench %q: its chamber has %g ml; must be more than 0", b.ID, b.ChamberML)
	}
	def(&b.DriftKPerH, b.drift())
	for _, v := range []struct {
		name      string
		value     float64
		low, high float64
	}{
		{"chamber volume, ml", b.ChamberML, 1, 1e7}, {"gas cushion, ml", b.CushionML, 0, b.ChamberML},
		{"stiffness, ml/bar", b.StiffnessMLPerBar, 0, 1e4}, {"room pressure, Pa", b.RoomPa, 40000, 120000},
		{"noise, Pa", b.NoisePa, 0, 1e5}, {"sample interval, s", b.SampleS, 1e-3, 600}, {"correlation", b.Correlation, 0, 0.999},
		{"blank, ml/h/bar", b.BlankMLPerHPerBar, -100, 100}, {"standard deviation of the blank, ml/h/bar", b.BlankSDMLPerHPerBar, 0, 100},
	} {
		if !(v.value >= v.low && v.value <= v.high) {
			return b, fmt.Errorf("bench %q: %s is %g; must be %g to %g", b.ID, v.name, v.value, v.low, v.high)
		}
	}
	return b, nil
}

// drift is how fast a pot's temperature follows a room that is roomApartK away,
// K/h: free convection and radiation at its surface against the heat that its
// water and a steel wall of 4 mm hold (handbook values; a pot half as tall again
// as wide). An empty pot has come to rest within the hour: it then drifts as the
// room does, whose warmest and coldest hour lie some 2.4 K apart.
func (b Bench) drift() float64 {
	const (
		roomApartK = 0.3 / 1.7320508 // K, of a pot that has stood in its room: 0.3 K either way, rectangular
		roomK      = 0.3             // K/h, of a room by day: 1.2 K × 2π/24 h
	)
	pot := assumed.Pot{ChamberML: b.ChamberML}
	if !b.Gas {
		pot.WaterML = max(b.ChamberML-b.CushionML, 0)
	}
	return min(roomApartK*pot.Follows(), roomK)
}

func (u Unit) complete(b Bench) (Unit, error) {
	if u.SealedPa == 0 {
		u.SealedPa = b.RoomPa
	}
	if u.SealedC == 0 {
		u.SealedC = usualClosedC
	}
	if u.SealedRH == 0 {
		u.SealedRH = usualClosedRH
	}
	if u.InsideS == 0 {
		u.InsideS = 2
	}
	u.OuterML = max(u.OuterML, u.FreeML)
	switch {
	case !(u.FreeML >= 0) || !(u.OuterML < b.ChamberML):
		return u, fmt.Errorf("unit %q: %g ml with %g ml of air do not fit into a chamber of %g ml", u.ID, u.OuterML, u.FreeML, b.ChamberML)
	case !(u.SealedPa >= 20000 && u.SealedPa <= 200000):
		return u, fmt.Errorf("unit %q: closed at %g Pa; must be 20000 to 200000 Pa absolute", u.ID, u.SealedPa)
	}
	return u, nil
}

// lay turns the stages into legs.
func (p *Plan) lay() {
	for i, s := range p.Profile.Stages {
		for _, l := range p.stage(i, s) {
			p.add(l, s)
		}
	}
	last := p.Bench.RoomPa
	if n := len(p.Legs); n > 0 {
		last = p.Legs[n-1].AbsolutePa
	}
	p.Vent = seconds(math.Abs(last-p.Bench.RoomPa) / ventPaPerS)
	p.Total += p.Vent
	p.TotalMax += p.Vent
}

// stage gives the legs of a stage, their depth and times.
func (p *Plan) stage(i int, s profiles.Stage) []Leg {
	kind := s.Kind
	if kind == "" {
		kind = profiles.KindHold
	}
	at := func(depthM, settleS, settleMaxS, holdS float64) Leg {
		return Leg{Stage: i, Name: s.Name, Kind: kind, DepthM: depthM, WarmerK: s.WarmerK, Settle: seconds(settleS), SettleMax: seconds(max(settleS, settleMaxS)), Hold: seconds(holdS)}
	}
	whole := at(s.DepthM, s.SettleS, s.SettleMaxS, s.HoldS)
	var legs []Leg
	switch kind {
	case profiles.KindSearch:
		for d := s.DepthM; ; d += s.StepM {
			if s.LastDepthM > 0 && d > s.LastDepthM+1e-9 || d > profiles.MaxDepthM || p.LimitPa > 0 && len(legs) > 0 && p.target(d) > p.LimitPa {
				return legs
			}
			legs = append(legs, at(d, s.SettleS, s.SettleMaxS, s.HoldS))
		}
	case profiles.KindDepressurise:
		for _, pause := range s.Pauses {
			legs = append(legs, at(pause.DepthM, pause.HoldS, 0, 0))
		}
		return append(legs, at(s.DepthM, 0, 0, 0))
	case profiles.KindVacuum:
		whole.VacuumPa = s.VacuumPa
	}
	low := s.LowDepthM
	if low == 0 {
		low = min(lowDepthM, s.DepthM)
	}
	for c := range max(s.Cycles, 1) {
		if c > 0 {
			legs = append(legs, at(low, s.LowHoldS, 0, 0))
		}
		legs = append(legs, whole)
	}
	return legs
}

// target is the chamber pressure that loads the wall as a depth does, Pa absolute.
func (p *Plan) target(depthM float64) float64 { return p.Unit.SealedPa + p.Column.GaugePa(depthM) }

// add places a leg after those before it.
func (p *Plan) add(l Leg, s profiles.Stage) {
	rate := s.RampMPerMin
	if rate == 0 {
		rate = p.Profile.RampMPerMin
	}
	from := p.Bench.RoomPa
	if n := len(p.Legs); n > 0 {
		from = p.Legs[n-1].AbsolutePa
		l.Start = p.Legs[n-1].End()
	}
	l.AbsolutePa = p.target(l.DepthM)
	if l.Kind == profiles.KindVacuum || l.Kind == profiles.KindConditioning || l.DepthM == 0 {
		l.AbsolutePa = p.Bench.RoomPa
	}
	l.GaugePa = l.AbsolutePa - p.Bench.RoomPa
	l.Ramp = seconds(math.Abs(l.AbsolutePa-from) / (p.Column.GaugePa(rate) / 60))
	if l.VacuumPa > 0 {
		l.Ramp += seconds(l.VacuumPa / vacuumPaPerS)
	}
	if l.AbsolutePa != from {
		l.Steady = p.Bench.steady()
	}
	p.Legs = append(p.Legs, l)
	p.PeakPa = max(p.PeakPa, l.AbsolutePa)
	p.Total = l.End()
	p.TotalMax += l.Ramp + l.Steady + l.SettleMax + l.Hold
}

// steady is how long a target takes to stay once it was reached. Gas that was
// compressed, or let expand, takes up the temperature of its pot within some
// minutes, and valves follow it; a hand stops sooner, within a wider band. The
// figures are what the simulated benches took, in the middle.
func (b Bench) steady() time.Duration {
	switch {
	case b.ByHand:
		return 40 * time.Second
	case b.Gas || b.CushionML > 0:
		return 160 * time.Second
	}
	return 15 * time.Second
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
