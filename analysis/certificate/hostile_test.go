package certificate

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"proofpot/analysis"

	"pgregory.net/rapid"
)

// everyString sets every string below a value; those that the certificate
// branches on (kinds, modes, verdicts) too, as a stranger's record may.
func everyString(v reflect.Value, set func(old string) string) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			everyString(v.Elem(), set)
		}
	case reflect.Struct:
		if _, isTime := v.Interface().(time.Time); isTime {
			return
		}
		for i := range v.NumField() {
			everyString(v.Field(i), set)
		}
	case reflect.Slice:
		for i := range v.Len() {
			everyString(v.Index(i), set)
		}
	case reflect.String:
		v.SetString(set(v.String()))
	}
}

func TestAStrangersTextCannotBecomeMarkup(t *testing.T) {
	attacks := []string{
		`<script>alert(1)</script>`,
		`"><img src=x onerror=alert(1)>`,
		`' onload='alert(1)`,
		`</style><script>alert(1)</script>`,
		`</title></desc></svg><script>alert(1)</script>`,
		`]]><svg onload=alert(1)>`,
		"\" } body { display: none } @import \"//x\"; /* \\",
		`{{.Policy}} &lt;b&gt; javascript:alert(1)`,
	}
	for name, make := range sceneMakers {
		for _, attack := range attacks {
			harmless, hostile := make(t), make(t)
			// Kinds and verdicts steer what is shown: keep those, attack the rest.
			steering := map[string]bool{}
			for _, word := range []string{"pass", "fail", "inconclusive", "ramp", "settle", "hold", "vent", "water", "gas", "sea", "en13319",
				"fault", "note", "step", "wet", "run", "seep", "burst"} {
				steering[word] = true
			}
			replace := func(with string) func(string) string {
				return func(old string) string {
					if steering[old] {
						return old
					}
					return with
				}
			}
			for _, one := range []struct {
				s    scene
				text string
			}{{harmless, "harmless"}, {hostile, attack}} {
				everyString(reflect.ValueOf(&one.s.run).Elem(), replace(one.text))
				everyString(reflect.ValueOf(one.s.r).Elem(), replace(one.text))
			}
			o := options()
			wanted := written(t, harmless.run, harmless.r, o)
			o.Letterhead, o.LetterheadLines, o.Version = attack, []string{attack}, attack
			got := written(t, hostile.run, hostile.r, o)
			if a, b := withoutPaths(tags(wanted)), withoutPaths(tags(got)); !slices.Equal(a, b) {
				i := 0
				for i < len(a) && i < len(b) && a[i] == b[i] {
					i++
				}
				t.Errorf("%s: %q changes the structure of the document: %q, want %q", name, attack, b[i:min(i+3, len(b))], a[i:min(i+3, len(a))])
			}
			for _, never := range []string{"<script", "<img", "onerror=alert(1)>", "onload=alert(1)>"} {
				if strings.Contains(got, never) {
					t.Errorf("%s: %q lets %q through", name, attack, never)
				}
			}
			for _, svg := range svgPattern.FindAllString(got, -1) {
				wellFormed(t, svg)
			}
		}
	}
}

// withoutPaths leaves out what the layout of a picture may add or drop when a
// text is longer: strokes, groups and texts.
func withoutPaths(tags []string) []string {
	drawing := regexp.MustCompile(`^/?(path|text|g|use)\b`)
	return slices.DeleteFunc(tags, func(tag string) bool { return drawing.MatchString(tag) })
}

func TestAStrangersWordsForKindsAndVerdictsDoNoHarm(t *testing.T) {
	for name, make := range sceneMakers {
		s := make(t)
		attack := "<script>alert(1)</script>\x00\x1b[31m\u202e\ufffe\xff"
		everyString(reflect.ValueOf(&s.run).Elem(), func(string) string { return attack })
		everyString(reflect.ValueOf(s.r).Elem(), func(string) string { return attack })
		document := written(t, s.run, s.r, options())
		if strings.Contains(document, "<script") || strings.ContainsAny(document, "\x00\x1b\u202e") {
			t.Errorf("%s: text of a record gets through", name)
		}
		for _, svg := range svgPattern.FindAllString(document, -1) {
			wellFormed(t, svg)
		}
	}
}

func TestTextThatHidesOrTurnsIsMadeVisible(t *testing.T) {
	s := sceneMakers["seep"](t)
	s.run.Unit.ID = "KP-01\u202egnissap\u200b"
	if text := plain(written(t, s.run, s.r, options())); !strings.Contains(text, "KP-01\ufffdgnissap\ufffd") {
		t.Error("a character that turns the direction of writing is not marked")
	}
}

