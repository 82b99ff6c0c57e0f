package rig

import (
	"math"
	"time"

	"proofpot/sensors"
)

// Phase is what the sequencer is doing.
type Phase uint8

// The phases of a run.
const (
	Ready  Phase = iota // nothing done yet
	Ramp                // on the way to a target, and topping up there until it stays
	Settle              // shut, before the measuring window
	Hold                // shut, measuring
	Vent                // on the way to the room's pressure
	Done                // vented; the vent stands open
)

var phaseNames = [...]string{"ready", "ramp", "settle", "hold", "vent", "done"}

// String gives the word that the record uses as a stage's kind.
func (p Phase) String() string { return phaseNames[p] }

// Operator is what a person asks for, or whoever watches for him.
type Operator struct {
	Abort  bool // stop, and vent; taken before anything else
	Pause  bool // hold where it is: no filling, the clock of the stage stops
	Resume bool // go on after a pause
	Skip   bool // end this settle or hold now
	Failed bool // the unit leaks: a search need go no further
	Ready  bool // what was asked of him is done, and his hands are out of the way

	// AcknowledgeLockout ends a lock-out: he has seen why, and has seen to it.
	AcknowledgeLockout bool

	Note string // a remark for the record
}

// Input is what a step goes by.
type Input struct {
	Now      time.Duration // since the start of the run
	Readings []sensors.Reading
	Operator Operator
	Broken   string // the record cannot be written: why, or empty
	NoValve  string // a valve does not answer: what it said, or empty
}

// State is all that the sequencer remembers. Its zero value is the start.
type State struct {
	Phase   Phase
	Leg     int
	Since   time.Duration // start of the phase
	Valves  Valves
	Stopped Stop // why the run ended early, or NotStopped

	StartPa      float64       // of the ramp, absolute
	Reached      bool          // the target is reached, and has not been lost again
	FirstReached time.Duration // when it was first reached, 0 for not yet
	QuietSince   time.Duration // no valve moved, no pump stroke, since then

	Pa     float64       // last chamber pressure, absolute
	PaAt   time.Duration // its age
	Known  bool          // there is one
	Smooth float64       // pressure with its noise smoothed, absolute
	Rate   float64       // Pa/s, smoothed
	Jumped bool          // the last reading was set aside as a spike
	Over   int           // readings in a row above what is allowed
	Stale  bool
	Wet    bool

	Now      time.Duration // of the last step: when Valves were driven
	Up, Dn   flow          // what fill and vent bring
	OpenEnd  time.Duration // when a valve was last open
	Filled   float64       // s that the fill has stood open in this run
	CountPa  float64       // smallest step of the chamber's sensor that was seen, 0 for none
	StuckAt  time.Duration // its value moved last
	Stuck    bool          // and that is too long ago
	Vouched  bool          // the second transducer says what the stuck one says, in a ramp
	Grain    grain         // the steps in which it moves
	RestPa   float64       // mean of the last readings with the valves shut, absolute
	RestN    int           // of so many
	RestLong int           // readings since the valves were shut
	BasePa   float64       // the first of them, absolute
	BaseAt   time.Duration
	Line     float64 // where the ramp should be by its rate, absolute
	LineAt   time.Duration
	Coarse   bool // the shortest pulse brings more than is allowed

	Led       bool          // the regulator stands at the chamber's pressure
	LeadSince time.Duration //
	Trim      float64       // Pa that is added to what the regulator is asked for
	AskedPa   float64       // of it with the fill open in this ramp, absolute; 0: not yet
	Ahead     int           // readings in a row far above that

	Twin        twinState // second transducer of the chamber
	Lid, Stop   contact
	Float       contact
	UnitHeat    heat
	ChamberHeat heat
	RoomPa      float64       // barometer, absolute; 0: none
	RoomAt      time.Duration // its age

	NoRecord  bool          // the record cannot be written
	NoValve   bool          // a valve does not answer
	Alarms    uint32        // bit by number in Protections: which hold now
	NoFill    bool          // one of them forbids it, or a pause
	FallUntil time.Duration // no filling after a sudden fall
	Barren    float64       // s of an open valve in which the pressure has not moved
	BarrenPa  float64       //
	LateAt    time.Duration // the loop last came late
	Locked    Stop          // locked out, and why; NotStopped: not
	Blocked   bool          // the run cannot begin, and that was said
	Paused    bool
	Idle      time.Duration // in pauses, in all

	VentRefPa float64       // for a vent that does not answer
	VentRefAt time.Duration //
	Falls     int           // readings that were seen on the way down with the vent open
	HighPa    float64       // highest pressure seen in this run, absolute
	LowSince  time.Duration // the pressure has been the room's since then
	TwinLow   time.Duration // by the second transducer
	OpenSafe  bool          // two signs say that the pressure is gone, and the vent stands open

	Hand    handwork // what the operator of a pump has done in this ramp
	MadeUp  int      // pulses of make-up in this hold
	MadeUpS float64  // s

	Resumed bool // the run goes on after a gap: where its valves stand is said
	Untold  bool // and the stage too: its line was lost

	LegSince    time.Duration // start of the leg
	Inside      float64       // last pressure inside the unit, absolute
	InsideAt    time.Duration // its age
	InsideKnown bool          // there is one
	Early       bool          // a person answered while the lid was open: he must answer again

	Window, Before slope         // of a settling that ends by rule
	WindowSince    time.Duration //
	Stable         bool          // its transient is small enough

	Prompt Prompt
}

