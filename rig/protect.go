package rig

import (
	"math"
	"time"

	"proofpot/sensors"
)

// Class is what a protection does.
type Class uint8

// The classes, each with what the one before it does.
const (
	Remark  Class = iota // a line in the record
	NoMore               // nothing is filled while it holds
	Release              // the run ends: fill cut, vent opened
	Trip                 // and the bench is locked out until that is acknowledged
)

var classWords = [...]string{"note", "hold", "vent", "trip"}

// String gives the class's word.
func (c Class) String() string { return classWords[c] }

// Protection is one thing that is watched while a run goes on.
type Protection struct {
	Word  string // kind of the fault line in the record
	Class Class
	Stop  Stop   // of Release and Trip
	Valve string // tag of the fault line; empty for a sensor or neither
	Text  string // of the fault line
}

// Thresholds, each with its reason.
const (
	// stuckAfter: a sensor whose noise should move it and that repeats its last
	// digit for so long is stuck. At 500 ms these are 40 readings; with noise as
	// large as its step each repeats with a chance below 0.4.
	stuckAfter = 20 * time.Second
	// apartReadings in a row make a disagreement, apartMost of it ends the run:
	// one of two sensors is wrong, and nobody knows which.
	apartReadings = 5
	apartMost     = 20
	apartShare    = 0.01 // of the gauge pressure, beside both accuracies
	// stuckOpenAfter: a valve has shut after so long, a slow one too.
	stuckOpenAfter = 3 * time.Second
	stuckOpenShare = 0.25 // of the flow that the open valve brings
	stuckOpenPa    = 2e3
	// passesShare and passesPa: a rise at rest that is worth a remark: a fill
	// valve that passes hides a leak.
	passesShare = 0.01
	passesPa    = 2e3
	// fallShare and fallPa between two readings with all valves shut: nothing
	// lets out so fast but a unit that breaks or a lid that lifts. Filling waits
	// for fallTime, so that the record shows what happened with nothing else moving.
	fallShare = 0.05
	fallPa    = 20e3
	fallTime  = 30 * time.Second
	// barrenTime with a valve open and no pressure that moves.
	barrenTime = 20 * time.Second
	// lateMost: a step that comes later than so many periods finds a bench that
	// it does not know.
	latePeriods = 3
	lateLeast   = time.Second
	// hotC: cells that heat themselves go on from 60 °C to 90 °C (from memory),
	// printed plastics soften from 55 °C. coolC ends it.
	hotC = 60.0
	// heatKMin for two minutes in a row: a unit in water follows it within many
	// minutes; only something in it is faster.
	heatKMin = 3.0
	hotTimes = 3
	// ventDeaf: a minute of open vent takes 2 % of the gauge pressure at least.
	ventDeafTime  = 60 * time.Second
	ventDeafShare = 0.02
	// weatherPa is what the weather may move the barometer in a run.
	weatherPa = 10e3
	// contactMost: a switch that has said nothing for so long is open.
	contactMost = 5 * time.Second
	// readyMost: a run that cannot begin is given up.
	readyMost = 5 * time.Minute
	// answerMost: who has not answered for a day does not come. Until then the
	// chamber waits vented, and a person may take a night.
	answerMost = 24 * time.Hour
)

