package certificate

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"html"
	"math"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"proofpot/analysis"
	"proofpot/analysis/certificate/units"
	"proofpot/analysis/statistics"
)

func TestEveryVerdictSaysItInWordsAndShape(t *testing.T) {
	for name, want := range map[string][3]string{
		"pass with nothing measured inside": {"Pressure test certificate", "Pass", "#mark-pass"},
		"burst":                             {"Pressure test report", "Fail: do not dive", "#mark-fail"},
		"inconclusive":                      {"Pressure test report", "Inconclusive: not a pass", "#mark-doubt"},
	} {
		s := sceneMakers[name](t)
		document := written(t, s.run, s.r, options())
		verdict, _, _ := strings.Cut(document[strings.Index(document, `<section class="verdict`):], "</section>")
		if !strings.Contains(document, "<h1>"+want[0]+"</h1>") || !strings.Contains(plain(verdict), want[1]) || !strings.Contains(verdict, want[2]) {
			t.Errorf("%s: want %q in words and shape, got %s", name, want, plain(verdict))
		}
	}
}

func TestOnlyAPassHasARatedDepth(t *testing.T) {
	for name, make := range sceneMakers {
		s := make(t)
		text := plain(written(t, s.run, s.r, options()))
		rated := strings.Contains(text, "Rated depth none")
		if pass := s.r.Verdict.Verdict == analysis.Pass; rated == pass {
			t.Errorf("%s: verdict %s, and 'no rated depth' is %v", name, s.r.Verdict.Verdict, rated)
		}
	}
}

func TestAVerdictThatIsNotKnownIsADoubt(t *testing.T) {
	s := sceneMakers["pass with nothing measured inside"](t)
	for _, verdict := range []string{"", "PASS", "passed", "ok"} {
		s.r.Verdict.Verdict = verdict
		if text := plain(written(t, s.run, s.r, options())); !strings.Contains(text, "Inconclusive: not a pass") {
			t.Errorf("verdict %q is printed as something else than a doubt", verdict)
		}
	}
}

func TestAPassThatContradictsItselfIsNotPrinted(t *testing.T) {
	for name, spoil := range map[string]func(v *analysis.Verdict){
		"first failure": func(v *analysis.Verdict) { v.FirstFailure = &analysis.FirstFailure{} },
		"broken chain":  func(v *analysis.Verdict) { v.Integrity = analysis.Integrity{Chained: true} },
		"damaged lines": func(v *analysis.Verdict) { v.Integrity = analysis.Integrity{} },
		"no holds":      func(v *analysis.Verdict) { v.Holds = nil },
		"failed hold":   func(v *analysis.Verdict) { v.Holds[1].Verdict = analysis.Fail },
		"no depth":      func(v *analysis.Verdict) { v.ProvedDepthM = 0 },
		"NaN depth":     func(v *analysis.Verdict) { v.ProvedDepthM = math.NaN() },
		"deeper rating": func(v *analysis.Verdict) { v.RatedDepthM = v.ProvedDepthM + 0.1 },
		"NaN rating":    func(v *analysis.Verdict) { v.RatedDepthM = math.NaN() },
	} {
		s := sceneMakers["pass with nothing measured inside"](t)
		spoil(&s.r.Verdict)
		var out bytes.Buffer
		if err := Write(&out, s.run, s.r, options()); !errors.Is(err, ErrContradiction) || out.Len() > 0 {
			t.Errorf("%s: error %v after %d bytes, want ErrContradiction and none", name, err, out.Len())
		}
	}
}

func TestWrongOptionsAreRefused(t *testing.T) {
	s := sceneMakers["seep"](t)
	for want, change := range map[string]func(o *Options){
		`unknown unit of depth "fathom": want m or ft`:            func(o *Options) { o.Depth = "fathom" },
		`unknown unit of pressure "atm": want bar, psi or kPa`:    func(o *Options) { o.Pressure = "atm" },
		`fingerprint "308a" is not 64 hex digits`:                 func(o *Options) { o.SHA256 = "308a" },
		`fingerprint "` + strings.Repeat("x", 64) + `" is not 64`: func(o *Options) { o.SHA256 = strings.Repeat("x", 64) },
	} {
		o := options()
		change(&o)
		var out bytes.Buffer
		if err := Write(&out, s.run, s.r, o); err == nil || !strings.Contains(err.Error(), want) || out.Len() > 0 {
			t.Errorf("got %v after %d bytes, want %q", err, out.Len(), want)
		}
	}
}