// twinState is what the second transducer says.
type twinState struct {
	Pa    float64 // absolute
	At    time.Duration
	Known bool
	Over  int // readings in a row above what is allowed
	Off   int // readings in a row that disagree with the first
}

// contact is a switch that protects: broken wire and pressed are the same.
type contact struct {
	Known bool
	Open  bool
	At    time.Duration // last heard
}

func (c *contact) see(r *sensors.Reading) {
	c.At = r.At
	switch {
	case r.Status == sensors.OK:
		c.Known, c.Open = true, r.Value != 0
	case c.Known && r.Status != sensors.Restarted:
		c.Open = true // not known to be shut
	}
}

// EventKind is a kind of line that a step asks the record to hold.
type EventKind uint8

// The kinds of event.
const (
	StageEvent EventKind = iota
	SetpointEvent
	ValveEvent
	FaultEvent
	NoteEvent
	RunEvent
)

// Event is one line for the record.
type Event struct {
	Kind     EventKind
	Phase    Phase         // StageEvent
	Leg      int           // StageEvent
	Pa       float64       // SetpointEvent, absolute
	Valve    string        // ValveEvent, FaultEvent: fill, vent
	Open     bool          // ValveEvent
	At       time.Duration // ValveEvent: before this step, when a pulse ended; 0: now
	Sensor   string        // FaultEvent
	Word     string        // FaultEvent: its kind; RunEvent: abort, end
	Text     string
	Critical bool // to be on the disk before the next step
}

// maxEvents bounds what one step can say.
const maxEvents = 24

// Output is what a step asks for.
type Output struct {
	Valves   Valves
	Prompt   Prompt // for the operator of a bench without valves
	OpenSafe bool   // the lid may be opened: two signs say that the pressure is gone, and the vent stands open
	Locked   Stop   // locked out, and why
	events   [maxEvents]Event
	nEvents  int
}

// Events lists what the record must hold, in order.
func (o *Output) Events() []Event { return o.events[:o.nEvents] }

func (o *Output) say(e Event) {
	if o.nEvents < maxEvents {
		o.events[o.nEvents] = e
		o.nEvents++
	}
}

// PromptKind is what the operator of a hand-operated bench is asked to do.
type PromptKind uint8

// The prompts.
const (
	NoPrompt    PromptKind = iota
	PumpUp                 // pump to the target, at the rate
	SlowDown               // pumping is too fast
	StopPumping            // stop at once, and shut the valve
	ShutOff                // target reached: shut the valve and leave it
	Wait                   // nothing to do
	LetOff                 // open the vent a little, down to the target
	VentAll                // open the vent fully, and leave it open

	// What is done to the unit itself.
	DrawDown  // draw its inside down through its port
	ShutPort  // shut the valve at its port
	LetIn     // let air back in through its port
	CloseUp   // plug the port, put the unit in, shut the lid; wants an answer
	PutIn     // close it warm, put it into the water, shut the lid; wants an answer
	SwitchOn  // put its own load under power
	SwitchOff // and off again
)

var promptWords = [...]string{
	"", "shut the vent and pump up", "slow down", "STOP pumping and shut the supply valve", "shut the supply valve and take your hands off",
	"wait, hands off", "let off pressure slowly", "open the vent fully and leave it open",
	"draw the inside of the unit down through its port, slowly", "shut the valve at the unit's port and take your hands off",
	"let air back into the unit through its port, slowly", "plug the unit's port, put the unit into the chamber, shut and lock the lid, and stand back",
	"close the warm unit, put it into the water, shut and lock the lid, and stand back", "put the unit under power", "take the power off the unit",
}

// String gives the words shown to the operator.
func (k PromptKind) String() string { return promptWords[k] }

// Prompt is one request to the operator.
type Prompt struct {
	Kind     PromptKind
	TargetPa float64 // absolute
	InsidePa float64 // absolute, of DrawDown and LetIn
	DepthM   float64
	WarmerK  float64 // than the water, of PutIn
}

// shownPa is the step in which a pressure is asked for: one hundredth of a bar.
const shownPa = 1e3

// ShownPa is the target as a person is told it, Pa absolute: in whole hundredths
// of a bar above the room, never short of the target itself.
func (p Prompt) ShownPa(roomPa float64) float64 {
	round := math.Ceil
	if p.Kind == LetOff {
		round = math.Floor
	}
	return roomPa + round((p.TargetPa-roomPa)/shownPa)*shownPa
}

// WantsAnswer tells whether the run waits until the person says that it is done.
func (k PromptKind) WantsAnswer() bool { return k == CloseUp || k == PutIn }
