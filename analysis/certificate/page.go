package certificate

import (
	"html/template"
	"math"
	"reflect"
	"slices"
	"strings"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/certificate/plots"
	"proofpot/analysis/certificate/units"
	"proofpot/analysis/certificate/words"
	"proofpot/profiles"
	"proofpot/rig/setup"
)

// page is everything that the template prints, in the order it is read.
type page struct {
	Lang   words.Language
	Policy string
	Style  template.CSS
	Foot   string

	Letterhead      string
	LetterheadLines []string
	Title           string
	Record, Unit    string
	Started, Made   string
	Version         string

	Mark     string // pass, fail or doubt: which shape stands beside the verdict
	Word     string // the verdict in one word
	Sentence string // the verdict in one sentence
	Show     string // where it is one, that this is a show on a simulated bench
	Reasons  []string
	Rule     string
	Depths   []fact // proved and rated

	Failure    *failure
	Settle     []string
	Closure    []fact
	Claim      []fact
	Stages     []stageRow
	MoreStages string
	Figures    []figure
	Code       figure // to scan

	Photographs     []photograph
	MorePhotographs string

	Readings   []fact // conditions of the test
	Sensors    []sensorRow
	Bench      []fact
	Plan       []planRow
	PlanNote   string
	Budget     []budgetRow
	Combined   string
	Causes     []cause
	Events     []eventRow
	More       string // events that are not listed
	Whole      []fact // integrity
	Gaps       []string
	Limits     []string
	Single     string
	Cautions   []string
	Quarantine []string // what to do with cells that may be wet
	Sum        []string // fingerprint in groups
}

// fact is a name with its value.
type fact struct{ Name, Value string }

// failure is the first failure in words.
type failure struct {
	Depth, DepthRange, Time, TimeRange, LastTight, Mode, Plain string
	Evidence                                                   []string
	Look, Try                                                  []string // where to look first, and what to try
}

// How long texts and lists from a record may become on paper.
const (
	mostText   = 300  // of one text of a record
	mostProse  = 2000 // of anything
	mostName   = 60
	mostEvents = 18
	mostList   = 10
	mostHolds  = 24
	mostRows   = 24
)

// pen writes in the units and the language of the reader.
type pen struct{ units.System }

// facts puts the names of facts into the reader's language.
func (u pen) facts(list []fact) []fact {
	for i := range list {
		list[i].Name = u.T(list[i].Name)
	}
	return list
}

// each puts texts into the reader's language.
func (u pen) each(list []string) []string {
	out := make([]string, len(list))
	for i, text := range list {
		out[i] = u.T(text)
	}
	return out
}

func newPage(run setup.Run, r *analysis.Result, opts Options, u pen) *page {
	v := &r.Verdict
	p := &page{
		Lang: u.Language, Letterhead: opts.Letterhead, LetterheadLines: opts.LetterheadLines,
		Record: u.named(v.Record), Unit: u.named(v.Unit), Version: u.named(opts.Version),
		Started: u.UTC(plots.Start(r)), Made: u.T("time not stated"),
	}
	if !opts.Generated.IsZero() {
		p.Made = u.F("%s, the end of the record", u.UTC(opts.Generated))
	}
	p.Foot = u.F("unit %s, record %s", units.Clean(p.Unit, 40), units.Clean(p.Record, 50))
	p.verdict(run, v, u)
	p.Failure = u.newFailure(r)
	if p.Mark == "doubt" {
		p.Settle = u.settling(r)
	}
	p.sheet(run, r, u)
	p.results(run, r, u)
	p.Causes = u.causes(r.Explanations)
	p.Budget, p.Combined = u.budget(r.Budget)
	p.Events, p.More = u.events(r, plots.Start(r))
	p.integrity(v.Integrity, u)
	p.words(run, r, u)
	for sum := opts.SHA256; len(sum) >= 8; sum = sum[8:] {
		p.Sum = append(p.Sum, strings.ToLower(sum[:8]))
	}
	return p
}

// verdict says the outcome in one word, one sentence, and its reasons. Whatever
// is neither a pass nor a fail is a doubt.
func (p *page) verdict(run setup.Run, v *analysis.Verdict, u pen) {
	switch v.Verdict {
	case analysis.Pass:
		p.Title, p.Mark, p.Word = u.T("Pressure test certificate"), "pass", u.T("Pass")
		p.Sentence = u.F("This unit, as closed for this test, held to %s.", u.DepthDown(v.ProvedDepthM))
		if !(v.ProvedDepthM > 0) {
			p.Sentence = u.T("This unit, as closed for this test, passed this check, which proves no depth.")
		}
	case analysis.Fail:
		p.Title, p.Mark, p.Word = u.T("Pressure test report"), "fail", u.T("Fail: do not dive")
		p.Sentence = u.T("This unit, as closed for this test, did not hold.")
		if f := v.FirstFailure; f != nil && finite(f.DepthM) {
			p.Sentence = u.F("This unit, as closed for this test, began to fail at %s.", u.DepthText(f.DepthM))
		}
	default:
		p.Title, p.Mark, p.Word = u.T("Pressure test report"), "doubt", u.T("Inconclusive: not a pass")
		p.Sentence = u.T("The test could not tell whether this unit holds. Do not dive on it.")
	}
	if simulated(run) {
		p.Show = u.T("Simulated bench: no unit was tested. This document shows what one looks like.")
	}
	p.Reasons = u.short(v.Reasons, mostList)
	p.Rule = u.decisionRule(run.Profile.Accept)
	p.Depths = u.facts([]fact{
		{"Proved depth", u.provedText(v)},
		{"Rated depth", u.T("none: the test was not passed")},
	})
	if p.Mark == "pass" && !(v.RatedDepthM > 0) {
		p.Depths[1].Value = u.T("none: this test proves no depth")
	} else if p.Mark == "pass" {
		p.Depths[1].Value = u.F("%s (proved depth over the proof factor %s, rounded down)", u.DepthDown(v.RatedDepthM), u.positive(run.Profile.ProofFactor, 2, ""))
	}
}

