package rig

import (
	"fmt"
	"math"
	"time"

	"proofpot/profiles"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// Leg is one ramp with the settle and hold that follow it. A stage of the
// profile is one leg, or, when it is cycled, one leg up and one down a cycle.
type Leg struct {
	Stage    int    // number of the profile's stage, from 0
	Name     string //
	DepthM   float64
	TargetPa float64       // absolute, in the chamber
	RatePaS  float64       // of the ramp, Pa/s, > 0 up and down
	Ramp     time.Duration // as planned
	Settle   time.Duration
	Hold     time.Duration
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

	Chamber   string        // id of the sensor that the sequencer goes by
	NoisePa   float64       // of one reading of it, standard deviation
	Period    time.Duration // of the loop
	StopOnWet bool

	depth func(gaugePa float64) float64
}

// Rates and times of the sequencer.
const (
	// ventRatePaS is 1 bar/min: common practice, no source, for units whose
	// seals and potting may have taken up gas (rapid decompression damage:
	// HSE research report RR485).
	ventRatePaS = 1e5 / 60
	// cycleLowM is the depth between two cycles, where seals lose their load.
	cycleLowM = 1.0
	// shareOfRating keeps the test below the point at which a relief valve
	// begins to weep: common practice, no source.
	shareOfRating = 0.9
	// DefaultPeriod of the loop.
	DefaultPeriod = 500 * time.Millisecond
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
		t += p.Legs[i].Ramp + p.Legs[i].Settle + p.Legs[i].Hold
	}
	return t
}

// NewPlan turns a profile into the pressures of a run. The sheet must state the
// room's pressure, and the pressure at which the unit was closed. A profile
// that the bench must not run is an error that says why.
func NewPlan(run setup.Run) (*Plan, error) {
	b, u, pr := run.Bench, run.Unit, run.Profile
	column, err := profiles.NewColumn(pr.Water)
	if err != nil {
		return nil, fmt.Errorf("profile %q: %w", pr.Name, err)
	}
	if err := stated(b, u); err != nil {
		return nil, err
	}
	chamber, err := chamberSensor(b)
	if err != nil {
		return nil, err
	}
	p := &Plan{
		SealedPa: u.SealedPa, RoomPa: b.RoomPa, VentRate: ventRatePaS, Hand: b.HandOperated,
		Chamber: chamber.ID, NoisePa: chamber.NoisePa, Period: DefaultPeriod, StopOnWet: true,
		depth: column.DepthM,
	}
	if p.NoisePa <= 0 {
		p.NoisePa = defaultNoisePa
	}
	rated, relief := b.RatedPa-b.RoomPa, b.ReliefPa-b.RoomPa
	p.LimitPa = b.RoomPa + shareOfRating*min(rated, relief)
	rate := column.GaugePa(pr.RampMPerMin) / 60
	from := b.RoomPa
	add := func(stage int, name string, depthM, settleS, holdS float64) {
		target := u.SealedPa + column.GaugePa(depthM)
		p.Legs = append(p.Legs, Leg{Stage: stage, Name: name, DepthM: depthM, TargetPa: target, RatePaS: rate,
			Ramp: seconds(math.Abs(target-from) / rate), Settle: seconds(settleS), Hold: seconds(holdS)})
		from = target
	}
	for i, s := range pr.Stages {
		for c := range max(s.Cycles, 1) {
			if c > 0 {
				add(i, s.Name, min(cycleLowM, s.DepthM), 0, 0)
			}
			add(i, s.Name, s.DepthM, s.SettleS, s.HoldS)
		}
	}
	for _, l := range p.Legs {
		if l.TargetPa > p.LimitPa {
			return nil, fmt.Errorf("profile %q, stage %d (%s): %g m needs %.2f bar gauge, and bench %q may go to %.2f bar gauge (90 %% of its rating of %.2f and its relief setting of %.2f bar gauge)",
				pr.Name, l.Stage, l.Name, l.DepthM, (l.TargetPa-b.RoomPa)/1e5, b.ID, (p.LimitPa-b.RoomPa)/1e5, rated/1e5, relief/1e5)
		}
	}
	return p, nil
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

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
