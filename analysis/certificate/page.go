package certificate

import (
	"fmt"
	"html/template"
	"math"
	"reflect"
	"strings"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/certificate/plots"
	"proofpot/analysis/certificate/units"
	"proofpot/profiles"
	"proofpot/rig/setup"
)

// page is everything that the template prints, in the order it is read.
type page struct {
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

func newPage(run setup.Run, r *analysis.Result, opts Options, u units.System) *page {
	v := &r.Verdict
	p := &page{
		Letterhead: opts.Letterhead, LetterheadLines: opts.LetterheadLines,
		Record: named(v.Record), Unit: named(v.Unit), Version: named(opts.Version),
		Started: units.UTC(plots.Start(r)), Made: "time not stated",
	}
	if !opts.Generated.IsZero() {
		p.Made = units.UTC(opts.Generated)
	}
	p.Foot = "unit " + units.Clean(p.Unit, 40) + ", record " + units.Clean(p.Record, 50)
	p.verdict(run, v, u)
	p.Failure = newFailure(r, u)
	if p.Mark == "doubt" {
		p.Settle = settling(r)
	}
	p.sheet(run, r, u)
	p.results(run, r, u)
	p.Causes = causes(r.Explanations)
	p.Budget, p.Combined = budget(r.Budget)
	p.Events, p.More = events(r, plots.Start(r))
	p.integrity(v.Integrity)
	p.words(run, r, u)
	for sum := opts.SHA256; len(sum) >= 8; sum = sum[8:] {
		p.Sum = append(p.Sum, strings.ToLower(sum[:8]))
	}
	return p
}

// verdict says the outcome in one word, one sentence, and its reasons. Whatever
// is neither a pass nor a fail is a doubt.
func (p *page) verdict(run setup.Run, v *analysis.Verdict, u units.System) {
	switch v.Verdict {
	case analysis.Pass:
		p.Title, p.Mark, p.Word = "Pressure test certificate", "pass", "Pass"
		p.Sentence = "This unit, as closed for this test, held to " + u.DepthDown(v.ProvedDepthM) + "."
		if !(v.ProvedDepthM > 0) {
			p.Sentence = "This unit, as closed for this test, passed this check, which proves no depth."
		}
	case analysis.Fail:
		p.Title, p.Mark, p.Word = "Pressure test report", "fail", "Fail: do not dive"
		p.Sentence = "This unit, as closed for this test, did not hold."
		if f := v.FirstFailure; f != nil && finite(f.DepthM) {
			p.Sentence = "This unit, as closed for this test, began to fail at " + u.DepthText(f.DepthM) + "."
		}
	default:
		p.Title, p.Mark, p.Word = "Pressure test report", "doubt", "Inconclusive: not a pass"
		p.Sentence = "The test could not tell whether this unit holds. Do not dive on it."
	}
	p.Reasons = short(v.Reasons, mostList, "reasons")
	p.Rule = decisionRule(run.Profile.Accept)
	p.Depths = []fact{
		{"Proved depth", provedText(v.ProvedDepthM, u)},
		{"Rated depth", "none: the test was not passed"},
	}
	if p.Mark == "pass" && !(v.RatedDepthM > 0) {
		p.Depths[1].Value = "none: this test proves no depth"
	} else if p.Mark == "pass" {
		p.Depths[1].Value = u.DepthDown(v.RatedDepthM) + " (proved depth over the proof factor " + positive(run.Profile.ProofFactor, 2, "") + ", rounded down)"
	}
}

func provedText(m float64, u units.System) string {
	if !(m > 0) {
		return "none: no hold passed"
	}
	return u.DepthDown(m) + " (deepest hold that passed)"
}

// decisionRule says in one sentence what was judged and how.
func decisionRule(accept profiles.Accept) string {
	var limits []string
	if accept.LeakMLPerH > 0 {
		limits = append(limits, "its leak rate lies below "+units.Sized(accept.LeakMLPerH)+" ml/h")
	}
	if accept.MoistureMGPerH > 0 {
		limits = append(limits, "its moisture, where measured, below "+units.Sized(accept.MoistureMGPerH)+" mg/h")
	}
	if accept.InsideRisePa > 0 {
		limits = append(limits, "the rise of the pressure inside by what came in, where measured, below "+units.Sized(accept.InsideRisePa)+" Pa")
	}
	if len(limits) == 0 {
		return "The plan states no limit of acceptance, so nothing could be passed by a limit."
	}
	return "A hold passes only if the upper 95 % bound of " + strings.Join(limits, " and that of ") +
		", with nothing else against it; it fails only if a lower bound lies above its limit or an event proves it; all else is inconclusive, and a doubt is never a pass."
}

// newFailure puts the first failure into words.
func newFailure(r *analysis.Result, u units.System) *failure {
	f := r.Verdict.FirstFailure
	if f == nil {
		return nil
	}
	start := plots.Start(r)
	out := &failure{
		Depth:      u.DepthText(f.DepthM),
		DepthRange: u.DepthDown(f.DepthLowM) + " to " + u.DepthUp(f.DepthHighM),
		Time:       moment(f.Time, start),
		TimeRange:  units.UTCClock(f.TimeLow) + " to " + units.UTCClock(f.TimeHigh),
		LastTight:  "none",
		Mode:       stated(f.Mode),
		Plain:      modeWords(f.Mode),
	}
	if f.LastTightDepthM > 0 && finite(f.LastTightDepthM) {
		out.LastTight = u.DepthDown(f.LastTightDepthM)
	}
	for _, e := range f.Evidence {
		out.Evidence = append(out.Evidence, evidenceWords(e))
	}
	out.Look, out.Try = remedies(f.Mode)
	if len(out.Evidence) == 0 {
		out.Evidence = []string{"not stated"}
	}
	return out
}

// moment writes a time as h:mm:ss since the start with its clock time.
func moment(t, start time.Time) string {
	if t.IsZero() || start.IsZero() {
		return units.UTCClock(t)
	}
	return units.Elapsed(t.Sub(start)) + " after the start (" + units.UTCClock(t) + ")"
}

// since writes a time as h:mm:ss since the start, or as clock time where no
// start is known.
func since(t, start time.Time) string {
	if t.IsZero() || start.IsZero() {
		return units.UTCClock(t)
	}
	return units.Elapsed(t.Sub(start))
}

// stated gives text, or says that the sheet does not state it.
func stated(text string) string {
	if strings.TrimSpace(text) == "" {
		return "not stated"
	}
	return told(text)
}

// told cuts a text of a record to what a page can bear.
func told(text string) string { return units.Clean(text, mostText) }

// named is stated for what should be no longer than a name.
func named(text string) string { return units.Clean(stated(text), mostName) }

// positive writes a number of a sheet with its unit; zero and NaN mean that the
// sheet does not state it.
func positive(v float64, decimals int, unit string) string {
	if !(v > 0) || math.IsInf(v, 0) {
		return "not stated"
	}
	return strings.TrimSpace(units.Number(v, decimals) + " " + unit)
}

// short keeps the first of a long list and says how many it left out.
func short(list []string, most int, what string) []string {
	var out []string
	for _, text := range list[:min(len(list), most)] {
		out = append(out, told(text))
	}
	if left := len(list) - most; left > 0 {
		out = append(out, fmt.Sprintf("and %d more %s in the record", left, what))
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
