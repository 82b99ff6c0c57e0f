package certificate

import (
	"bytes"
	"path/filepath"
	"strings"
	"testing"

	"proofpot/analysis"
)

// TestTheLabelSaysTheRatedDepthOrNotToDive reads text and code of a label back
// with poppler and zbar.
func TestTheLabelSaysTheRatedDepthOrNotToDive(t *testing.T) {
	for name, make := range sceneMakers {
		s := make(t)
		var pdf, again, svg bytes.Buffer
		if err := WriteLabelPDF(&pdf, s.run, s.r, options()); err != nil {
			t.Fatal(err)
		}
		if err := WriteLabel(&svg, s.run, s.r, options()); err != nil {
			t.Fatal(err)
		}
		if err := WriteLabelPDF(&again, s.run, s.r, options()); err != nil || !bytes.Equal(pdf.Bytes(), again.Bytes()) {
			t.Errorf("%s: two labels differ (%v)", name, err)
		}
		wellFormed(t, svg.String())
		file := onDisk(t, pdf.Bytes())
		text := ask(t, "pdftotext", file, "-")
		passed := s.r.Verdict.Verdict == analysis.Pass
		if strings.Contains(text, "DO NOT DIVE") == passed || !strings.Contains(text, s.r.Verdict.Unit) {
			t.Errorf("%s: the label of a %s reads\n%s", name, s.r.Verdict.Verdict, text)
		}
		if info := ask(t, "pdfinfo", file); !strings.Contains(info, "175.75 x 82.2 pts") { // 62 mm × 29 mm
			t.Errorf("%s: %s", name, info)
		}
		picture := filepath.Join(filepath.Dir(file), "label")
		ask(t, "pdftoppm", "-r", "300", "-singlefile", "-png", file, picture)
		got := strings.TrimSpace(ask(t, "zbarimg", "--quiet", "--raw", "-Sdisable", "-Sqrcode.enable", picture+".png"))
		if got != englishPen.codeText(s.run, s.r, options()) {
			t.Errorf("%s: scanned %q", name, got)
		}
	}
}
