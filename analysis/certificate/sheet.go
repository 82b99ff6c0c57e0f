package certificate

import (
	"fmt"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/certificate/units"
	"proofpot/profiles"
	"proofpot/rig/setup"
)

// sensorRow is one sensor of the bench as its sheet describes it.
type sensorRow struct{ ID, Measures, Noise, Accuracy, Driver, Calibrated string }

// planRow is one stage of the profile.
type planRow struct{ Stage, Name, Depth, Settle, Hold, Cycles string }

// sheet prints what the sheet of the run says: unit, claim, bench and plan.
func (p *page) sheet(run setup.Run, r *analysis.Result, u units.System) {
	unit, bench, profile := run.Unit, run.Bench, run.Profile
	p.Closure = []fact{
		{"Unit", named(unit.ID)},
		{"Variant", stated(unit.Variant)},
		{"Material", stated(unit.Material)},
		{"Window", stated(unit.Window)},
		{"Seals", stated(unit.Seals)},
		{"Lubricant", stated(unit.Lubricant)},
		{"Torque", stated(unit.Torque)},
		{"Free volume", positive(unit.FreeVolumeML, 0, "ml")},
		{"Outer volume", positive(unit.OuterVolumeML, 0, "ml")},
		{"Closed", closedText(unit) + "; " + sealedText(run, r, u)},
	}
	if unit.Notes != "" {
		p.Closure = append(p.Closure, fact{"Notes", told(unit.Notes)})
	}
	p.Claim = []fact{
		{"Deepest stage", deepestText(profile, u)},
		{"Proof factor", positive(profile.ProofFactor, 2, "")},
		{"Claim tested", claimText(profile, u)},
		{"Water", waterText(profile.Water)},
		{"Density, gravity", columnText(profile.Water)},
		{"Limits", acceptText(profile.Accept, u)},
	}
	p.Bench = []fact{
		{"Bench", named(bench.ID)},
		{"Chamber", chamberText(bench)},
		{"Pressure limit", pressureLimit(bench, u)},
		{"Blank leak", blankText(bench)},
	}
	for _, s := range bench.Sensors {
		if len(p.Sensors) == mostRows {
			break
		}
		p.Sensors = append(p.Sensors, sensorRow{named(s.ID), named(s.Measures),
			positive(s.NoisePa, 0, "Pa"), positive(s.AccuracyPa, 0, "Pa"), named(s.Driver), calibratedText(s)})
	}
	p.PlanNote = "Profile " + named(profile.Name) + " (SHA-256 " + profile.Hash()[:16] + "…); rate of the ramps " + positive(u.DepthValue(profile.RampMPerMin), 1, string(u.Depth)+"/min") + "."
	for i, s := range profile.Stages {
		if i == mostRows {
			p.PlanNote += fmt.Sprintf(" %d more stages stand in the record.", len(profile.Stages)-i)
			break
		}
		p.Plan = append(p.Plan, planRow{fmt.Sprint(i), planName(s), u.DepthText(s.DepthM),
			seconds(s.SettleS), seconds(s.HoldS), fmt.Sprint(max(1, s.Cycles))})
	}
}

func planName(s profiles.Stage) string {
	if s.Kind == "" || s.Kind == s.Name {
		return units.Clean(s.Name, mostName)
	}
	return units.Clean(s.Name, mostName) + " (" + units.Clean(s.Kind, mostName) + ")"
}

func closedText(unit setup.Unit) string {
	if unit.ClosedBy == "" && unit.ClosedOn == "" {
		return "by whom and when not stated"
	}
	return "by " + stated(unit.ClosedBy) + ", date " + stated(unit.ClosedOn)
}

func sealedText(run setup.Run, r *analysis.Result, u units.System) string {
	text := "pressure not stated: that of the room at the start, " + absolute(r.Conditions.RoomPa, u) + ", is used"
	if run.Unit.SealedPa > 0 {
		text = absolute(run.Unit.SealedPa, u)
	}
	if run.Unit.SealedC != 0 && finite(run.Unit.SealedC) {
		text += ", " + units.Number(run.Unit.SealedC, 1) + " °C"
	}
	return text
}

