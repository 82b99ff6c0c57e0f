package rig

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
	ValveLost
	FillStuckOpen
	VentStuck
	SensorsDisagree
	LidOpened
	StopPressed
	FloatOpened
	WetWithCells
	TooHot
	TooLong
	RegulatorRuns
	stops
)

var stopWords = [stops]string{
	"", "stopped by the operator", "pressure above what is allowed: fill cut and vented",
	"chamber pressure not known for too long: fill cut and vented",
	"the pressure does not follow: supply, valve or a large leak; fill cut and vented",
	"water in the unit: fill cut and vented", "the record cannot be written: fill cut and vented",
	"pressure inside the unit not known for too long: let air into it; vented",
	"a valve does not answer: fill cut and vented, as far as it can be; shut the supply by hand",
	"the pressure rises with the fill valve shut: it is stuck open, or bypassed; vented; shut the supply by hand",
	"the vent stands open and the pressure stays: shut the supply by hand, vent by hand, DO NOT OPEN",
	"the two chamber sensors disagree: fill cut and vented",
	"the lid is open: fill cut and vented", "emergency stop: fill cut and vented",
	"the water is not where it should be: fill cut and vented",
	"water in a unit with cells: fill cut and vented; quarantine it",
	"too hot: fill cut and vented; keep away, let it cool",
	"the run takes far longer than planned: fill cut and vented",
	"the regulator gives more than it is asked for: fill cut and vented; shut the supply by hand",
}

// String gives the reason in words.
func (s Stop) String() string {
	if s >= stops {
		return "unknown reason"
	}
	return stopWords[s]
}

// StopNamed finds a reason by its words, as the record and the lock-out file hold them.
func StopNamed(words string) (Stop, bool) {
	for i, w := range stopWords {
		if w == words && i > 0 {
			return Stop(i), true
		}
	}
	return NotStopped, false
}

// LocksOut tells whether the bench stays locked out after this stop until
// somebody has acknowledged it.
func (s Stop) LocksOut() bool {
	for i := range protections {
		if protections[i].Stop == s && protections[i].Class == Trip {
			return true
		}
	}
	return false
}
