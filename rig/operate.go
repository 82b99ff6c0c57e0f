package rig

// What the record says of an operator's commands; a replay goes by it.
const (
	PausedNote   = "paused by the operator: nothing is filled, the stage's clock stands"
	ResumedNote  = "resumed by the operator"
	SkippedNote  = "skipped by the operator"
	UnlockedNote = "lock-out acknowledged by the operator"
	FailedNote   = "the unit fails here: the search ends"
)

// operate takes an operator's commands, but for his stop, which limits takes
// before anything else, and those that a phase waits for.
func operate(p *Plan, s *State, in *Input, out *Output) {
	op := &in.Operator
	if op.Note != "" {
		out.say(Event{Kind: NoteEvent, Text: op.Note})
	}
	// A lock-out is left while nothing runs, and only by being acknowledged.
	if op.AcknowledgeLockout && s.Locked != NotStopped && (s.Phase == Ready || s.Phase == Done) {
		s.Locked, s.Blocked = NotStopped, false
		out.say(Event{Kind: NoteEvent, Text: UnlockedNote, Critical: true})
	}
	if s.Phase >= Vent || op.Abort {
		return
	}
	if op.Pause && !s.Paused {
		s.Paused = true
		out.say(Event{Kind: NoteEvent, Text: PausedNote, Critical: true})
	}
	if op.Resume && s.Paused {
		s.Paused = false
		s.RestN, s.RestLong = 0, 0
		out.say(Event{Kind: NoteEvent, Text: ResumedNote, Critical: true})
	}
	if op.Skip && (s.Phase == Settle || s.Phase == Hold) {
		out.say(Event{Kind: NoteEvent, Text: SkippedNote, Critical: true})
	}
	if s.Paused { // the clock of the stage stands
		d := in.Now - s.Now
		s.Since += d
		s.LegSince += d
		s.QuietSince += d
		s.WindowSince += d
		s.LineAt += d
		s.Idle += d
		s.Hand.Since += d
		if s.FirstReached > 0 {
			s.FirstReached += d
		}
	}
}
