package page

import (
	"math"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/certificate/plots"
	"proofpot/profiles/plan"
	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// Now is what the page shows of a run at a moment. A number that is not known is
// absent. All pressures are absolute, in Pa.
type Now struct {
	Wall    string  `json:"wall"` // UTC
	Seconds float64 `json:"t"`    // since the start of the run

	Phase   string   `json:"phase"`
	Leg     int      `json:"leg"`
	LeftS   *float64 `json:"left_s,omitempty"` // of the phase, as planned
	EndsS   *float64 `json:"ends_s,omitempty"` // to the end of the run, as planned, vent included
	Stopped string   `json:"stopped,omitempty"`
	Done    bool     `json:"done,omitempty"`
	// UnsyncedMS: for how long the oldest line of the record waits for the disk.
	UnsyncedMS *float64 `json:"unsynced_ms,omitempty"`

	Pa      *float64 `json:"pa,omitempty"`
	PaAgeS  *float64 `json:"pa_age_s,omitempty"`
	Stale   bool     `json:"stale,omitempty"`
	RoomPa  float64  `json:"room_pa"`
	DepthM  *float64 `json:"depth_m,omitempty"`
	EnergyJ *float64 `json:"energy_j,omitempty"` // stored in the gas of the chamber, now
	MayOpen bool     `json:"may_open"`
	Paused  bool     `json:"paused,omitempty"`

	Prompt *Wish `json:"prompt,omitempty"`

	Leak      *analysis.Interval `json:"leak,omitempty"`
	Detection *float64           `json:"detection,omitempty"`

	Fill     bool     `json:"fill"`
	Vent     bool     `json:"vent"`
	Valves   bool     `json:"valves"` // whether there are any to show
	InsideRH *float64 `json:"inside_rh,omitempty"`
	InsideC  *float64 `json:"inside_c,omitempty"`
	InsidePa *float64 `json:"inside_pa,omitempty"`
	MarginK  *float64 `json:"margin_k,omitempty"` // from the dew point inside up to the water's temperature
	WaterC   *float64 `json:"water_c,omitempty"`

	Sensors []Shown `json:"sensors"`
}

// Wish is what a person is asked to do.
type Wish struct {
	Kind     uint8   `json:"kind"`
	Text     string  `json:"text"`
	TargetPa float64 `json:"target_pa"`
	DepthM   float64 `json:"depth_m"`
	RatePaS  float64 `json:"rate_pa_s"`
	Answer   bool    `json:"answer"` // he is to say when it is done
}

// Shown is one value of one sensor with its health.
type Shown struct {
	Sensor   string   `json:"sensor"`
	Quantity string   `json:"quantity"`
	Unit     string   `json:"unit,omitempty"`
	Value    *float64 `json:"value,omitempty"`
	TwoState bool     `json:"two,omitempty"`
	AgeS     float64  `json:"age_s"` // since the last value
	Stale    bool     `json:"stale,omitempty"`
	Fault    string   `json:"fault,omitempty"`
	Text     string   `json:"text,omitempty"`
}

// Ladder is what does not change during a run: the stages ahead, the limits.
type Ladder struct {
	Bench, Unit, Variant, Profile string
	Hand                          bool
	LeakLimit                     float64 // ml/h, 0: not judged
	LimitPa                       float64
	SealedPa                      float64
	Rungs                         []Rung
}

// Rung is one ramp with the settle and hold that follow it.
type Rung struct {
	Stage                 int
	Name                  string
	DepthM, TargetPa      float64
	RampS, SettleS, HoldS float64
}

// newLadder lists what lies ahead.
func newLadder(run setup.Run, p *rig.Plan) Ladder {
	l := Ladder{Bench: run.Bench.ID, Unit: run.Unit.ID, Variant: run.Unit.Variant, Profile: run.Profile.Name, Hand: p.Hand,
		LeakLimit: run.Profile.Accept.LeakMLPerH, LimitPa: p.LimitPa, SealedPa: p.SealedPa}
	for i := range p.Legs {
		g := &p.Legs[i]
		l.Rungs = append(l.Rungs, Rung{g.Stage, g.Name, g.DepthM, g.TargetPa, g.Ramp.Seconds(), g.Settle.Seconds(), g.Hold.Seconds()})
	}
	return l
}

// value is the last one of one quantity of one sensor.
type value struct {
	sensor   string
	quantity sensors.Quantity
	at       time.Duration
	value    float64
	has      bool
	fault    string
	text     string
	interval time.Duration
}

// view keeps what the page needs of a run between two steps. It is pure.
type view struct {
	run     setup.Run
	plan    *rig.Plan
	energy  plan.Bench
	outerML float64
	values  []value
}

func newView(run setup.Run, p *rig.Plan) *view {
	v := &view{run: run, plan: p, outerML: run.Unit.OuterVolumeML}
	b := run.Bench
	v.energy = plan.Bench{Gas: b.Medium == setup.MediumGas, WaterFed: b.Supply == setup.SupplyWater, ChamberML: b.ChamberVolumeML,
		CushionML: b.GasCushionML, StiffnessMLPerBar: b.StiffnessMLPerBar, RoomPa: b.RoomPa}
	return v
}

// freshFor is how long a value counts as fresh: five of its usual intervals,
// and never less than 3 s.
func (x *value) freshFor() time.Duration { return max(3*time.Second, 5*x.interval) }

// see takes in the readings of a step.
func (v *view) see(readings []sensors.Reading) {
	for i := range readings {
		r := &readings[i]
		x := v.find(r.Sensor, r.Quantity, r.At)
		if r.Status != sensors.OK {
			x.fault, x.text = r.Status.String(), r.Text
			continue
		}
		if x.has && r.At > x.at {
			if gap := r.At - x.at; x.interval == 0 || gap < x.interval {
				x.interval = gap
			} else {
				x.interval += (gap - x.interval) / 8
			}
		}
		x.at, x.value, x.has, x.fault, x.text = r.At, r.Value, true, "", ""
	}
}

func (v *view) find(sensor string, q sensors.Quantity, at time.Duration) *value {
	for i := range v.values {
		if v.values[i].sensor == sensor && v.values[i].quantity == q {
			return &v.values[i]
		}
	}
	v.values = append(v.values, value{sensor: sensor, quantity: q, at: at})
	return &v.values[len(v.values)-1]
}

// fresh gives the last value of a quantity while it is fresh.
func (v *view) fresh(q sensors.Quantity, now time.Duration) *float64 {
	for i := range v.values {
		if x := &v.values[i]; x.quantity == q && x.has && now-x.at <= x.freshFor() {
			return &x.value
		}
	}
	return nil
}

// now is what the page shows after a step.
func (v *view) now(at rig.Instant, s *rig.State, out *rig.Output, leak *analysis.Interval, detection *float64) Now {
	p := v.plan
	n := Now{Wall: at.Wall.UTC().Format(time.RFC3339), Seconds: at.Mono.Seconds(), Phase: s.Phase.String(), Leg: s.Leg,
		RoomPa: p.RoomPa, Fill: s.Valves.Fill, Vent: s.Valves.Vent, Valves: !p.Hand, Stale: s.Stale, Done: s.Phase == rig.Done}
	if s.Stopped != rig.NotStopped {
		n.Stopped = s.Stopped.String()
	}
	if s.Known {
		age := (at.Mono - s.PaAt).Seconds()
		n.PaAgeS = &age
		n.Pa = number(s.Pa)
		n.DepthM = number(p.DepthM(s.Pa))
		n.EnergyJ = number(plan.GasEnergyJ(s.Pa, v.energy.GasML(s.Pa, v.outerML)*1e-6, p.RoomPa))
	}
	n.MayOpen, n.Paused = s.OpenSafe, s.Paused
	n.left(p, s, at.Mono)
	if k := out.Prompt.Kind; k != rig.NoPrompt {
		w := Wish{Kind: uint8(k), Text: k.String(), TargetPa: out.Prompt.ShownPa(p.RoomPa), DepthM: out.Prompt.DepthM, Answer: k == rig.CloseUp || k == rig.PutIn}
		if s.Leg < len(p.Legs) {
			w.RatePaS = p.Legs[s.Leg].RatePaS
		}
		n.Prompt = &w
	}
	if s.Phase == rig.Settle || s.Phase == rig.Hold {
		n.Leak, n.Detection = leak, detection
	}
	n.InsideRH, n.InsideC, n.InsidePa = v.fresh(sensors.UnitHumidity, at.Mono), v.fresh(sensors.UnitTemperature, at.Mono), v.fresh(sensors.UnitPressure, at.Mono)
	n.WaterC = v.fresh(sensors.ChamberWater, at.Mono)
	if n.InsideRH != nil && n.InsideC != nil && n.WaterC != nil {
		n.MarginK = number(*n.WaterC - plots.DewPointC(*n.InsideRH, *n.InsideC))
	}
	for i := range v.values {
		x := &v.values[i]
		age := at.Mono - x.at
		shown := Shown{Sensor: x.sensor, Quantity: x.quantity.String(), Unit: x.quantity.Unit(), TwoState: x.quantity.TwoState(),
			AgeS: math.Max(0, math.Round(age.Seconds()*10)/10), Fault: x.fault, Text: x.text, Stale: age > x.freshFor()}
		if x.has {
			shown.Value = number(x.value)
		}
		n.Sensors = append(n.Sensors, shown)
	}
	return n
}

// left fills in how long the phase and the run still take, as planned.
func (n *Now) left(p *rig.Plan, s *rig.State, now time.Duration) {
	if s.Phase == rig.Done || s.Phase == rig.Ready || s.Leg >= len(p.Legs) {
		return
	}
	leg := &p.Legs[s.Leg]
	spent := now - s.Since
	var phase, later time.Duration
	switch s.Phase {
	case rig.Ramp:
		phase, later = leg.Ramp+leg.Steady, leg.Settle+leg.Hold
	case rig.Settle:
		phase, later = leg.Settle, leg.Hold
	case rig.Hold:
		phase = leg.Hold
	case rig.Vent:
		phase = time.Duration(math.Max(0, s.StartPa-p.RoomPa) / p.VentRate * float64(time.Second))
		n.LeftS = number(max(0, phase-spent).Seconds())
		n.EndsS = n.LeftS
		return
	}
	n.LeftS = number(max(0, phase-spent).Seconds())
	total := max(0, phase-spent) + later
	top := leg.TargetPa
	for i := s.Leg + 1; i < len(p.Legs); i++ {
		total += p.Legs[i].Ramp + p.Legs[i].Steady + p.Legs[i].Settle + p.Legs[i].Hold
		top = p.Legs[i].TargetPa
	}
	total += time.Duration(math.Max(0, top-p.RoomPa) / p.VentRate * float64(time.Second))
	n.EndsS = number(total.Seconds())
}

func number(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