// everyNumber sets every floating-point number, and by chance drops pointers,
// slices and times.
func everyNumber(v reflect.Value, number func() float64, drop func() bool) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() && drop() {
			v.Set(reflect.Zero(v.Type()))
		} else if !v.IsNil() {
			everyNumber(v.Elem(), number, drop)
		}
	case reflect.Struct:
		if _, isTime := v.Interface().(time.Time); isTime {
			if drop() {
				v.Set(reflect.Zero(v.Type()))
			}
			return
		}
		for i := range v.NumField() {
			everyNumber(v.Field(i), number, drop)
		}
	case reflect.Slice:
		if drop() {
			v.Set(reflect.Zero(v.Type()))
			return
		}
		for i := range v.Len() {
			everyNumber(v.Index(i), number, drop)
		}
	case reflect.Float64:
		v.SetFloat(number())
	}
}

var notANumber = regexp.MustCompile(`NaN|[+−-]?\bInf\b`)

func TestWhatWasNotMeasuredIsSaidInWords(t *testing.T) {
	for name, make := range sceneMakers {
		for _, number := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 0} {
			s := make(t)
			s.r.Verdict.Verdict = analysis.Inconclusive
			everyNumber(reflect.ValueOf(&s.run).Elem(), func() float64 { return number }, func() bool { return false })
			everyNumber(reflect.ValueOf(s.r).Elem(), func() float64 { return number }, func() bool { return false })
			document := written(t, s.run, s.r, options())
			if found := notANumber.FindString(document); found != "" {
				t.Errorf("%s, all numbers %v: %q is printed", name, number, found)
			}
		}
	}
}

func TestAnEmptyResultIsADocument(t *testing.T) {
	s := scene{r: &analysis.Result{}}
	document := written(t, s.run, s.r, Options{})
	text := plain(document)
	for _, want := range []string{"Inconclusive: not a pass", "not stated", "No hold was measured", "no reading that could be drawn"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing", want)
		}
	}
	if found := notANumber.FindString(document); found != "" {
		t.Errorf("%q is printed", found)
	}
}

func TestNoResultBreaksADocument(t *testing.T) {
	awkward := []float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, -1, 1e-300, 1e300, -1e300, 1e17, 101325, 30}
	rapid.Check(t, func(rt *rapid.T) {
		s := sceneMakers["burst"](t)
		share := rapid.IntRange(0, 20).Draw(rt, "share dropped")
		kinds := rapid.SliceOfNDistinct(rapid.SampledFrom(awkward), 1, 4, rapid.ID).Draw(rt, "numbers")
		dice := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		number := func() float64 { return kinds[dice.IntN(len(kinds))] }
		drop := func() bool { return dice.IntN(100) < share }
		s.r.Curves.ChamberPa = thin(s.r.Curves.ChamberPa, 12)
		s.r.Curves.ChamberFittedPa = thin(s.r.Curves.ChamberFittedPa, 12)
		for _, curve := range []*[]analysis.Point{&s.r.Curves.InsidePa, &s.r.Curves.InsideC, &s.r.Curves.InsideRHPct,
			&s.r.Curves.AbsHumidityGM3, &s.r.Curves.GasC, &s.r.Curves.WaterC} {
			*curve = thin(*curve, 6)
		}
		everyNumber(reflect.ValueOf(&s.run).Elem(), number, drop)
		everyNumber(reflect.ValueOf(s.r).Elem(), number, drop)
		s.r.Verdict.Verdict = rapid.SampledFrom([]string{analysis.Fail, analysis.Inconclusive}).Draw(rt, "verdict")
		document := written(t, s.run, s.r, options())
		if found := notANumber.FindString(document); found != "" {
			at := strings.Index(document, found)
			rt.Fatalf("%q is printed: %s", found, document[max(0, at-150):min(len(document), at+50)])
		}
		for _, svg := range svgPattern.FindAllString(document, -1) {
			wellFormed(t, svg)
		}
	})
}

func TestEveryRecordOfTheSharedCorpusCanBeDrawn(t *testing.T) {
	records, err := filepath.Glob(filepath.Join("..", "..", "..", "shared", "corpus", "*", "readings.lp"))
	if err != nil {
		t.Fatal(err)
	}
	for _, record := range records {
		run, r := readRecord(t, filepath.Dir(record))
		judge(run, r, 99, "", 0)
		r.Verdict.Verdict = analysis.Inconclusive
		document := written(t, run, r, options())
		if found := notANumber.FindString(plain(document)); found != "" {
			t.Errorf("%s: %q is printed", record, found)
		}
		if len(document) > 600_000 {
			t.Errorf("%s: %d bytes", record, len(document))
		}
	}
}

// sharedRecord is the whole record of which testdata holds a thinned one, or "".
func sharedRecord(suffix string) string {
	found, _ := filepath.Glob(filepath.Join("..", "..", "..", "shared", "corpus", "*"+suffix))
	for _, dir := range found {
		if _, err := os.Stat(dir); err == nil {
			return dir
		}
	}
	return ""
}