func TestTheTableOfStagesAgreesWithTheResult(t *testing.T) {
	for name, make := range sceneMakers {
		s := make(t)
		table := rows(t, written(t, s.run, s.r, options()), "Result of each stage")
		table = slices.DeleteFunc(table, func(row []string) bool { return len(row) != 9 })
		if len(table) != len(s.r.Verdict.Holds)+1 {
			t.Fatalf("%s: %d rows for %d holds", name, len(table)-1, len(s.r.Verdict.Holds))
		}
		for i, h := range s.r.Verdict.Holds {
			cells := table[i+1]
			target := stageAt(s.r, "hold", h.Stage).TargetPa
			want := []string{
				fmt.Sprint(h.Stage, " ", h.Name), fmt.Sprintf("%.1f m", h.DepthM),
				fmt.Sprintf("%.3f bar", target/1e5), fmt.Sprintf("%.3f bar", (target-s.run.Bench.RoomPa)/1e5),
			}
			if !slices.Equal(cells[:4], want) {
				t.Errorf("%s, hold %d: %q, want %q", name, i, cells[:4], want)
			}
			if cells[8] != h.Verdict {
				t.Errorf("%s, hold %d: verdict %q, want %q", name, i, cells[8], h.Verdict)
			}
			checkInterval(t, cells[5], h.LeakMLPerH)
			checkInterval(t, cells[7], h.MoistureMGPerH)
		}
	}
}

// checkInterval wants a printed interval to hold the true one, within its rounding.
func checkInterval(t *testing.T, printed string, q *analysis.Interval) {
	t.Helper()
	if q == nil {
		if printed != units.NotMeasured {
			t.Errorf("%q for what was not measured", printed)
		}
		return
	}
	var estimate, low, high float64
	if _, err := fmt.Sscanf(strings.ReplaceAll(printed, "−", "-"), "%f (%f to %f)", &estimate, &low, &high); err != nil {
		t.Fatalf("%q: %v", printed, err)
	}
	room := 0.005*math.Max(math.Abs(q.Low), math.Abs(q.High)) + 0.001
	if low > q.Low || high < q.High || low < q.Low-2*room || high > q.High+2*room || math.Abs(estimate-q.Estimate) > room {
		t.Errorf("%q for %+v", printed, *q)
	}
}

func TestTheFirstFailureStandsWithItsInterval(t *testing.T) {
	s := sceneMakers["burst"](t)
	text := section(t, written(t, s.run, s.r, options()), "Where it began to fail")
	for _, want := range []string{
		"18.5 m (95 %: 18.4 m to 18.6 m)", "0:18:16 after the start (23:23:22 UTC); 95 %: 23:23:18 UTC to 23:23:26 UTC",
		"Last hold that passed before 10.7 m", "burst . A sudden opening", "step: the pressure in the chamber changed at once",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in: %s", want, text)
		}
	}
}

func TestAFailWithBatteriesAsksForQuarantine(t *testing.T) {
	s := sceneMakers["burst"](t)
	if text := plain(written(t, s.run, s.r, options())); !strings.Contains(text, "Quarantine: take the unit out of doors") {
		t.Error("no quarantine for a flooded unit with cells")
	}
	s.run.Unit.Notes = ""
	text := plain(written(t, s.run, s.r, options()))
	if strings.Contains(text, "mentions batteries") || !strings.Contains(text, "If there are cells or batteries in the unit, treat them as flooded") {
		t.Error("a unit without a word on batteries needs the short caution and not the long one")
	}
}

func TestBatteriesAreFoundInAnyFieldAndFoamIsNot(t *testing.T) {
	for text, want := range map[string]bool{
		"2 x 18650": true, "Li-ion pack": true, "LiPo 3S": true, "battery tube": true, "Batteries: none": true, "4 AA cells": true,
		"closed-cell foam": false, "open cell foam block": false, "PETG, 5 mm": false, "with a load cell": false, "accelerometer": false, "": false,
	} {
		run := sceneMakers["seep"](t).run
		run.Unit.Material = text
		if got := mentionsCells(run.Unit); got != want {
			t.Errorf("%q: %v", text, got)
		}
	}
}

