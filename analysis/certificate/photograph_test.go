package certificate

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"image"
	"image/jpeg"
	"strings"
	"testing"

	"proofpot/analysis/certificate/photographs"
)

// shown are a photograph and one that is not there.
func shown(t *testing.T, s scene) []Shown {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 400, 300)), nil); err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(b.Bytes())
	p := photographs.Photograph{Time: s.r.Stages[2].Start, Path: "photos/20261201T231500Z-0a0b0c0d.jpg", SHA256: hex.EncodeToString(sum[:]), Words: "lid <b>with</b> a hair"}
	one := Shown{Photograph: p}
	one.JPEG, one.Width, one.Height, one.Why = p.Small(b.Bytes())
	p.Words = ""
	return []Shown{one, {Photograph: p, Why: ErrMissing}}
}

func TestPhotographsStandOnPageAndPaperWithWhatWasSaidOfThem(t *testing.T) {
	s := sceneMakers["burst"](t)
	for _, c := range []struct {
		o                  Options
		heading, not, none string
	}{{options(), "Photographs", "Not shown: it is missing.", "photograph (photos/"}, {german(), "Fotografien", "Nicht gezeigt: sie fehlt.", "Fotografie (photos/"}} {
		c.o.Photographs = shown(t, s)
		document := written(t, s.run, s.r, c.o)
		text := section(t, document, c.heading)
		for _, want := range []string{"lid <b>with</b> a hair (photos/20261201T231500Z-0a0b0c0d.jpg, SHA-256 ", c.not, c.none} {
			if !strings.Contains(text, want) {
				t.Errorf("%q is not in %s", want, text)
			}
		}
		if strings.Count(document, `<img src="data:image/jpeg;base64,/9j/`) != 1 || !strings.Contains(document, "; img-src data:\"") {
			t.Error("the page does not show one photograph, or may not")
		}
		var pdf, again bytes.Buffer
		for _, out := range []*bytes.Buffer{&pdf, &again} {
			if err := WritePDF(out, s.run, s.r, c.o); err != nil {
				t.Fatal(err)
			}
		}
		if !bytes.Equal(pdf.Bytes(), again.Bytes()) {
			t.Error("two documents differ")
		}
		file := onDisk(t, pdf.Bytes())
		if list := ask(t, "pdfimages", "-list", file); strings.Count(list, "jpeg") != 1 || !strings.Contains(list, "400   300") {
			t.Errorf("images on paper:\n%s", list)
		}
		if paper := ask(t, "pdftotext", file, "-"); !strings.Contains(dense(paper), dense(c.not)) {
			t.Errorf("%q is not on paper", c.not)
		}
	}
	if document := written(t, s.run, s.r, options()); strings.Contains(document, "img-src") || strings.Contains(document, ">Photographs<") {
		t.Error("photographs where there are none")
	}
}

func TestOfManyPhotographsSixAreShownAndTheOthersCounted(t *testing.T) {
	s := sceneMakers["burst"](t)
	o := options()
	for range 9 {
		o.Photographs = append(o.Photographs, shown(t, s)[0])
	}
	document := written(t, s.run, s.r, o)
	if n := strings.Count(document, "<img "); n != 6 || !strings.Contains(section(t, document, "Photographs"), "and 3 more in the record") {
		t.Errorf("%d are shown", n)
	}
}
