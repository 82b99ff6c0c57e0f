// Package analysis reads a record and says what it shows: did the unit leak,
// how much, when and at what depth did that begin, by what mode, and could the
// bench have seen less. It is pure: lines of a record in, a result with its
// doubts out.
package analysis

import "time"

// The verdicts. A doubt is never a pass.
const (
	Pass         = "pass"
	Fail         = "fail"
	Inconclusive = "inconclusive"
)

// The modes of a failure.
const (
	Seep     = "seep"     // a leak that starts and goes on
	Burst    = "burst"    // a sudden opening: the pressure falls at once and goes on falling
	Collapse = "collapse" // the unit loses volume at once and no leak follows
	Reseal   = "reseal"   // leaks in a shallow stage, tight in every deeper one
	Damp     = "damp"     // only the humidity inside says so
)

// The kinds of evidence.
const (
	ByDecay          = "decay"
	ByStep           = "step"
	ByWet            = "wet"
	ByHumidity       = "humidity"
	ByInsidePressure = "inside-pressure"
)

// Verdict is verdict.json, format 1.
type Verdict struct {
	Format       int           `json:"format"`
	Record       string        `json:"record"`
	Unit         string        `json:"unit"`
	Verdict      string        `json:"verdict"`
	Reasons      []string      `json:"reasons"`
	ProvedDepthM float64       `json:"proved_depth_m"` // deepest hold that passed, 0 for none
	RatedDepthM  float64       `json:"rated_depth_m"`  // proved depth over the proof factor, rounded down to 0.1 m
	FirstFailure *FirstFailure `json:"first_failure"`
	Holds        []Hold        `json:"holds"`
	Integrity    Integrity     `json:"integrity"`
}

// FirstFailure is when and where the unit began to fail, not when it was noticed.
type FirstFailure struct {
	Time            time.Time `json:"time"`
	TimeLow         time.Time `json:"time_low"`
	TimeHigh        time.Time `json:"time_high"`
	DepthM          float64   `json:"depth_m"`
	DepthLowM       float64   `json:"depth_low_m"` // 95 %
	DepthHighM      float64   `json:"depth_high_m"`
	LastTightDepthM float64   `json:"last_tight_depth_m"` // deepest hold passed before it, 0 for none
	Mode            string    `json:"mode"`
	Evidence        []string  `json:"evidence"`
}

// Interval is an estimate with its 95 % bounds.
type Interval struct {
	Estimate float64 `json:"estimate"`
	Low      float64 `json:"low"`
	High     float64 `json:"high"`
}

// Hold is the measuring window of one stage.
type Hold struct {
	Stage                int       `json:"stage"`
	Name                 string    `json:"name,omitempty"`
	DepthM               float64   `json:"depth_m"`
	Start                time.Time `json:"start"`
	End                  time.Time `json:"end"`
	LeakMLPerH           *Interval `json:"leak_ml_per_h"` // nil where it could not be measured
	DetectionLimitMLPerH *float64  `json:"detection_limit_ml_per_h"`
	MoistureMGPerH       *Interval `json:"moisture_mg_per_h"`
	Verdict              string    `json:"verdict"`
	Reasons              []string  `json:"reasons,omitempty"`
}

// Integrity says whether the record is whole.
type Integrity struct {
	Chained bool     `json:"chained"`
	Intact  bool     `json:"intact"`
	Gaps    []string `json:"gaps"`
	Lines   int64    `json:"lines"`
}

// Result is everything that the analysis found: the verdict, and what the
// certificate draws and prints beside it.
type Result struct {
	Verdict      Verdict
	Explanations []Explanation // considered for whatever was seen, likeliest first
	Budget       []Budget      // uncertainty of the leak rate of the deciding hold
	Stages       []StageSpan   // ramp, settle, hold and vent as they ran
	Events       []Event       // faults, notes, steps, wet probes, aborts
	Curves       Curves
	Conditions   Conditions
}

// Explanation is one possible cause, with what speaks for and against it.
type Explanation struct {
	Cause      string // "leak into the unit", "cooling gas", …
	Holds      bool   // whether the data leave it standing
	For        []string
	Against    []string
	Experiment string // the cheapest test that would settle it, or empty
}

// Budget is one line of an uncertainty budget.
type Budget struct {
	Source  string  // "noise of the pressure", "temperature", "blank", …
	MLPerH  float64 // standard uncertainty
	Remarks string
}

// StageSpan is one ramp, settle, hold or vent as it ran.
type StageSpan struct {
	Kind       string // ramp, settle, hold, vent
	Index      int
	Name       string
	DepthM     float64
	TargetPa   float64 // absolute
	Start, End time.Time
}

// Event is something that happened at a moment.
type Event struct {
	Time time.Time
	Kind string // fault, note, step, wet, run
	Text string
}

// Curves are the signals thinned for pictures: at most some 2,000 points each,
// with the extremes of what was thinned kept. Absent signals are empty.
type Curves struct {
	ChamberPa       []Point // absolute, as read
	ChamberFittedPa []Point // absolute, what a tight unit would have shown
	GasC            []Point
	WaterC          []Point
	InsidePa        []Point // absolute
	InsideC         []Point
	InsideRHPct     []Point
	AbsHumidityGM3  []Point // g/m³ inside the unit
}

// Point is one value of a curve.
type Point struct {
	Time  time.Time
	Value float64
}

// Conditions are the surroundings of the test, from its readings; NaN where not measured.
type Conditions struct {
	RoomPa, RoomC        float64 // means
	WaterMinC, WaterMaxC float64
	GasMinC, GasMaxC     float64
	PeakPa               float64 // absolute, highest chamber pressure seen
	PeakDepthM           float64 // its depth-equivalent
	SampleS              float64 // s, median interval of the chamber pressure
	ComplianceMLPerBar   float64 // at the deepest hold, as used
	FreeGasML            float64 // gas cushion at room pressure, as used; NaN without one
	ZeroBeforePa         float64 // what the chamber's sensor read above the room at open vent, before the run
	ZeroAfterPa          float64 // and after it
}
