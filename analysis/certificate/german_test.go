package certificate

import (
	"bytes"
	"fmt"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"proofpot/analysis"
	"proofpot/analysis/certificate/drawing/drawingtest"
	"proofpot/analysis/certificate/plots"
	"proofpot/rig/record"
)

func german() Options {
	o := options()
	o.Language, o.Letterhead, o.LetterheadLines = "de", "Seeakustik-Verein", []string{"Bootshaus, Prüfstand für Kapseln"}
	return o
}

// english finds words that no German text has, nor any name in these tests.
var english = regexp.MustCompile(`(?i)\b(the|of|and|is|with|from|not|which|hold|leak|pressure|unit|stage|depth|none|measured|below|record|test|inside|outside|water)\b|\d\.\d`)

// anonymous takes out of a result what people and the record itself say.
func anonymous(s scene) scene {
	everyString(reflect.ValueOf(&s.run.Unit).Elem(), func(string) string { return "X" })
	s.run.Profile.Name, s.run.Bench.ID = "X", "X"
	for i := range s.run.Bench.Sensors {
		s.run.Bench.Sensors[i].ID, s.run.Bench.Sensors[i].Driver = "X", "X"
	}
	for i := range s.run.Profile.Stages {
		s.run.Profile.Stages[i].Name = "X"
	}
	for i := range s.r.Stages {
		s.r.Stages[i].Name = "X"
	}
	for i := range s.r.Verdict.Holds {
		s.r.Verdict.Holds[i].Name = "X"
	}
	var own []analysis.Event
	for _, e := range s.r.Events {
		if e.Kind == "step" || e.Kind == "wet" || e.Kind == "gap" {
			own = append(own, e)
		}
	}
	s.r.Events = own
	s.r.Verdict.Unit, s.r.Verdict.Record = "X", "X"
	return s
}

// onlyGerman wants no English word in a German document, and its label.
func onlyGerman(t *testing.T, name string, s scene) {
	t.Helper()
	o := german()
	o.Version = "1"
	document := written(t, s.run, s.r, o)
	if !strings.Contains(document, `<html lang="de">`) {
		t.Errorf("%s: no language", name)
	}
	text := stylePattern.ReplaceAllString(document, "")
	text = plain(regexp.MustCompile(`</?svg[^>]*>`).ReplaceAllString(text, "")) // with the words of the pictures
	seen := map[string]bool{}
	for _, at := range english.FindAllStringIndex(text, -1) {
		if word := strings.ToLower(text[at[0]:at[1]]); !seen[word] {
			seen[word] = true
			t.Errorf("%s: …%s…", name, text[max(0, at[0]-80):min(len(text), at[1]+60)])
		}
	}
	label, err := newLabel(s.run, s.r, o)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range label.Texts() {
		if english.MatchString(l.Words) {
			t.Errorf("%s: the label says %q", name, l.Words)
		}
	}
}

// records are those of testdata and of the shared corpus, where that is.
func records(t *testing.T) []string {
	t.Helper()
	var all []string
	for _, root := range []string{"testdata", filepath.Join("..", "..", "..", "shared", "corpus")} {
		found, err := filepath.Glob(filepath.Join(root, "*", record.ReadingsFile))
		if err != nil {
			t.Fatal(err)
		}
		if testing.Short() {
			found = found[:min(len(found), 3)]
		}
		all = append(all, found...)
	}
	return all
}

func TestTheGermanCertificateIsGermanThroughout(t *testing.T) {
	for _, readings := range records(t) {
		s := anonymous(analysed(t, filepath.Dir(readings)))
		s.r.Verdict.Integrity.Gaps = nil
		onlyGerman(t, filepath.Base(filepath.Dir(readings)), s)
	}
	for name, make := range sceneMakers {
		s := anonymous(make(t))
		s.r.Explanations, s.r.Budget, s.r.Verdict.Integrity.Gaps = nil, nil, nil // made up, in words that no analysis says
		s.r.Verdict.Reasons = []string{"a hold leaks more than the limit"}
		for i := range s.r.Verdict.Holds {
			s.r.Verdict.Holds[i].Reasons = nil
		}
		for i := range s.r.Events {
			s.r.Events[i].Text = "probe w1 was wet from its first reading on"
		}
		onlyGerman(t, name, s)
		for _, mode := range []string{analysis.Seep, analysis.Burst, analysis.Collapse, analysis.Reseal, analysis.Damp, "?"} {
			if f := s.r.Verdict.FirstFailure; f != nil {
				f.Mode = mode
				onlyGerman(t, name+", "+mode, s)
			}
		}
	}
	onlyGerman(t, "empty", scene{r: &analysis.Result{}})
}

