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
func (p *page) sheet(run setup.Run, r *analysis.Result, u pen) {
	unit, bench, profile := run.Unit, run.Bench, run.Profile
	p.Closure = u.facts([]fact{
		{"Unit", u.named(unit.ID)},
		{"Variant", u.stated(unit.Variant)},
		{"Material", u.stated(unit.Material)},
		{"Window", u.stated(unit.Window)},
		{"Seals", u.stated(unit.Seals)},
		{"Lubricant", u.stated(unit.Lubricant)},
		{"Torque", u.stated(unit.Torque)},
		{"Free volume", u.positive(unit.FreeVolumeML, 0, "ml")},
		{"Outer volume", u.positive(unit.OuterVolumeML, 0, "ml")},
		{"Closed", u.closedText(unit) + "; " + u.sealedText(run, r)},
	})
	if unit.Notes != "" {
		p.Closure = append(p.Closure, fact{u.T("Notes"), told(unit.Notes)})
	}
	p.Claim = u.facts([]fact{
		{"Deepest stage", u.deepestText(profile)},
		{"Proof factor", u.positive(profile.ProofFactor, 2, "")},
		{"Claim tested", u.claimText(profile)},
		{"Water", u.waterText(profile.Water)},
		{"Density, gravity", u.columnText(profile.Water)},
		{"Depth good to", u.depthDoubt(run)},
		{"Limits", u.acceptText(profile.Accept)},
	})
	p.Bench = u.facts([]fact{
		{"Bench", u.named(bench.ID)},
		{"Chamber", u.chamberText(bench)},
		{"Pressure limit", u.pressureLimit(bench)},
		{"Blank leak", u.blankText(bench)},
	})
	for _, s := range bench.Sensors {
		if len(p.Sensors) == mostRows {
			break
		}
		p.Sensors = append(p.Sensors, sensorRow{u.named(s.ID), u.T(u.named(s.Measures)),
			u.positive(s.NoisePa, 0, "Pa"), u.positive(s.AccuracyPa, 0, "Pa"), u.named(s.Driver), u.calibratedText(s)})
	}
	p.PlanNote = u.F("Profile %s (SHA-256 %s…); rate of the ramps %s.", u.named(profile.Name), profile.Hash()[:16], u.positive(u.DepthValue(profile.RampMPerMin), 1, string(u.Depth)+"/min"))
	for i, s := range profile.Stages {
		if i == mostRows {
			p.PlanNote += " " + u.F("%d more stages stand in the record.", len(profile.Stages)-i)
			break
		}
		p.Plan = append(p.Plan, planRow{fmt.Sprint(i), u.planName(s), u.DepthText(s.DepthM),
			u.seconds(s.SettleS), u.seconds(s.HoldS), fmt.Sprint(max(1, s.Cycles))})
	}
}

func (u pen) planName(s profiles.Stage) string {
	if s.Kind == "" || s.Kind == s.Name {
		return units.Clean(s.Name, mostName)
	}
	return units.Clean(s.Name, mostName) + " (" + units.Clean(s.Kind, mostName) + ")"
}

func (u pen) closedText(unit setup.Unit) string {
	if unit.ClosedBy == "" && unit.ClosedOn == "" {
		return u.T("by whom and when not stated")
	}
	return u.F("by %s, date %s", u.stated(unit.ClosedBy), u.stated(unit.ClosedOn))
}

func (u pen) sealedText(run setup.Run, r *analysis.Result) string {
	text := u.F("pressure not stated: that of the room at the start, %s, is used", u.absolute(r.Conditions.RoomPa))
	if run.Unit.SealedPa > 0 {
		text = u.absolute(run.Unit.SealedPa)
	}
	if run.Unit.SealedC != 0 && finite(run.Unit.SealedC) {
		text += ", " + u.Number(run.Unit.SealedC, 1) + " °C"
	}
	return text
}

func (u pen) deepestText(p profiles.Profile) string {
	if !(p.DeepestM() > 0) {
		return u.T("not stated")
	}
	return u.DepthText(p.DeepestM())
}

func (u pen) claimText(p profiles.Profile) string {
	if !(p.RatedM() > 0) {
		return u.T("not stated")
	}
	return u.F("use to %s", u.DepthDown(p.RatedM()))
}

func (u pen) waterText(w profiles.Water) string {
	if w.Model == "" {
		return u.T("not stated")
	}
	text := u.T(u.named(w.Model))
	if w.SalinityGKg > 0 {
		text += u.F(", salinity %s g/kg", u.Number(w.SalinityGKg, 1))
	}
	return text + u.F(", %s °C, latitude %s°", u.Number(w.TemperatureC, 1), u.Number(w.LatitudeDeg, 1))
}