// protections is what is watched, the gravest first. README.md of this folder
// holds the same table with thresholds and reasons.
var protections = [...]Protection{
	sawStop:            {"stop", Trip, StopPressed, "", "the emergency stop is pressed, or its wire is broken"},
	sawLid:             {"lid", Trip, LidOpened, "", "the lid is open, or its switch's wire is broken: KEEP AWAY"},
	sawValveLost:       {"valve-lost", Trip, ValveLost, "", "a valve does not answer: shut the supply by hand"},
	sawOverPressure:    {"over-pressure", Trip, OverPressure, "", "pressure above what is allowed"},
	sawFillStuckOpen:   {"fill-stuck-open", Trip, FillStuckOpen, "fill", "the pressure rises as with the fill open, and it is shut"},
	sawRegulator:       {"regulator", Trip, RegulatorRuns, "fill", "the chamber runs ahead of what the regulator is asked for: it does not follow"},
	sawVentStuck:       {"vent-stuck", Trip, VentStuck, "vent", "the vent stands open and the pressure stays: DO NOT OPEN"},
	sawWetWithCells:    {"wet-with-cells", Trip, WetWithCells, "", "water in a unit with cells: " + Quarantine},
	sawHot:             {"hot", Trip, TooHot, "", "the unit heats up by itself: KEEP AWAY"},
	sawFloat:           {"float", Release, FloatOpened, "", "the float switch says that the water is not where it should be"},
	sawSensorLost:      {"sensor-lost", Release, SensorLost, "", "the chamber pressure is not known for too long"},
	sawSensorsDisagree: {"sensors-disagree", Release, SensorsDisagree, "", "the two chamber sensors go on disagreeing"},
	sawRecord:          {"record", Release, RecordBroken, "", "the record cannot be written"},
	sawInsideLost:      {"inside-lost", Release, InsideLost, "", "the pressure inside the unit is not known for too long"},
	sawWet:             {"wet", Release, UnitWet, "", "water in the unit"},
	sawNoResponse:      {"no-response", Release, NoResponse, "", "the ramp does not arrive"},
	sawTooLong:         {"too-long", Release, TooLong, "", "the run takes far longer than planned"},
	sawSpike:           {"spike", NoMore, NotStopped, "", "a reading above what is allowed: not filled"},
	sawAhead:           {"ahead", NoMore, NotStopped, "", "a reading far above what the regulator is asked for: not filled"},
	sawStuck:           {"stuck", NoMore, NotStopped, "", "the chamber sensor repeats its value to the last digit: it is not believed"},
	sawApart:           {"apart", NoMore, NotStopped, "", "the two chamber sensors disagree: not filled"},
	sawFall:            {"fall", NoMore, NotStopped, "", "the pressure fell at once with the valves shut: not filled for half a minute"},
	sawLate:            {"late", NoMore, NotStopped, "", "the loop came late"},
	sawWarm:            {"warm", NoMore, NotStopped, "", "the chamber is hot: not filled until it has cooled"},
	sawCoarse:          {"coarse", Remark, NotStopped, "", "the chamber sensor has come to speak in steps larger than its noise: a small leak may hide between two"},
	sawTwinLost:        {"twin-lost", Remark, NotStopped, "", "the second chamber sensor is silent"},
	sawBarren:          {"barren", Remark, NotStopped, "", "a valve stands open and the pressure does not move: supply, cock, valve?"},
	sawFillPasses:      {"fill-passes", Remark, NotStopped, "fill", "the pressure rises with the valves shut: warming, or the fill passes and hides a leak"},
	sawFalls:           {"falls", Remark, NotStopped, "vent", "the pressure falls with the valves shut: the vent or a fitting passes, or the unit leaks"},
}

// The numbers of the protections.
const (
	sawStop = iota
	sawLid
	sawValveLost
	sawOverPressure
	sawFillStuckOpen
	sawRegulator
	sawVentStuck
	sawWetWithCells
	sawHot
	sawFloat
	sawSensorLost
	sawSensorsDisagree
	sawRecord
	sawInsideLost
	sawWet
	sawNoResponse
	sawTooLong
	sawSpike
	sawAhead
	sawStuck
	sawApart
	sawFall
	sawLate
	sawWarm
	sawCoarse
	sawTwinLost
	sawBarren
	sawFillPasses
	sawFalls
)