func TestAnInconclusiveTestSaysWhatWouldSettleIt(t *testing.T) {
	s := sceneMakers["inconclusive"](t)
	text := section(t, written(t, s.run, s.r, options()), "What would settle it")
	for _, want := range []string{"a blank run of 30 min at 12 bar", "stage 5"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in: %s", want, text)
		}
	}
	s.r.Explanations, s.r.Verdict.Holds = nil, nil
	if text := section(t, written(t, s.run, s.r, options()), "What would settle it"); len(text) < 40 {
		t.Errorf("nothing would settle it: %q", text)
	}
}

// The bounds of the success-run theorem, R = (1 − C)^(1/n), as tabled in texts on
// reliability demonstration: n = 1: 10 % at 90 %, 50 % at 50 %; 3: 46 %; 5: 63 %;
// 10: 79 %; 22 units for 90 % at 90 %, 45 for 95 % at 90 %, 29 for 90 % at 95 %.
func TestSuccessRunIsThatOfTheTables(t *testing.T) {
	for _, c := range []struct {
		n                int
		confidence, want float64
	}{{1, 0.9, 0.10}, {1, 0.5, 0.50}, {3, 0.9, 0.46}, {5, 0.9, 0.63}, {10, 0.9, 0.79}, {22, 0.9, 0.90}, {45, 0.9, 0.95}, {29, 0.95, 0.90}} {
		if got := statistics.SuccessRun(c.n, c.confidence); math.Abs(got-c.want) > 0.005 {
			t.Errorf("%d units at %g: %.4f, want %.2f", c.n, c.confidence, got, c.want)
		}
	}
	s := sceneMakers["pass with nothing measured inside"](t)
	text := section(t, written(t, s.run, s.r, options()), "What one unit shows")
	if !strings.Contains(text, "10 % at 90 % confidence and 50 % at 50 % confidence") {
		t.Error(text)
	}
}

func TestTheUnitsOfTheReaderAreUsed(t *testing.T) {
	s := sceneMakers["pass with nothing measured inside"](t)
	o := options()
	o.Depth, o.Pressure = units.Foot, units.PoundPerIn
	document := written(t, s.run, s.r, o)
	text := plain(document)
	// 62.5 m is 205.05 ft; 732,410 Pa would be 106.23 psi (NIST SP 811).
	for _, want := range []string{"held to 205.0 ft", " psi absolute"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing", want)
		}
	}
	for _, never := range []string{"bar absolute", "mbar"} {
		if strings.Contains(html.UnescapeString(document), never) {
			t.Errorf("%q in a document in feet and psi", never)
		}
	}
}

func TestWithoutStagesTimesAreThoseOfTheClock(t *testing.T) {
	s := sceneMakers["burst"](t)
	s.r.Stages, s.r.Curves = nil, analysis.Curves{}
	document := written(t, s.run, s.r, options())
	if got := rows(t, document, "Result of each stage")[1][4]; got != "23:07:17 UTC to 23:14:17 UTC" {
		t.Errorf("window %q", got)
	}
	if text := section(t, document, "Where it began to fail"); !strings.Contains(text, "Time 23:23:22 UTC; 95 %") {
		t.Error(text)
	}
}

func TestTheFingerprintIsWhole(t *testing.T) {
	s := sceneMakers["seep"](t)
	text := section(t, written(t, s.run, s.r, options()), "Fingerprint of the record")
	if !strings.Contains(strings.ReplaceAll(text, " ", ""), options().SHA256) {
		t.Error(text)
	}
	o := options()
	o.SHA256 = ""
	if text := section(t, written(t, s.run, s.r, o), "Fingerprint of the record"); !strings.Contains(text, "not computed") {
		t.Error(text)
	}
}

func TestHeadingsGoDownOneLevelAtATime(t *testing.T) {
	heading := regexp.MustCompile(`<h([1-6])`)
	for name, make := range sceneMakers {
		s := make(t)
		document := written(t, s.run, s.r, options())
		level, tops := 0, 0
		for _, h := range heading.FindAllStringSubmatch(document, -1) {
			n := int(h[1][0] - '0')
			if n > level+1 {
				t.Errorf("%s: heading of level %d after %d", name, n, level)
			}
			if level = n; n == 1 {
				tops++
			}
		}
		if tops != 1 {
			t.Errorf("%s: %d headings of level 1", name, tops)
		}
	}
}