// TestNoTextOfAPictureOverlapsOrRunsOff looks at every picture of every kind of
// result, of records and made up, on screen and paper, in both languages, with
// names as long as they can be.
func TestNoTextOfAPictureOverlapsOrRunsOff(t *testing.T) {
	look := func(name string, s scene) {
		for i := range s.r.Stages {
			if i%2 == 0 {
				s.r.Stages[i].Name += " of a long and cold night at the lake"
			}
		}
		for i := range s.r.Verdict.Holds {
			if i%2 == 0 {
				s.r.Verdict.Holds[i].Name += " of a long and cold night at the lake"
			}
		}
		s.r.Verdict.Unit = strings.Repeat("KP-01 hydrophone pod ", 6)
		for _, o := range []Options{options(), german(), {Depth: "ft", Pressure: "psi"}, {Pressure: "kPa", Language: "de"}} {
			if f := s.r.Verdict.FirstFailure; f != nil {
				o.Chamber, o.Inside = s.r.Curves.ChamberPa, s.r.Curves.InsidePa
			}
			for what, in := range map[string]sizes{"screen": {plots.Wide, plots.Half, plots.Strip}, "paper": paperSizes} {
				page, err := compose(s.run, s.r, o, in)
				if err != nil {
					t.Fatal(err)
				}
				for _, f := range page.Figures {
					for _, bad := range drawingtest.Untidy(f.Picture.Drawing) {
						t.Errorf("%s, %s, %s on %s: %s", name, o.Language, f.Picture.ID, what, bad)
					}
				}
			}
			label, err := newLabel(s.run, s.r, o)
			if err != nil {
				t.Fatal(err)
			}
			for _, bad := range drawingtest.Untidy(label.Drawing) {
				t.Errorf("%s, %s, label: %s", name, o.Language, bad)
			}
			for _, l := range label.Texts() {
				if code := label.Width - label.Height; l.Box().Right > code+10 { // its quiet zone
					t.Errorf("%s, %s, label: %q runs into the code", name, o.Language, l.Words)
				}
			}
		}
	}
	for name, make := range sceneMakers {
		look(name, make(t))
	}
	for _, readings := range records(t) {
		look(filepath.Base(filepath.Dir(readings)), analysed(t, filepath.Dir(readings)))
	}
}

func TestTheGermanPaperHasItsUmlautsLanguageAndPageCount(t *testing.T) {
	for name, make := range sceneMakers {
		s := make(t)
		var pdf, again bytes.Buffer
		for _, out := range []*bytes.Buffer{&pdf, &again} {
			if err := WritePDF(out, s.run, s.r, german()); err != nil {
				t.Fatal(err)
			}
		}
		if !bytes.Equal(pdf.Bytes(), again.Bytes()) {
			t.Errorf("%s: two documents differ", name)
		}
		if !bytes.Contains(pdf.Bytes(), []byte("/Lang (de)")) || LanguageOf(pdf.Bytes()) != "de" {
			t.Errorf("%s: the language is not stated", name)
		}
		file := onDisk(t, pdf.Bytes())
		text := ask(t, "pdftotext", "-raw", file, "-")
		for _, want := range []string{"Prüfstand für Kapseln", "Messmittel und Kalibrierung", "Grenzen der Gültigkeit", "Verschlossen von, Datum", "Seite 1 von "} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: %q is not on paper", name, want)
			}
		}
		if info := ask(t, "pdfinfo", file); !strings.Contains(info, "einer Druckprüfung: Prüfling") {
			t.Errorf("%s: %s", name, info)
		}
	}
}

// TestTheGermanLabelSaysTheDepthOrNotToDive reads it back with poppler.
func TestTheGermanLabelSaysTheDepthOrNotToDive(t *testing.T) {
	for name, make := range sceneMakers {
		s := make(t)
		var pdf bytes.Buffer
		if err := WriteLabelPDF(&pdf, s.run, s.r, german()); err != nil {
			t.Fatal(err)
		}
		text := ask(t, "pdftotext", onDisk(t, pdf.Bytes()), "-")
		if strings.Contains(text, "NICHT TAUCHEN") == (s.r.Verdict.Verdict == analysis.Pass) {
			t.Errorf("%s: the label of a %s reads\n%s", name, s.r.Verdict.Verdict, text)
		}
		if s.r.Verdict.Verdict == analysis.Pass && !strings.Contains(text, strings.Replace(fmt.Sprintf("%.1f m", s.r.Verdict.RatedDepthM), ".", ",", 1)) {
			t.Errorf("%s: %s", name, text)
		}
	}
}

func TestACheckThatProvesNoDepthHasALabelWithoutOne(t *testing.T) {
	s := sceneMakers["pass with nothing measured inside"](t)
	s.r.Verdict.ProvedDepthM, s.r.Verdict.RatedDepthM = 0, 0
	for i := range s.run.Profile.Stages {
		s.run.Profile.Stages[i].DepthM = 0
	}
	label, err := newLabel(s.run, s.r, options())
	if err != nil {
		t.Fatal(err)
	}
	if words := fmt.Sprint(label.Texts()); !strings.Contains(words, "NOT RATED") || strings.Contains(words, "0.0 m") {
		t.Error(words)
	}
}

func TestACertificateOnLetterPaper(t *testing.T) {
	s := sceneMakers["burst"](t)
	o := options()
	o.Paper = "letter"
	var pdf bytes.Buffer
	if err := WritePDF(&pdf, s.run, s.r, o); err != nil {
		t.Fatal(err)
	}
	if info := ask(t, "pdfinfo", onDisk(t, pdf.Bytes())); !strings.Contains(info, "612 x 792 pts (letter)") {
		t.Error(info)
	}
	if document := written(t, s.run, s.r, o); !strings.Contains(document, "@page { size: letter;") {
		t.Error("the page is of another size")
	}
	o.Paper = "foolscap"
	if err := WritePDF(&pdf, s.run, s.r, o); err == nil || !strings.Contains(err.Error(), `unknown paper "foolscap": want A4 or letter`) {
		t.Error(err)
	}
}