func deepestText(p profiles.Profile, u units.System) string {
	if !(p.DeepestM() > 0) {
		return "not stated"
	}
	return u.DepthText(p.DeepestM())
}

func claimText(p profiles.Profile, u units.System) string {
	if !(p.RatedM() > 0) {
		return "not stated"
	}
	return "use to " + u.DepthDown(p.RatedM())
}

func waterText(w profiles.Water) string {
	if w.Model == "" {
		return "not stated"
	}
	text := named(w.Model)
	if w.SalinityGKg > 0 {
		text += ", salinity " + units.Number(w.SalinityGKg, 1) + " g/kg"
	}
	return text + ", " + units.Number(w.TemperatureC, 1) + " °C, latitude " + units.Number(w.LatitudeDeg, 1) + "°"
}

// columnText gives the figures behind every conversion of depth.
func columnText(w profiles.Water) string {
	column, err := profiles.NewColumn(w)
	if err != nil {
		return "not stated"
	}
	return units.Number(column.DensityKgM3, 2) + " kg/m³ and " + units.Number(column.GravityMS2, 4) + " m/s² at the surface"
}

func acceptText(a profiles.Accept, u units.System) string {
	name, perPa := u.SmallPressure()
	judged := func(v float64, unit string) string {
		if !(v > 0) {
			return "not judged"
		}
		return units.Sized(v) + " " + unit
	}
	return "leak " + judged(a.LeakMLPerH, "ml/h") + "; moisture " + judged(a.MoistureMGPerH, "mg/h") +
		"; rise of the pressure inside " + judged(a.InsideRisePa*perPa, name)
}

func chamberText(b setup.Bench) string {
	text := positive(b.ChamberVolumeML, 0, "ml")
	switch b.Medium {
	case setup.MediumWater:
		text += ", filled with water, gas cushion " + positive(b.GasCushionML, 0, "ml") + " at room pressure"
	case setup.MediumGas:
		text += ", filled with gas alone"
	default:
		text += ", medium " + stated(b.Medium)
	}
	switch b.Supply {
	case setup.SupplyGas:
		text += "; compressed gas is let in"
	case setup.SupplyWater:
		text += "; water is pumped in"
	}
	if b.HandOperated {
		text += "; valves worked by hand"
	}
	return text + "; stiffness " + positive(b.StiffnessMLPerBar, 2, "ml/bar")
}

func pressureLimit(b setup.Bench, u units.System) string {
	rated, relief := "not stated", "not stated"
	if b.RatedPa > 0 {
		rated = absolute(b.RatedPa, u)
	}
	if b.ReliefPa > 0 {
		relief = absolute(b.ReliefPa, u)
	}
	return "chamber rated " + rated + "; relief " + relief
}

func blankText(b setup.Bench) string {
	if b.BlankLeakMLPerHPerBar == 0 && b.BlankLeakSDMLPerHPerBar == 0 {
		return "not stated"
	}
	return units.Number(b.BlankLeakMLPerHPerBar, 3) + " ± " + units.Number(b.BlankLeakSDMLPerHPerBar, 3) +
		" ml/h per bar gauge (1 s.d.), " + blankDate(b)
}

// blankDate says when the blank in use was run.
func blankDate(b setup.Bench) string {
	if m := b.Measured; m != nil && len(m.Blanks) > 0 {
		last := m.Blanks[len(m.Blanks)-1]
		return "measured " + last.At.UTC().Format(time.DateOnly) + ", valid until " + last.ValidUntil.UTC().Format(time.DateOnly)
	}
	return "from the bench's sheet, its date not stated"
}

func seconds(s float64) string {
	if !finite(s) {
		return "not stated"
	}
	return units.Length(duration(s))
}

// calibratedText gives the dates of a sensor's calibration and what it left.
func calibratedText(s setup.Sensor) string {
	c := s.Calibration
	if c == nil {
		return "not stated"
	}
	return named(c.Date) + ", due " + named(c.Due) + ", ± " + units.Number(c.Budget.ExpandedPa, 0) + " Pa (" + units.Number(c.Budget.Coverage, 2) + " s.d.), against " + named(c.Reference)
}