// simulated says whether a bench was one of equations.
func simulated(run setup.Run) bool {
	return slices.ContainsFunc(run.Bench.Sensors, func(s setup.Sensor) bool { return s.Driver == "simulated" })
}

// provedText says what depth was proved: by a pass alone.
func (u pen) provedText(v *analysis.Verdict) string {
	switch {
	case !(v.ProvedDepthM > 0):
		return u.T("none: no hold passed")
	case v.Verdict != analysis.Pass:
		return u.F("none by this test; its deepest hold that passed stood at %s", u.DepthDown(v.ProvedDepthM))
	}
	return u.F("%s (deepest hold that passed)", u.DepthDown(v.ProvedDepthM))
}

// decisionRule says in one sentence what was judged and how.
func (u pen) decisionRule(accept profiles.Accept) string {
	var limits []string
	if accept.LeakMLPerH > 0 {
		limits = append(limits, u.F("its leak rate lies below %s ml/h", u.Sized(accept.LeakMLPerH)))
	}
	if accept.MoistureMGPerH > 0 {
		limits = append(limits, u.F("its moisture, where measured, below %s mg/h", u.Sized(accept.MoistureMGPerH)))
	}
	if accept.InsideRisePa > 0 {
		limits = append(limits, u.F("the rise of the pressure inside by what came in, where measured, below %s Pa", u.Sized(accept.InsideRisePa)))
	}
	if len(limits) == 0 {
		return u.T("The plan states no limit of acceptance, so nothing could be passed by a limit.")
	}
	return u.F("A hold passes only if the upper 95 %% bound of %s, with nothing else against it; it fails only if a lower bound lies above its limit or an event proves it; all else is inconclusive, and a doubt is never a pass.",
		strings.Join(limits, u.T(" and that of ")))
}

// newFailure puts the first failure into words.
func (u pen) newFailure(r *analysis.Result) *failure {
	f := r.Verdict.FirstFailure
	if f == nil {
		return nil
	}
	start := plots.Start(r)
	out := &failure{
		Depth:      u.DepthText(f.DepthM),
		DepthRange: u.F("%s to %s", u.DepthDown(f.DepthLowM), u.DepthUp(f.DepthHighM)),
		Time:       u.moment(f.Time, start),
		TimeRange:  u.F("%s to %s", u.UTCClock(f.TimeLow), u.UTCClock(f.TimeHigh)),
		LastTight:  u.T("none"),
		Mode:       u.T(u.stated(f.Mode)),
		Plain:      u.modeWords(f.Mode),
	}
	if f.LastTightDepthM > 0 && finite(f.LastTightDepthM) {
		out.LastTight = u.DepthDown(f.LastTightDepthM)
	}
	for _, e := range f.Evidence {
		out.Evidence = append(out.Evidence, u.evidenceWords(e))
	}
	out.Look, out.Try = u.remedies(f.Mode)
	if len(out.Evidence) == 0 {
		out.Evidence = []string{u.T("not stated")}
	}
	return out
}

// moment writes a time as h:mm:ss since the start with its clock time.
func (u pen) moment(t, start time.Time) string {
	if t.IsZero() || start.IsZero() {
		return u.UTCClock(t)
	}
	return u.F("%s after the start (%s)", units.Elapsed(t.Sub(start)), u.UTCClock(t))
}

// since writes a time as h:mm:ss since the start, or as clock time where no
// start is known.
func (u pen) since(t, start time.Time) string {
	if t.IsZero() || start.IsZero() {
		return u.UTCClock(t)
	}
	return units.Elapsed(t.Sub(start))
}

// stated gives text, or says that the sheet does not state it.
func (u pen) stated(text string) string {
	if strings.TrimSpace(text) == "" {
		return u.T("not stated")
	}
	return told(text)
}

// told cuts a text of a record to what a page can bear.
func told(text string) string { return units.Clean(text, mostText) }

// named is stated for what should be no longer than a name.
func (u pen) named(text string) string { return units.Clean(u.stated(text), mostName) }

// positive writes a number of a sheet with its unit; zero and NaN mean that the
// sheet does not state it.
func (u pen) positive(v float64, decimals int, unit string) string {
	if !(v > 0) || math.IsInf(v, 0) {
		return u.T("not stated")
	}
	return strings.TrimSpace(u.Number(v, decimals) + " " + unit)
}

// short keeps the first of a long list and says how many it left out.
func (u pen) short(list []string, most int) []string {
	said := make([]string, len(list))
	for i, text := range list {
		said[i] = told(u.Say(text))
	}
	return u.first(said, most)
}

// first keeps the first of a long list, which is in the reader's language.
func (u pen) first(list []string, most int) []string {
	out := list[:min(len(list), most):min(len(list), most)]
	if left := len(list) - most; left > 0 {
		out = append(out, u.F("and %d more in the record", left))
	}
	return out
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// cleanStrings makes every string below a pointer to a struct fit to print: one
// place that no text of a record gets past.
func cleanStrings(of any) { cleanValue(reflect.ValueOf(of)) }

func cleanValue(v reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			cleanValue(v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			cleanValue(v.Field(i))
		}
	case reflect.Slice:
		own := reflect.MakeSlice(v.Type(), v.Len(), v.Len()) // the page may share its slices with others
		reflect.Copy(own, v)
		v.Set(own)
		for i := range v.Len() {
			cleanValue(v.Index(i))
		}
	case reflect.String:
		v.SetString(units.Clean(v.String(), mostProse))
	}
}
