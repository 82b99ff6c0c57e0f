package certificate

import (
	"math"
	"regexp"
	"strings"

	"proofpot/analysis"
	"proofpot/analysis/statistics"
	"proofpot/rig/setup"
)

// modeWords explains a mode of failure to someone who did not run the test.
func (u pen) modeWords(mode string) string {
	switch mode {
	case analysis.Seep:
		return u.T("A leak that began and went on: water found a way in, past a seal or through the wall, and kept coming.")
	case analysis.Burst:
		return u.T("A sudden opening: the pressure in the chamber fell at once and went on falling fast. Something cracked, came loose or was pushed out of its seat.")
	case analysis.Collapse:
		return u.T("The unit lost volume at once and no leak followed: a wall or window buckled, or a closed void gave way. It is damaged even if it is dry.")
	case analysis.Reseal:
		return u.T("It leaked in a shallow stage and was tight in every deeper one: a seal that needs pressure to seat. It will leak again on every dive, just below the surface.")
	case analysis.Damp:
		return u.T("Only the humidity inside rose: too little water to move the pressure, but more than the limit allows.")
	default:
		return u.T("The mode is not one that this document knows; read the evidence.")
	}
}

// evidenceWords explains a kind of evidence.
func (u pen) evidenceWords(kind string) string {
	switch kind {
	case analysis.ByDecay:
		return u.T("decay: the pressure in the chamber fell more than a tight unit explains")
	case analysis.ByStep:
		return u.T("step: the pressure in the chamber changed at once")
	case analysis.ByWet:
		return u.T("wet: the probe in the unit touched water")
	case analysis.ByHumidity:
		return u.T("humidity: the absolute humidity inside rose")
	case analysis.ByInsidePressure:
		return u.T("inside pressure: the air inside was squeezed by what came in")
	default:
		return u.stated(kind)
	}
}

// words prints the limits of validity, the note on one unit and the cautions.
func (p *page) words(run setup.Run, r *analysis.Result, u pen) {
	v := &r.Verdict
	p.Limits = u.limits(run, r)
	p.Single = u.singleUnit(v.Verdict)
	p.Cautions = []string{
		"The result is evidence about a housing: no safety system, no life support, and nobody's life may hang on it.",
		"Gas under pressure and closed voids store energy: stay behind a barrier during ramps and proof, never work on clamps under pressure, open only when the vent has stopped flowing and a second indication agrees.",
		"Whoever runs the test answers for the rating of the chamber, its relief valve and the law of the place.",
	}
	switch {
	case p.Mark == "fail":
		p.Cautions = append([]string{"Do not dive this unit. Find the cause, repair it, close it again and test it anew from the first stage.",
			"A unit that took in water or gas may be under pressure inside: vent it slowly, facing away from lid and window."}, p.Cautions...)
	case p.Mark == "doubt":
		p.Cautions = append([]string{"Do not dive this unit before a whole test has passed. A doubt is not a pass."}, p.Cautions...)
	default:
		p.Cautions = append(p.Cautions, "Before each dive look at seals and window, and note every opening and every knock: both end this result.")
	}
	defer func() { p.Cautions, p.Quarantine = u.each(p.Cautions), u.each(p.Quarantine) }()
	if p.Mark == "pass" {
		return
	}
	if mentionsCells(run.Unit) {
		p.Quarantine = quarantine
	} else {
		p.Cautions = append(p.Cautions, "If there are cells or batteries in the unit, treat them as flooded: out of doors, away from people and anything that burns, for at least a day, and do not charge or use them again.")
	}
}

// quarantine is the caution for cells that may have met water. A published case
// exploded seven hours after a suspected leak was put aside (MAIB Safety Digest,
// reported in IMCA Safety Flash 14/23). A day of watching is common practice, no source.
var quarantine = []string{
	"The sheet of this unit mentions batteries. Treat them as flooded until shown dry.",
	"Quarantine: take the unit out of doors at once, away from people and anything that burns, and stand clear of lid and window; gas from wet cells can burst a sealed housing hours later.",
	"Leave it for at least a day and watch it for heat, swelling and smell from a distance. Do not charge, use or carry the cells in a vehicle or aircraft; hand them in as damaged.",
}

var (
	cellWords    = regexp.MustCompile(`(?i)\b(batter(y|ies)|cells?|accumulators?|akkus?|li[- ]?ion|li[- ]?po|lithium|lifepo4|nimh|18650|21700|power ?(bank|pack)s?)\b`)
	notCellWords = regexp.MustCompile(`(?i)\b(closed|open|load|flow)[- ]cells?\b`)
)

// mentionsCells looks for batteries in everything the sheet says of the unit.
func mentionsCells(unit setup.Unit) bool {
	text := strings.Join([]string{unit.ID, unit.Variant, unit.Material, unit.Window, unit.Seals, unit.Notes}, "\n")
	return cellWords.MatchString(notCellWords.ReplaceAllString(text, ""))
}

// limits says how far the result reaches.
func (u pen) limits(run setup.Run, r *analysis.Result) []string {
	v, c := &r.Verdict, r.Conditions
	out := []string{
		u.F("This unit (%s) in this closure, and no other. Opening it, or changing a seal, window or penetrator, ends the result for that joint.", u.named(v.Unit)),
		u.F("Depth is meant in this water: %s. In denser water the same depth is a higher pressure.", u.waterText(run.Profile.Water)),
		u.F("Temperature during the test: water %s, gas %s. Plastics are weaker when warmer and seals stiffer when colder.",
			u.between(c.WaterMinC, c.WaterMaxC), u.between(c.GasMinC, c.GasMaxC)),
	}
	longest := 0.0
	for _, h := range v.Holds {
		if h.Verdict == analysis.Pass && h.DepthM >= v.ProvedDepthM-0.05 {
			longest = math.Max(longest, h.End.Sub(h.Start).Seconds())
		}
	}
	if v.ProvedDepthM > 0 && longest > 0 {
		out = append(out, u.F("Time: the deepest hold that passed was watched for %s. Creep and slow ingress over longer times, and wear over many dives, were not tested beyond that.", u.Length(duration(longest))))
	}
	return append(out, u.T("The test loads the unit with pressure alone: no shocks, currents, hose pull or ageing."),
		u.T("This document holds only whole, with all its pages."))
}

// singleUnit says what one tested unit is and is not evidence of.
func (u pen) singleUnit(verdict string) string {
	at := func(confidence float64) string {
		return u.F("%.0f %% at %.0f %% confidence", 100*statistics.SuccessRun(1, confidence), 100*confidence)
	}
	switch verdict {
	case analysis.Pass:
		return u.F("This is evidence about this unit as assembled, not about the next one. With one unit tested and passed, the lower bound on the share of such units that would pass is %s and %s (success run, R = (1 − C)^(1/n), n = 1). Test every unit that is built, or at least three of a variant to compare it and five to rate a design.",
			at(0.90), at(0.50))
	case analysis.Fail:
		// With one failure in one test the exact upper bound is 1 − (1 − C)^(1/n).
		return u.F("One unit failed. That says little about others of its kind: at 90 %% confidence at most %.0f %% of them would pass (exact binomial bound, 1 − (1 − C)^(1/n), n = 1).",
			100*(1-statistics.SuccessRun(1, 0.90)))
	default:
		return u.T("An inconclusive test is no evidence about this unit or about others of its kind.")
	}
}
