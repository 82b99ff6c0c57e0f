package drawing

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image/color"
	"image/png"
	"io"
	"math"
	"testing"

	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
	"pgregory.net/rapid"
)

var red = color.RGBA{0xff, 0, 0, 0xff}

// TestTextIsAsWideAsThePDFSetsIt: fpdf reads the font's tables by itself.
func TestTextIsAsWideAsThePDFSetsIt(t *testing.T) {
	doc := fpdf.New("P", "pt", "A4", "")
	doc.AddUTF8FontFromBytes("f", "", liberationsansregular.TTF)
	doc.AddPage()
	doc.SetFont("f", "", 10)
	for _, text := range []string{"pressure, bar absolute", "Größe ÄÖÜ ß", "−0.05 ± 12 °C", "Ωμέγα Δ", "", "iiiWWW"} {
		if got, want := Width(10, text), doc.GetStringWidth(text); math.Abs(got-want) > 0.02*float64(len(text))/10+1e-9 {
			t.Errorf("%q: %.3f, fpdf %.3f", text, got, want)
		}
	}
}

// TestWhatIsLeftOfALineLiesInTheBoxAndOnTheLine samples each piece of a line.
func TestWhatIsLeftOfALineLiesInTheBoxAndOnTheLine(t *testing.T) {
	in := Box{10, 20, 90, 60}
	inside := func(p Point) bool { return p.X >= 10 && p.X <= 90 && p.Y >= 20 && p.Y <= 60 }
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 8).Draw(rt, "points")
		var line []Point
		for range n {
			line = append(line, Point{rapid.Float64Range(-50, 150).Draw(rt, "x"), rapid.Float64Range(-50, 150).Draw(rt, "y")})
		}
		length := 0.0 // of what lies inside, by walking it
		const steps = 2000
		for i := 1; i < n; i++ {
			a, b := line[i-1], line[i]
			for k := range steps {
				s := (float64(k) + 0.5) / steps
				if inside(Point{a.X + s*(b.X-a.X), a.Y + s*(b.Y-a.Y)}) {
					length += math.Hypot(b.X-a.X, b.Y-a.Y) / steps
				}
			}
		}
		got := 0.0
		for _, part := range Clip(line, in) {
			for i, p := range part {
				if !(Box{p.X, p.Y, p.X, p.Y}).Within(in, 1e-9) {
					rt.Fatalf("%v is outside", p)
				}
				if i > 0 {
					got += math.Hypot(p.X-part[i-1].X, p.Y-part[i-1].Y)
				}
			}
		}
		if math.Abs(got-length) > 1 {
			rt.Fatalf("%.2f points of line are left, want %.2f", got, length)
		}
	})
}

func sample() *Drawing {
	d := &Drawing{Width: 100, Height: 50}
	d.Add(Area{Fill: red, Points: []Point{{10, 10}, {20, 10}, {20, 20}, {10, 20}}},
		Line{Stroke: Stroke{Color: red, Width: 2}, Points: []Point{{30, 5}, {30, 45}}},
		Line{Stroke: Stroke{Color: red, Width: 2, Dashes: []float64{10, 5}}, Points: []Point{{50, 5}, {50, 45}}},
		Circle{At: Point{70, 25}, Radius: 6, Fill: red},
		Circle{At: Point{90, 25}, Radius: 6, Stroke: Stroke{Color: red, Width: 2}},
		Text{At: Point{50, 2}, Anchor: Middle, Size: 4, Color: red, Words: `a "<&>`},
		Text{At: Point{4, 25}, Anchor: Middle, Up: true, Size: 8, Color: red, Words: "IIII"})
	return d
}

// TestEachMarkIsWhereItBelongsInAPNG looks at pixels, y counting from the top.
func TestEachMarkIsWhereItBelongsInAPNG(t *testing.T) {
	data, err := sample().PNG(144)
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil || img.Bounds().Dx() != 200 || img.Bounds().Dy() != 100 {
		t.Fatalf("%v, %v", img.Bounds(), err)
	}
	for _, c := range []struct {
		what string
		x, y float64
		want bool
	}{{"area", 15, 15, true}, {"beside the area", 22, 15, false}, {"line", 30, 25, true}, {"above the line", 30, 48, false},
		{"first dash", 50, 10, true}, {"its gap", 50, 17.5, false}, {"second dash", 50, 25, true}, {"circle", 70, 25, true},
		{"its edge", 70, 32, false}, {"ring", 96, 25, true}, {"within the ring", 90, 25, false}} {
		r, g, b, _ := img.At(int(2*c.x), int(100-2*c.y)).RGBA()
		if got := r>>8 > 200 && g>>8 < 60 && b>>8 < 60; got != c.want {
			t.Errorf("%s: %d %d %d", c.what, r>>8, g>>8, b>>8)
		}
	}
	// The text that runs upwards: ink over its length and nowhere below its baseline.
	box, ink := sample().Texts()[1].Box(), 0
	for x := range 16 {
		for y := range 100 {
			if _, g, _, _ := img.At(x, y).RGBA(); g>>8 < 128 {
				ink++
				if p := (Point{float64(x)/2 + 0.25, 50 - float64(y)/2 - 0.25}); !(Box{p.X, p.Y, p.X, p.Y}).Within(box, 0.6) {
					t.Fatalf("ink at %v, outside %v", p, box)
				}
			}
		}
	}
	if ink < 20 {
		t.Errorf("only %d pixels of ink", ink)
	}
}

func TestAnSVGIsXMLWithItsTitleAndTheSameEachTime(t *testing.T) {
	svg := sample().SVG("x", "a <title>", `"described"`)
	if !bytes.Equal(svg, sample().SVG("x", "a <title>", `"described"`)) {
		t.Error("two differ")
	}
	d, texts, title := xml.NewDecoder(bytes.NewReader(svg)), 0, ""
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if e, ok := token.(xml.StartElement); ok && e.Name.Local == "title" {
			if err := d.DecodeElement(&title, &e); err != nil {
				t.Fatal(err)
			}
		} else if ok && e.Name.Local == "text" {
			texts++
		}
	}
	if texts != 2 || title != "a <title>" {
		t.Errorf("%d texts, title %q", texts, title)
	}
}

func TestNumbersOfAnSVGAreShort(t *testing.T) {
	for v, want := range map[float64]string{1: "1", 10: "10", 0.1: "0.1", 1.005e2: "100.5", -0.001: "0", 1.0 / 3: "0.33", 0: "0", 1200: "1200"} {
		if got := short(v); got != want {
			t.Errorf("%v is written %q, want %q", v, got, want)
		}
	}
}

func TestADrawingOnAnotherIsMoved(t *testing.T) {
	d := &Drawing{Width: 200, Height: 200}
	d.AddAt(sample(), Point{50, 60})
	if at := d.Texts()[0].At; at != (Point{100, 62}) {
		t.Errorf("text at %v", at)
	}
	if at := sample().Texts()[0].At; at != (Point{50, 2}) {
		t.Errorf("the first moved too: %v", at)
	}
}
