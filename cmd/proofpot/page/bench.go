package page

import (
	"context"

	"proofpot/rig"
	"proofpot/rig/setup"
)

// Bench is what the page asks for: plans, runs, records. The command behind it
// does all of it as its own verbs do.
type Bench interface {
	// Choices lists what can be tested, and by which profile.
	Choices() (Choices, error)
	// Plan says what a run would do and could prove.
	Plan(Choice) (PlanView, error)
	// Preflight goes through the list before a run and shows it on the console.
	Preflight(ctx context.Context, c Choice, on *Console) ([]rig.Check, error)
	// Run runs a test to its verdict; it tells the console and asks it.
	Run(ctx context.Context, c Choice, on *Console) (Outcome, error)
	// Resume goes on with a run that was cut off.
	Resume(ctx context.Context, name string, on *Console) (Outcome, error)
	// Records lists the records, the newest first.
	Records() ([]RecordLine, error)
	// Analyse analyses a record again and writes verdict and certificate.
	Analyse(name string) (Outcome, error)
	// Units lists the register.
	Units() ([]UnitLine, error)
}

// Choices is what a person may choose from.
type Choices struct {
	Bench     string   `json:"bench"`
	Simulated bool     `json:"simulated"`
	Units     []string `json:"units"`
	Profiles  []Named  `json:"profiles"`

	Calibrations []CalibrationLine `json:"calibrations,omitempty"`
}

// CalibrationLine is how the calibration of a pressure sensor stands today.
type CalibrationLine struct {
	Sensor string   `json:"sensor"`
	Date   string   `json:"date,omitempty"` // empty: it has none
	Due    string   `json:"due,omitempty"`
	Doubts []string `json:"doubts,omitempty"`
}

// Named is a name with what it is for.
type Named struct {
	Name string `json:"name"`
	Text string `json:"text"`
}

// Choice is what a person chose.
type Choice struct {
	Unit               string `json:"unit"`
	Profile            string `json:"profile"`
	Acknowledged       bool   `json:"acknowledged"`
	AcceptInconclusive bool   `json:"accept_inconclusive"`
}

// PlanView is a plan for reading.
type PlanView struct {
	Text     string `json:"text"`
	SVG      string `json:"svg"`
	CanProve bool   `json:"can_prove"`
	Refused  string `json:"refused,omitempty"`
	Cautions string `json:"cautions"`
}

// Outcome is how a run ended.
type Outcome struct {
	Record  string   `json:"record,omitempty"`
	Verdict string   `json:"verdict,omitempty"`
	Rated   float64  `json:"rated_m"`
	Proved  float64  `json:"proved_m"`
	Reasons []string `json:"reasons,omitempty"`
	Stopped string   `json:"stopped,omitempty"`
	Error   string   `json:"error,omitempty"`
}

// RecordLine is one record of the list.
type RecordLine struct {
	Name    string  `json:"name"`
	Unit    string  `json:"unit"`
	Variant string  `json:"variant,omitempty"`
	Profile string  `json:"profile,omitempty"`
	Verdict string  `json:"verdict,omitempty"`
	Rated   float64 `json:"rated_m,omitempty"`
	Failed  float64 `json:"failed_m,omitempty"`
	Mode    string  `json:"mode,omitempty"`
	Started string  `json:"started"`
	CutOff  bool    `json:"cut_off,omitempty"` // its run was never ended
}

// UnitLine is one unit of the register.
type UnitLine struct {
	Unit     string `json:"unit"`
	Standing string `json:"standing"`
	Valid    bool   `json:"valid"`
	Until    string `json:"until,omitempty"`
}

// Sheet gives the run's sheet of a record, for its pictures.
type Sheet = setup.Run