// columnText gives the figures behind every conversion of depth.
func (u pen) columnText(w profiles.Water) string {
	column, err := profiles.NewColumn(w)
	if err != nil {
		return u.T("not stated")
	}
	return u.F("%s kg/m³ and %s m/s² at the surface", u.Number(column.DensityKgM3, 2), u.Number(column.GravityMS2, 4))
}

// depthDoubt says how well the depths are known by the pressure sensor that they
// were read from. The water's density and gravity are those stated, by convention.
func (u pen) depthDoubt(run setup.Run) string {
	column, err := profiles.NewColumn(run.Profile.Water)
	if err != nil {
		return u.T("not stated")
	}
	depth := func(pa float64) string {
		return u.Bound(u.DepthValue(pa/(column.DensityKgM3*column.GravityMS2)), 2, true) + " " + string(u.Depth)
	}
	for _, s := range run.Bench.Sensors {
		switch c := s.Calibration; {
		case s.Measures != "chamber pressure":
			continue
		case c != nil:
			return u.F("± %s, by the calibration of sensor %s (%s s.d.)", depth(c.Budget.ExpandedPa), u.named(s.ID), u.Number(c.Budget.Coverage, 2))
		case s.AccuracyPa > 0:
			return u.F("± %s, by the accuracy that the sheet of sensor %s claims; no calibration is stated", depth(s.AccuracyPa), u.named(s.ID))
		}
		return u.T("not stated: the pressure sensor has neither calibration nor accuracy on its sheet")
	}
	return u.T("not stated")
}

func (u pen) acceptText(a profiles.Accept) string {
	name, perPa := u.SmallPressure()
	judged := func(v float64, unit string) string {
		if !(v > 0) {
			return u.T("not judged")
		}
		return u.Sized(v) + " " + unit
	}
	return u.F("leak %s; moisture %s; rise of the pressure inside %s",
		judged(a.LeakMLPerH, "ml/h"), judged(a.MoistureMGPerH, "mg/h"), judged(a.InsideRisePa*perPa, name))
}

func (u pen) chamberText(b setup.Bench) string {
	text := u.positive(b.ChamberVolumeML, 0, "ml")
	switch b.Medium {
	case setup.MediumWater:
		text += u.F(", filled with water, gas cushion %s at room pressure", u.positive(b.GasCushionML, 0, "ml"))
	case setup.MediumGas:
		text += u.T(", filled with gas alone")
	default:
		text += u.F(", medium %s", u.stated(b.Medium))
	}
	switch b.Supply {
	case setup.SupplyGas:
		text += u.T("; compressed gas is let in")
	case setup.SupplyWater:
		text += u.T("; water is pumped in")
	}
	if b.HandOperated {
		text += u.T("; valves worked by hand")
	}
	return text + u.F("; stiffness %s", u.positive(b.StiffnessMLPerBar, 2, "ml/bar"))
}

func (u pen) pressureLimit(b setup.Bench) string {
	rated, relief := u.T("not stated"), u.T("not stated")
	if b.RatedPa > 0 {
		rated = u.absolute(b.RatedPa)
	}
	if b.ReliefPa > 0 {
		relief = u.absolute(b.ReliefPa)
	}
	return u.F("chamber rated %s; relief %s", rated, relief)
}

func (u pen) blankText(b setup.Bench) string {
	if b.BlankLeakMLPerHPerBar == 0 && b.BlankLeakSDMLPerHPerBar == 0 {
		return u.T("not stated")
	}
	return u.F("%s ± %s ml/h per bar gauge (1 s.d.), %s",
		u.Number(b.BlankLeakMLPerHPerBar, 3), u.Number(b.BlankLeakSDMLPerHPerBar, 3), u.blankDate(b))
}

// blankDate says when the blank in use was run.
func (u pen) blankDate(b setup.Bench) string {
	if m := b.Measured; m != nil && len(m.Blanks) > 0 {
		last := m.Blanks[len(m.Blanks)-1]
		return u.F("measured %s, valid until %s", last.At.UTC().Format(time.DateOnly), last.ValidUntil.UTC().Format(time.DateOnly))
	}
	return u.T("from the bench's sheet, its date not stated")
}

func (u pen) seconds(s float64) string {
	if !finite(s) {
		return u.T("not stated")
	}
	return u.Length(duration(s))
}

// calibratedText gives the dates of a sensor's calibration and what it left.
func (u pen) calibratedText(s setup.Sensor) string {
	c := s.Calibration
	if c == nil {
		return u.T("not stated")
	}
	return u.F("%s, due %s, ± %s Pa (%s s.d.), against %s", u.named(c.Date), u.named(c.Due), u.Number(c.Budget.ExpandedPa, 0), u.Number(c.Budget.Coverage, 2), u.named(c.Reference))
}