func TestEverySectionOfACertificateIsThere(t *testing.T) {
	for name, make := range sceneMakers {
		s := make(t)
		document := written(t, s.run, s.r, options())
		for _, heading := range []string{"Unit and closure", "Claim", "Result of each stage", "Pictures", "Conditions", "Bench",
			"Equipment and calibration", "Plan", "Uncertainty in brief", "Explanations considered", "Record and gaps", "Events and deviations",
			"Limits of validity", "What one unit shows", "Cautions", "Signatures", "Fingerprint of the record"} {
			if len(section(t, document, heading)) < 5 {
				t.Errorf("%s: section %q is empty", name, heading)
			}
		}
	}
}

func TestTablesAndFiguresAreOpenToAScreenReader(t *testing.T) {
	for name, make := range sceneMakers {
		s := make(t)
		document := written(t, s.run, s.r, options())
		if !strings.Contains(document, `<html lang="en">`) {
			t.Errorf("%s: no language", name)
		}
		for _, th := range regexp.MustCompile(`<th[ >][^>]*`).FindAllString(document, -1) {
			if !strings.Contains(th, `scope="`) {
				t.Errorf("%s: header without scope: %s", name, th)
			}
		}
		if a, b := strings.Count(document, "<table"), strings.Count(document, "<caption"); a != b {
			t.Errorf("%s: %d tables, %d captions", name, a, b)
		}
		figures := regexp.MustCompile(`(?s)<figure.*?</figure>`).FindAllString(document, -1)
		if len(figures) < 2 {
			t.Errorf("%s: %d figures", name, len(figures))
		}
		for _, f := range figures {
			if !strings.Contains(f, `role="img"`) || !strings.Contains(f, "<title ") || !strings.Contains(f, "<desc ") || !strings.Contains(f, "<figcaption>") {
				t.Errorf("%s: a figure without role, title, description or caption: %.120s", name, f)
			}
		}
	}
}

func TestPicturesAreXMLAndIdsAreUnique(t *testing.T) {
	for name, make := range sceneMakers {
		s := make(t)
		seen := map[string]bool{}
		document := written(t, s.run, s.r, options())
		for _, svg := range svgPattern.FindAllString(document, -1) {
			for _, id := range wellFormed(t, svg) {
				if seen[id] {
					t.Errorf("%s: id %q twice", name, id)
				}
				seen[id] = true
			}
		}
		for _, ref := range regexp.MustCompile(`aria-labelledby="([^"]*)"`).FindAllStringSubmatch(document, -1) {
			for id := range strings.FieldsSeq(ref[1]) {
				if !seen[id] {
					t.Errorf("%s: nothing has the id %q", name, id)
				}
			}
		}
	}
}

func TestTheDocumentLoadsNothingAndRunsNothing(t *testing.T) {
	for name, make := range sceneMakers {
		s := make(t)
		document := written(t, s.run, s.r, options())
		for _, attribute := range regexp.MustCompile(`\s(src|href|action|style|on[a-z]+)="([^"]*)"`).FindAllStringSubmatch(document, -1) {
			if attribute[1] != "href" || !strings.HasPrefix(attribute[2], "#") {
				t.Errorf("%s: attribute %s", name, attribute[0])
			}
		}
		for _, never := range []string{"<script", "<link", "<img", "<iframe", "url(", "@import"} {
			if strings.Contains(document, never) {
				t.Errorf("%s: %s", name, never)
			}
		}
		for _, address := range regexp.MustCompile(`https?://[^"'\s]*`).FindAllString(document, -1) {
			if address != "http://www.w3.org/2000/svg" { // the name of a namespace, which nothing fetches
				t.Errorf("%s: address %s", name, address)
			}
		}
		style := stylePattern.FindStringSubmatch(document)[1]
		sum := sha256.Sum256([]byte(style))
		policy := html.UnescapeString(regexp.MustCompile(`Content-Security-Policy" content="([^"]*)"`).FindStringSubmatch(document)[1])
		want := "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'"
		if policy != want {
			t.Errorf("%s: policy %q, want %q", name, policy, want)
		}
	}
}