// seen tells whether what a protection watches for is there. It is a switch and
// no table of functions, so that a step's state stays off the heap.
func seen(i int, p *Plan, s *State, now time.Duration) bool {
	switch i {
	case sawStop:
		return s.Phase != Ready && s.Stop.open(now)
	case sawLid:
		return lidOpened(p, s, now)
	case sawValveLost:
		return s.NoValve
	case sawOverPressure:
		return s.Over >= overReadings || s.Twin.Over >= overReadings
	case sawFillStuckOpen:
		return fillStuck(p, s, now)
	case sawRegulator:
		return s.Ahead >= overReadings
	case sawVentStuck:
		return ventDeaf(p, s, now)
	case sawWetWithCells:
		return s.Wet && p.CellsInside
	case sawHot:
		return s.UnitHeat.Hot >= hotTimes || s.UnitHeat.Fast >= 2 || s.UnitHeat.Beyond >= hotTimes
	case sawFloat:
		return s.Phase != Ready && s.Float.open(now)
	case sawSensorLost:
		return chamberLost(p, s, now)
	case sawSensorsDisagree:
		return s.Twin.Off >= apartMost
	case sawRecord:
		return s.NoRecord
	case sawInsideLost:
		return insideLost(p, s, now)
	case sawWet:
		return s.Wet && p.StopOnWet && !p.CellsInside && s.Phase != Vent
	case sawNoResponse:
		return s.Phase == Ramp && !s.Reached && now-s.Since > rampMost(p, &p.Legs[s.Leg])
	case sawTooLong:
		return s.Phase != Vent && now-s.Idle > p.Longest || s.Phase == Ready && now-s.Since > readyMost ||
			s.Phase == Ramp && p.Legs[s.Leg].Ask.WantsAnswer() && now-s.Since > answerMost
	case sawSpike:
		return s.Over > 0 || s.Twin.Over > 0
	case sawAhead:
		return s.Ahead > 0
	case sawStuck:
		return s.Stuck && !s.Vouched
	case sawApart:
		return s.Twin.Off >= apartReadings
	case sawFall:
		return s.FallUntil > now
	case sawLate:
		return s.LateAt > 0 && s.LateAt == now
	case sawWarm:
		return s.ChamberHeat.Hot >= hotTimes
	case sawCoarse:
		return s.Grain.coarse()
	case sawTwinLost:
		return s.Twin.Known && now-s.Twin.At > staleAfter(p)
	case sawBarren:
		return s.Barren > barrenTime.Seconds()
	case sawFillPasses:
		return atRest(s) && s.RestPa > s.BasePa+max(passesPa, 10*p.NoisePa, passesShare*(s.BasePa-p.RoomPa))
	default: // sawFalls
		return atRest(s) && s.RestPa < s.BasePa-max(passesPa, 10*p.NoisePa, passesShare*(s.BasePa-p.RoomPa))
	}
}

func atRest(s *State) bool {
	return s.Phase == Hold && s.RestN == restMost // while it settles it may well move
}

// open tells whether a switch must be taken for open: it says so, or has spoken
// before and says nothing any more.
func (c *contact) open(now time.Duration) bool {
	return c.Known && (c.Open || now-c.At > contactMost)
}

// lidOpened: while a person works at the vented chamber the lid is his.
func lidOpened(p *Plan, s *State, now time.Duration) bool {
	if !s.Lid.open(now) {
		return false
	}
	switch s.Phase {
	case Ramp, Settle, Hold:
		return !p.Legs[s.Leg].vented() || s.Pa > p.RoomPa+lastPa
	case Vent:
		return !s.OpenSafe && s.Pa > p.RoomPa+lastPa
	}
	return false
}

// fillStuck: the valves have been told shut, and the pressure goes on rising at
// a good share of the open valve's flow.
func fillStuck(p *Plan, s *State, now time.Duration) bool {
	if s.Phase == Vent || p.Hand || s.RestLong <= restLeast || s.Up.Var == 0 || s.PaAt-s.OpenEnd < stuckOpenAfter {
		return false
	}
	rise, dt := s.RestPa-s.BasePa, (s.PaAt - s.BaseAt).Seconds()
	return rise > max(stuckOpenPa, 10*p.NoisePa) && rise > stuckOpenShare*s.Up.PaS*dt/2
}

// ventDeaf: the vent has stood open for a minute, and the pressure has not fallen
// by what would have begun the minute anew.
func ventDeaf(p *Plan, s *State, now time.Duration) bool {
	return s.Phase == Vent && s.VentRefAt > 0 && now-s.VentRefAt >= ventDeafTime && s.Known && !s.Stale &&
		s.Pa > p.RoomPa+lastPa
}

// chamberLost: neither transducer is heard. With one of two the chamber is
// watched, and only not filled.
func chamberLost(p *Plan, s *State, now time.Duration) bool {
	if s.Phase == Ready {
		return !s.Known && now-s.Since > lostAfter
	}
	watched := s.Twin.Known && now-s.Twin.At <= staleAfter(p)
	return s.Stale && now-s.PaAt > lostAfter && !watched
}

