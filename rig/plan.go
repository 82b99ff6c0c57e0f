package rig

import (
	"fmt"
	"time"

	"proofpot/profiles"
	"proofpot/profiles/plan"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// Leg is one ramp with the settle and hold that follow it: a stage of the
// profile, or a part of one that goes up and down.
type Leg struct {
	Stage     int    // number of the profile's stage, from 0
	Name      string //
	DepthM    float64
	TargetPa  float64       // absolute, in the chamber
	RatePaS   float64       // of the ramp, Pa/s, > 0 up and down
	Ramp      time.Duration // as planned
	Steady    time.Duration // planned for topping up after it
	Settle    time.Duration // its floor, where it ends by rule
	SettleMax time.Duration // its ceiling; as Settle, where it ends after a fixed time
	StablePaS float64       // Pa/s: a settling that ends by rule is over when the slope changes by less
	Hold      time.Duration // 0: none, a pause or the low end of a cycle
	Search    bool          // a step of a search, which ends when the unit fails
	MakeUp    bool          // the pressure is kept up while it is measured; the duty is in the record

	Vented   bool       // the chamber stays at the room's pressure, its vent open
	Warms    bool       // the unit is under power
	Ask      PromptKind // what a person does to the unit in place of the ramp; NoPrompt: nothing
	InsidePa float64    // absolute, to which the unit's inside is brought then; 0: it is not
	WarmerK  float64    // than the water, of a unit that is put in warm
}

// Plan is a profile turned into pressures on one bench. It does not change
// during a run.
type Plan struct {
	Legs     []Leg
	SealedPa float64 // absolute, in the unit when it was closed
	RoomPa   float64 // absolute, at the start
	LimitPa  float64 // absolute: 90 % of rating and of relief setting, in gauge
	VentRate float64 // Pa/s of a controlled depressurisation
	Hand     bool    // a person opens and shuts, pumps and vents

	Asks      bool          // a leg asks a person to do something to the unit
	Inside    string        // id of the sensor of the pressure inside the unit, empty for none
	Chamber   string        // id of the sensor that the sequencer goes by
	NoisePa   float64       // of one reading of it, standard deviation
	Period    time.Duration // of the loop
	StopOnWet bool
	Longest   time.Duration // that the run may take, without pauses

	NoiseStated bool          // NoisePa stands on the sheet
	Twin        string        // id of the second chamber transducer, empty for none
	ApartPa     float64       // how far the two may read apart at rest
	FillMinOn   time.Duration // shortest pulse that the fill valve follows
	VentMinOn   time.Duration //
	Regulator   bool          // the pressure behind the fill valve is asked for
	CellsInside bool          // the unit holds cells: water in it is a danger

	depth func(gaugePa float64) float64
}

const (
	// ventRatePaS is 1 bar/min: common practice, no source, for units whose
	// seals and potting may have taken up gas (rapid decompression damage:
	// HSE research report RR485).
	ventRatePaS = 1e5 / 60
	// DefaultPeriod of the loop.
	DefaultPeriod = 500 * time.Millisecond
	// defaultMinOn is the shortest pulse where a bench states none: direct-acting
	// solenoid valves take some 10 to 30 ms to open (common practice, no source).
	defaultMinOn = 30 * time.Millisecond
	// defaultApartPa is what a transducer may be off whose accuracy is not stated.
	defaultApartPa = 3e3
	// defaultNoisePa is taken where the bench does not state its sensor's noise.
	defaultNoisePa = 100
)

// DepthM is the depth-equivalent of an absolute chamber pressure: the depth
// whose hydrostatic gauge pressure equals the load on the unit's wall.
func (p *Plan) DepthM(chamberPa float64) float64 { return p.depth(chamberPa - p.SealedPa) }

// Total is the planned time of the whole run without its final vent.
func (p *Plan) Total() time.Duration {
	var t time.Duration
	for i := range p.Legs {
		t += p.Legs[i].Ramp + p.Legs[i].Steady + p.Legs[i].Settle + p.Legs[i].Hold
	}
	return t
}

// Foresee works out what a profile does on a bench with a unit, and what each
// hold can prove there.
func Foresee(run setup.Run) (*plan.Plan, error) {
	b, u := run.Bench, run.Unit
	pb := plan.Bench{ID: b.ID, Gas: b.Medium == setup.MediumGas, ByHand: b.HandOperated, WaterFed: b.Supply == setup.SupplyWater,
		ChamberML: b.ChamberVolumeML, LidMM: b.LidDiameterMM, CushionML: b.GasCushionML, StiffnessMLPerBar: b.StiffnessMLPerBar,
		RatedPa: b.RatedPa, ReliefPa: b.ReliefPa, RoomPa: b.RoomPa,
		BlankMLPerHPerBar: b.BlankLeakMLPerHPerBar, BlankSDMLPerHPerBar: b.BlankLeakSDMLPerHPerBar}
	pu := plan.Unit{ID: u.ID, OuterML: u.OuterVolumeML, FreeML: u.FreeVolumeML, SealedPa: u.SealedPa, SealedC: u.SealedC, SealedRH: u.SealedRHPct}
	for _, s := range b.Sensors {
		foreseen(&pb, &pu, s, s.Measures)
		for _, f := range s.Fields {
			foreseen(&pb, &pu, s, f.Measures)
		}
	}
	return plan.New(run.Profile, pb, pu)
}

// Resolve turns a limit of acceptance that depends on the unit into one by the
// hour, as the record and the verdict have it.
func Resolve(run *setup.Run) error {
	u := run.Unit
	p, err := plan.Resolve(run.Profile, plan.Unit{FreeML: u.FreeVolumeML, SealedC: u.SealedC, SealedRH: u.SealedRHPct})
	if err != nil {
		return fmt.Errorf("profile %q, unit %q: %w", run.Profile.Name, u.ID, err)
	}
	run.Profile = p
	return nil
}

// Noises that are taken where a sensor's are not stated: those of the usual
// digital parts' data sheets, from memory.
const (
	thermometerK = 0.02 // a step of 0.0625 K over √12
	insidePa     = 3
	insideRH     = 0.1
)

func foreseen(b *plan.Bench, u *plan.Unit, s setup.Sensor, measures string) {
	q, _ := sensors.QuantityNamed(measures)
	switch {
	case measures == "":
	case q == sensors.ChamberPressure:
		b.NoisePa = s.NoisePa
		b.SampleS = s.IntervalS
	case q == sensors.ChamberGas:
		b.GasThermometerK = thermometerK
	case q == sensors.ChamberWater:
		b.WaterThermometerK = thermometerK
	case q == sensors.UnitPressure:
		u.InsidePa = insidePa
		u.InsideS = s.IntervalS
	case q == sensors.UnitTemperature:
		u.InsideK = thermometerK
	case q == sensors.UnitHumidity:
		u.InsideRH = insideRH
	}
}

// NewPlan turns a profile into the pressures of a run. The sheet must state the
// room's pressure, and the pressure at which the unit was closed. A profile
// that the bench must not run, or cannot, is an error that says why.
func NewPlan(run setup.Run) (*Plan, error) {
	b, u, pr := run.Bench, run.Unit, run.Profile
	if err := stated(b, u); err != nil {
		return nil, err
	}
	chamber, err := chamberSensor(b)
	if err != nil {
		return nil, err
	}
	foreseen, err := Foresee(run)
	if err != nil {
		return nil, err
	}
	for _, f := range foreseen.Findings {
		if f.Weight == plan.Refusal {
			return nil, fmt.Errorf("profile %q on bench %q: %s", pr.Name, b.ID, f.Text)
		}
	}
	p := &Plan{
		SealedPa: u.SealedPa, RoomPa: b.RoomPa, LimitPa: foreseen.LimitPa, VentRate: ventRatePaS, Hand: b.HandOperated,
		Chamber: chamber.ID, NoisePa: chamber.NoisePa, Period: DefaultPeriod, StopOnWet: true,
		depth: foreseen.Column.DepthM,
	}
	if s := sensorOf(b, sensors.UnitPressure); s != nil {
		p.Inside = s.ID
	}
	if b.PeriodMS > 0 {
		p.Period = time.Duration(b.PeriodMS * float64(time.Millisecond))
	}
	p.FillMinOn, p.VentMinOn = defaultMinOn, defaultMinOn
	for _, v := range b.Valves {
		if v.MinOnMS <= 0 {
			continue
		}
		least := time.Duration(v.MinOnMS * float64(time.Millisecond))
		switch v.ID {
		case setup.FillValve:
			p.FillMinOn = least
		case setup.VentValve:
			p.VentMinOn = least
		}
	}
	p.Regulator = b.Regulator != nil
	p.CellsInside = u.Cells == setup.CellsInside
	p.NoiseStated = p.NoisePa > 0
	if !p.NoiseStated {
		p.NoisePa = defaultNoisePa
	}
	if t := twinSensor(b, chamber.ID); t != nil {
		p.Twin = t.ID
		for _, s := range []setup.Sensor{chamber, *t} {
			if s.AccuracyPa > 0 {
				p.ApartPa += s.AccuracyPa
			} else {
				p.ApartPa += defaultApartPa
			}
		}
		p.ApartPa += 6 * p.NoisePa
	}
	for _, l := range foreseen.Legs {
		rate := pr.RampMPerMin
		if r := pr.Stages[l.Stage].RampMPerMin; r > 0 {
			rate = r
		}
		p.lay(Leg{Stage: l.Stage, Name: l.Name, DepthM: l.DepthM, TargetPa: l.AbsolutePa,
			RatePaS: foreseen.Column.GaugePa(rate) / 60, Ramp: l.Ramp, Steady: l.Steady, Settle: l.Settle, SettleMax: l.SettleMax,
			StablePaS: stableShare * stablePaS(foreseen, l), Hold: l.Hold, Search: l.Kind == profiles.KindSearch,
			MakeUp: pr.Stages[l.Stage].MakeUp}, l, len(foreseen.Legs))
	}
	if err := p.attend(b); err != nil {
		return nil, fmt.Errorf("profile %q on bench %q: %w", pr.Name, b.ID, err)
	}
	p.Longest = time.Hour
	for i := range p.Legs {
		leg := &p.Legs[i]
		p.Longest += rampMost(p, leg) + max(leg.Settle, leg.SettleMax) + leg.Hold
	}
	if len(p.Legs) == 0 {
		return nil, fmt.Errorf("profile %q has no stage", pr.Name)
	}
	return p, nil
}

// attend lowers the limit of a bench on which only a person shuts a fill that the
// program has left open, by what comes in until he has.
func (p *Plan) attend(b setup.Bench) error {
	if b.Backstop() != setup.ByPerson {
		return nil
	}
	fastest, deepest := 0.0, 0.0
	for i := range p.Legs {
		fastest, deepest = max(fastest, p.Legs[i].RatePaS), max(deepest, p.Legs[i].TargetPa)
	}
	p.LimitPa -= fastest * AttendedTime.Seconds()
	if deepest > p.LimitPa {
		return fmt.Errorf("without a watchdog relay the target, %.2f bar gauge, must lie %.2f bar lower than else, at %.2f bar gauge: a person needs %s to shut the supply; fit the relay ([heartbeat]), or a slower ramp",
			(deepest-p.RoomPa)/1e5, fastest*AttendedTime.Seconds()/1e5, (p.LimitPa-p.RoomPa)/1e5, AttendedTime)
	}
	return nil
}

// stableShare is how much of the limit of acceptance a transient may still make.
const stableShare = 0.25

// stablePaS is the slope that a leak at the limit of acceptance would give at
// the pressure of a leg, Pa/s; 0 where no leak is judged.
func stablePaS(p *plan.Plan, l plan.Leg) float64 {
	for _, q := range p.Proofs {
		if q.Leg.Stage == l.Stage && q.LimitMLPerH > 0 && q.ComplianceMLPerBar > 0 {
			return q.LimitMLPerH / q.ComplianceMLPerBar * 1e5 / 3600
		}
	}
	return 0
}

// stated refuses a bench without the figures that protect people.
func stated(b setup.Bench, u setup.Unit) error {
	switch {
	case !(b.RoomPa > 0):
		return fmt.Errorf("bench %q: room_pa, the barometer at the start, is not known", b.ID)
	case !(u.SealedPa > 0):
		return fmt.Errorf("unit %q: sealed_pa, the pressure at which it was closed, is not known", u.ID)
	case !(b.RatedPa > b.RoomPa):
		return fmt.Errorf("bench %q: the chamber's rating (rated_bar_gauge) is not given; nothing is pressurised without it", b.ID)
	case !(b.ReliefPa > b.RoomPa):
		return fmt.Errorf("bench %q: the relief valve's setting (relief_bar_gauge) is not given; nothing is pressurised without it", b.ID)
	case b.ReliefPa > b.RatedPa:
		return fmt.Errorf("bench %q: the relief valve is set to %.2f bar gauge, above the chamber's rating of %.2f bar gauge; it must open below it", b.ID, (b.ReliefPa-b.RoomPa)/1e5, (b.RatedPa-b.RoomPa)/1e5)
	}
	return nil
}

// chamberSensor is the first sensor that measures the chamber's pressure.
func chamberSensor(b setup.Bench) (setup.Sensor, error) {
	want := sensors.ChamberPressure.String()
	for _, s := range b.Sensors {
		if s.Measures == want {
			return s, nil
		}
	}
	return setup.Sensor{}, fmt.Errorf("bench %q: no sensor measures %q", b.ID, want)
}

// twinSensor is a second sensor that measures the chamber's pressure, or nil.
func twinSensor(b setup.Bench, first string) *setup.Sensor {
	for i := range b.Sensors {
		if s := &b.Sensors[i]; s.ID != first && s.Measures == sensors.ChamberPressure.String() {
			return s
		}
	}
	return nil
}
