package certificate

import (
	"bytes"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"proofpot/analysis"
)

func printed(t testing.TB, s scene) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := WritePDF(&out, s.run, s.r, options()); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// ask runs one of poppler's tools, or zbar's, on a file and gives what it says.
// Without the tools there is nothing independent to ask; CI has them.
func ask(t testing.TB, tool string, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath(tool); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatalf("%s is not here; .ci/run installs it", tool)
		}
		t.Skipf("%s is not here (Debian: poppler-utils, zbar-tools)", tool)
	}
	out, err := exec.Command(tool, args...).Output()
	if err != nil {
		t.Fatalf("%s %v: %v", tool, args, err)
	}
	return string(out)
}

func onDisk(t testing.TB, pdf []byte) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "certificate.pdf")
	if err := os.WriteFile(file, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

// dense is text without its spaces and in small letters: both a page is free to
// set anew.
func dense(text string) string {
	return strings.ToLower(strings.Join(strings.Fields(text), ""))
}

// TestThePDFSaysWhatTheScreenSays looks for every text of the common content,
// the names of tables and figures too, in what poppler reads back.
func TestThePDFSaysWhatTheScreenSays(t *testing.T) {
	for name, make := range sceneMakers {
		s := make(t)
		page, err := compose(s.run, s.r, options(), paperSizes)
		if err != nil {
			t.Fatal(err)
		}
		text := ask(t, "pdftotext", "-raw", onDisk(t, printed(t, s)), "-")
		found := dense(text)
		// Two columns interleave the lines of long texts, so those are looked for word by word.
		words := map[string]bool{}
		for _, w := range strings.Fields(text) {
			words[strings.Trim(w, ".,;:()")] = true
		}
		missing := 0
		look := func(want string) {
			if want = strings.TrimSpace(want); want == "" || strings.Contains(found, dense(want)) {
				return
			}
			for _, w := range strings.Fields(want) {
				if w = strings.Trim(w, ".,;:()"); w != "" && !words[w] && !strings.Contains(found, w) {
					missing++
					t.Errorf("%s: %q of %q is not on paper", name, w, want)
					return
				}
			}
		}
		page.Figures, page.Style, page.Policy, page.Code = nil, "", "", figure{}
		everyString(reflect.ValueOf(page), func(old string) string { look(strings.ToValidUTF8(old, "")); return old })
		if missing > 5 {
			t.Fatalf("%s: read was\n%.2000s", name, text)
		}
	}
}

func TestThePDFHasItsTitleLanguageAndFonts(t *testing.T) {
	s := sceneMakers["burst"](t)
	file := onDisk(t, printed(t, s))
	info := ask(t, "pdfinfo", file)
	for _, want := range []string{"Pressure test report: unit", "proofpot 0.1", "A4", "Sat Nov 28"} {
		if !strings.Contains(info, want) {
			t.Errorf("%q is not in\n%s", want, info)
		}
	}
	fonts := strings.Split(strings.TrimSpace(ask(t, "pdffonts", file)), "\n")
	for _, f := range fonts[2:] { // emb and uni: in the file, and readable as text
		if !regexp.MustCompile(`yes\s+(yes|no)\s+yes`).MatchString(f) {
			t.Errorf("a font is not carried whole: %s", f)
		}
	}
	if !bytes.Contains(printed(t, s), []byte("/Lang (en)")) {
		t.Error("the language is not stated")
	}
	if !bytes.Contains(printed(t, s), []byte("/Outlines")) {
		t.Error("there is no outline to go by")
	}
}

func TestAUsualCertificateTakesTwoSheets(t *testing.T) {
	for name, make := range sceneMakers {
		if name == "hundreds of events" {
			continue
		}
		info := ask(t, "pdfinfo", onDisk(t, printed(t, make(t))))
		n, err := strconv.Atoi(strings.TrimSpace(regexp.MustCompile(`Pages:\s+(\d+)`).FindStringSubmatch(info)[1]))
		most := 2
		if make(t).r.Verdict.Verdict == analysis.Fail {
			most = 3 // with what to look for and to try
		}
		if err != nil || n > most {
			t.Errorf("%s takes %d sheets (%v)", name, n, err)
		}
	}
}

// TestTheCodeOnPaperCanBeScanned reads the code back from a rendered page with
// an independent reader (zbar).
func TestTheCodeOnPaperCanBeScanned(t *testing.T) {
	s := sceneMakers["burst"](t)
	file := onDisk(t, printed(t, s))
	picture := filepath.Join(filepath.Dir(file), "page")
	ask(t, "pdftoppm", "-r", "150", "-f", "1", "-l", "1", "-singlefile", "-png", file, picture)
	got := strings.TrimSpace(ask(t, "zbarimg", "--quiet", "--raw", "-Sdisable", "-Sqrcode.enable", picture+".png"))
	if want := englishPen.codeText(s.run, s.r, options()); got != want {
		t.Errorf("scanned\n%s\nwant\n%s", got, want)
	}
	for _, want := range []string{"not passed", options().SHA256, "unit "} {
		if !strings.Contains(got, want) {
			t.Errorf("the code does not say %q", want)
		}
	}
}

func TestTheSameInputGivesTheSamePDF(t *testing.T) {
	for name, make := range sceneMakers {
		if !bytes.Equal(printed(t, make(t)), printed(t, make(t))) {
			t.Errorf("%s: two documents differ", name)
		}
	}
}

func TestAPassThatContradictsItselfIsNotPrintedOnPaperEither(t *testing.T) {
	s := sceneMakers["burst"](t)
	s.r.Verdict.Verdict = analysis.Pass
	var out bytes.Buffer
	if err := WritePDF(&out, s.run, s.r, options()); err == nil || out.Len() > 0 {
		t.Errorf("printed %d bytes, %v", out.Len(), err)
	}
}

// TestNothingMeasuredAndAnyScriptCanBePrinted: numbers that are not there, and
// letters that the fonts lack, which become question marks and do not vanish.
func TestNothingMeasuredAndAnyScriptCanBePrinted(t *testing.T) {
	s := sceneMakers["hundreds of events"](t)
	everyNumber(reflect.ValueOf(s.r).Elem(), math.NaN, func() bool { return false })
	s.run.Unit.Notes = "深い — 𝛑 🫧 Ωμέγα"
	s.run.Unit.Seals = strings.Repeat("unbroken", 60)
	text := ask(t, "pdftotext", onDisk(t, printed(t, s)), "-")
	if !strings.Contains(text, "Ωμέγα") || !strings.Contains(text, "??") {
		t.Errorf("the note reads %.200q", text[max(0, strings.Index(text, "Notes")):])
	}
	for _, make := range sceneMakers {
		empty := make(t)
		empty.r = &analysis.Result{}
		printed(t, empty)
	}
}

func BenchmarkWritePDF(b *testing.B) {
	s := sceneMakers["burst"](b)
	for _, o := range []Options{options(), german()} {
		b.Run(o.Language.Tag(), func(b *testing.B) {
			var out bytes.Buffer
			for b.Loop() {
				out.Reset()
				if err := WritePDF(&out, s.run, s.r, o); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(out.Len()), "bytes")
		})
	}
}