// heat watches a temperature.
type heat struct {
	RefC  float64 // °C at RefAt
	RefAt time.Duration
	Known bool
	Hot   int // readings in a row above hotC
	Fast  int // minutes in a row that were too fast

	FromC  float64 // °C, before the unit was put under power
	Beyond int     // readings in a row above what the load is to bring
}

func (h *heat) see(r *sensors.Reading) {
	if r.Value > hotC {
		h.Hot++
	} else {
		h.Hot = 0
	}
	switch {
	case !h.Known:
		h.Known, h.RefC, h.RefAt = true, r.Value, r.At
	case r.At-h.RefAt >= time.Minute:
		if rise := (r.Value - h.RefC) / (r.At - h.RefAt).Minutes(); rise > heatKMin {
			h.Fast++
		} else {
			h.Fast = 0
		}
		h.RefC, h.RefAt = r.Value, r.At
	}
}

// watch brings up to date what the protections go by.
func watch(p *Plan, s *State, in *Input, was float64) {
	now := in.Now
	s.NoRecord, s.NoValve = s.NoRecord || in.Broken != "", s.NoValve || in.NoValve != ""
	if d := now - s.Now; s.Phase != Ready && d > max(latePeriods*p.Period, lateLeast) {
		s.LateAt = now
	}
	if s.Known && !s.Stale {
		if s.Pa > s.HighPa+0.01*(s.HighPa-p.RoomPa) && s.Over == 0 {
			s.Falls = 0
		}
		s.HighPa = max(s.HighPa, s.Smooth)
	}
	// A fall that two readings have confirmed.
	if s.Phase == Ramp || s.Phase == Settle || s.Phase == Hold {
		shut := !s.Valves.Vent && s.PaAt-s.OpenEnd > shutTime
		if s.Known && shut && was-s.Pa > max(fallPa, fallShare*(was-p.RoomPa)) && p.Legs[s.Leg].Ask == NoPrompt {
			s.FallUntil = now + fallTime
		}
	}
	// Open valves that move nothing.
	if s.Valves.Fill || s.Valves.Vent && s.Phase == Ramp && !p.Legs[s.Leg].vented() {
		if math.Abs(s.Smooth-s.BarrenPa) > 8*p.NoisePa {
			s.BarrenPa, s.Barren = s.Smooth, 0
		}
		s.Barren += min(now-s.Now, p.Period).Seconds()
	} else if s.Phase != Ramp {
		s.Barren = 0
	}
}

// protect looks at everything that is watched: the record gets a line where
// something begins, and the gravest that ends the run is returned.
func protect(p *Plan, s *State, now time.Duration, out *Output) Stop {
	if s.Phase == Done {
		return NotStopped
	}
	stop, active := NotStopped, uint32(0)
	s.NoFill = s.Paused
	for i := range protections {
		a := &protections[i]
		if !seen(i, p, s, now) {
			continue
		}
		active |= 1 << i
		if s.Alarms&(1<<i) == 0 {
			e := Event{Kind: FaultEvent, Valve: a.Valve, Word: a.Word, Text: a.Text, Critical: true}
			if a.Valve == "" {
				e.Sensor = sensorTag(p, a.Word)
			}
			out.say(e)
		}
		if a.Class >= NoMore {
			s.NoFill = true
		}
		if a.Class >= Release && stop == NotStopped {
			stop = a.Stop
		}
		if a.Class == Trip && s.Locked == NotStopped {
			s.Locked = a.Stop
		}
	}
	s.Alarms = active | s.Alarms&onceALeg
	return stop
}

// onceALeg are the remarks that are made once a leg.
var onceALeg = bitsOf("fill-passes", "falls", "barren")

func bitsOf(words ...string) (bits uint32) {
	for _, w := range words {
		for i := range protections {
			if protections[i].Word == w {
				bits |= 1 << i
			}
		}
	}
	return bits
}

func sensorTag(p *Plan, word string) string {
	switch word {
	case "over-pressure", "sensor-lost", "spike", "ahead", "stuck", "coarse", "apart", "sensors-disagree":
		return p.Chamber
	case "twin-lost":
		return p.Twin
	}
	return ""
}