func TestTheSameInputGivesTheSameBytes(t *testing.T) {
	for name, make := range sceneMakers {
		first, second := make(t), make(t)
		if written(t, first.run, first.r, options()) != written(t, second.run, second.r, options()) {
			t.Errorf("%s: two documents differ", name)
		}
	}
}

func TestTwoDocumentsCanBeWrittenAtOnce(t *testing.T) {
	s := sceneMakers["burst"](t)
	want := written(t, s.run, s.r, options())
	var wait sync.WaitGroup
	for range 4 {
		wait.Go(func() {
			var out bytes.Buffer
			if err := Write(&out, s.run, s.r, options()); err != nil || out.String() != want {
				t.Errorf("at once: %v, %d bytes of %d", err, out.Len(), len(want))
			}
		})
	}
	wait.Wait()
}

func TestWritingChangesNothingInTheResult(t *testing.T) {
	s := sceneMakers["hundreds of events"](t)
	s.run.Unit.Notes = "a\ttab"
	s.r.Explanations[0].For = []string{"a\ttab"}
	o := options()
	o.LetterheadLines = []string{"a\ttab"}
	before := fmt.Sprintf("%v %v %v", s.run, *s.r, o)
	written(t, s.run, s.r, o)
	if after := fmt.Sprintf("%v %v %v", s.run, *s.r, o); after != before {
		t.Error("the result or the options were changed")
	}
}

func TestNoWordPromisesMoreThanATestShows(t *testing.T) {
	never := regexp.MustCompile(`(?i)waterproof|certified|guarantee|\bIP6[0-9]|\bIPX|safe distance|NaN|\bInf\b`)
	for name, make := range sceneMakers {
		s := make(t)
		text := plain(written(t, s.run, s.r, options()))
		if found := never.FindString(text); found != "" {
			t.Errorf("%s: %q", name, found)
		}
	}
}

func TestManyEventsAreCountedAndTheWeightyOnesListed(t *testing.T) {
	s := sceneMakers["hundreds of events"](t)
	document := written(t, s.run, s.r, options())
	text := section(t, document, "Events and deviations")
	if want := fmt.Sprintf("%d more events stand in the record", len(s.r.Events)-mostEvents); !strings.Contains(text, want) {
		t.Errorf("%q is missing in: %s", want, text)
	}
	for _, row := range rows(t, document, "Events and deviations")[1:] {
		if row[1] == "note" {
			t.Errorf("a note is listed before all steps and wet probes: %q", row)
		}
	}
}

func TestOfManyHoldsTheWeightyOnesAreListed(t *testing.T) {
	s := sceneMakers["seep"](t)
	var holds []analysis.Hold
	for i := range 200 {
		h := s.r.Verdict.Holds[0]
		h.Stage, h.Verdict = i, analysis.Pass
		h.LeakMLPerH = &analysis.Interval{Estimate: 0.01, Low: 0, High: 0.1 + 0.001*float64(i%7)}
		holds = append(holds, h)
	}
	holds[150].Verdict = analysis.Fail
	holds[77].Verdict, holds[77].LeakMLPerH = analysis.Inconclusive, nil
	s.r.Verdict.Holds = holds
	document := written(t, s.run, s.r, options())
	var stages []string
	for _, row := range rows(t, document, "Result of each stage")[1:] {
		if len(row) == 9 {
			stages = append(stages, row[0])
		}
	}
	if len(stages) != mostHolds || !slices.Contains(stages, "150 shallow") || !slices.Contains(stages, "77 shallow") || !slices.Contains(stages, "6 shallow") || slices.Contains(stages, "7 shallow") {
		t.Errorf("listed: %q", stages)
	}
	if !strings.Contains(plain(document), fmt.Sprintf("%d more holds stand in the record", 200-mostHolds)) {
		t.Error("the holds left out are not counted")
	}
}

func BenchmarkWrite(b *testing.B) {
	s := sceneMakers["burst"](b)
	if full := sharedRecord("HC018"); full != "" {
		s.run, s.r = readRecord(b, full)
		judge(s.run, s.r, 2, analysis.Fail, 800)
		s.r.Verdict.Verdict = analysis.Fail
	}
	var out bytes.Buffer
	for b.Loop() {
		out.Reset()
		if err := Write(&out, s.run, s.r, options()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(out.Len()), "bytes")
}
