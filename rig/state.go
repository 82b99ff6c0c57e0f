package rig

import (
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
	Abort  bool // stop, and vent
	Skip   bool // end this settle or hold now
	Failed bool // the unit leaks: a search need go no further
	Ready  bool // what was asked of him is done, and his hands are out of the way
}

// Input is what a step goes by.
type Input struct {
	Now      time.Duration // since the start of the run
	Readings []sensors.Reading
	Operator Operator
	Broken   string // the record cannot be written, a valve does not answer: what, or empty
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
	RateUp float64       // Pa/s, with the fill open, as seen
	RateDn float64       // Pa/s, with the vent open, as seen, positive
	Jumped bool          // the last reading was set aside as a spike
	Over   int           // readings in a row above what is allowed
	Stale  bool
	Wet    bool

	LegSince    time.Duration // start of the leg
	Inside      float64       // last pressure inside the unit, absolute
	InsideAt    time.Duration // its age
	InsideKnown bool          // there is one

	Window, Before slope         // of a settling that ends by rule
	WindowSince    time.Duration //
	Stable         bool          // its transient is small enough

	Prompt Prompt
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
	Phase    Phase   // StageEvent
	Leg      int     // StageEvent
	Pa       float64 // SetpointEvent, absolute
	Valve    string  // ValveEvent, FaultEvent: fill, vent
	Open     bool    // ValveEvent
	Sensor   string  // FaultEvent
	Word     string  // FaultEvent: its kind; RunEvent: abort, end
	Text     string
	Critical bool // to be on the disk before the next step
}

// maxEvents bounds what one step can say.
const maxEvents = 12

// Output is what a step asks for.
type Output struct {
	Valves  Valves
	Prompt  Prompt // for the operator of a bench without valves
	events  [maxEvents]Event
	nEvents int
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

// WantsAnswer tells whether the run waits until the person says that it is done.
func (k PromptKind) WantsAnswer() bool { return k == CloseUp || k == PutIn }

// Stop says why a run ended before its time.
type Stop uint8

// The reasons.
const (
	NotStopped Stop = iota
	ByOperator
	OverPressure
	SensorLost
	NoResponse
	UnitWet
	RecordBroken
	InsideLost
)

var stopWords = [...]string{
	"", "stopped by the operator", "pressure above what is allowed: fill cut and vented",
	"chamber pressure not known for too long: fill cut and vented",
	"the pressure does not follow: supply, valve or a large leak; fill cut and vented",
	"water in the unit: fill cut and vented", "the record cannot be written or a valve does not answer: fill cut and vented",
	"pressure inside the unit not known for too long: let air into it; vented",
}

// String gives the reason in words.
func (s Stop) String() string { return stopWords[s] }
