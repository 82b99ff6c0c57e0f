package drawing

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image/color"
	"strconv"
)

// fontFamily starts with families of one and the same set of widths, which is
// also the set that texts are measured with, and ends with the generic one.
const fontFamily = "Liberation Sans, Arial, Helvetica, sans-serif"

// SVG gives the drawing as an element that can stand in a page beside others and
// under a strict content security policy: no XML declaration, no style attributes,
// every id under the picture's own, with a title and a description for those who
// cannot see it.
func (d *Drawing) SVG(id, title, description string) []byte {
	s := svg{height: d.Height}
	fmt.Fprintf(&s.out, `<svg width="%spt" height="%spt" viewBox="0 0 %[1]s %[2]s" xmlns="http://www.w3.org/2000/svg" role="img" font-family="%[3]s" aria-labelledby="`,
		short(d.Width), short(d.Height), fontFamily)
	s.text(id + "-title " + id + "-desc")
	s.out.WriteString("\">\n<title id=\"")
	s.text(id + "-title")
	s.out.WriteString(`">`)
	s.text(title)
	s.out.WriteString("</title>\n<desc id=\"")
	s.text(id + "-desc")
	s.out.WriteString(`">`)
	s.text(description)
	s.out.WriteString("</desc>\n")
	for _, m := range d.Marks {
		s.mark(m)
	}
	s.out.WriteString("</svg>\n")
	return s.out.Bytes()
}

// svg is a drawing on its way to SVG, whose y counts downwards.
type svg struct {
	out    bytes.Buffer
	height float64
}

func (s *svg) text(text string) { _ = xml.EscapeText(&s.out, []byte(text)) } // a bytes.Buffer does not fail

func (s *svg) mark(m Mark) {
	switch m := m.(type) {
	case Line:
		if len(m.Points) < 2 || m.Stroke.Width <= 0 {
			return
		}
		s.path(m.Points)
		s.out.WriteString(` fill="none"`)
		s.stroke(m.Stroke)
		s.out.WriteString("></path>\n")
	case Area:
		s.path(m.Points)
		fmt.Fprintf(&s.out, " fill=\"%s\"></path>\n", hex(m.Fill))
	case Circle:
		fmt.Fprintf(&s.out, `<circle cx="%s" cy="%s" r="%s" fill="%s"`, short(m.At.X), short(s.height-m.At.Y), short(m.Radius), hex(m.Fill))
		if m.Stroke.Width > 0 {
			s.stroke(m.Stroke)
		}
		s.out.WriteString("></circle>\n")
	case Text:
		x, y := short(m.At.X), short(s.height-m.At.Y)
		fmt.Fprintf(&s.out, `<text x="%s" y="%s" font-size="%s"`, x, y, short(m.Size))
		switch m.Anchor {
		case Middle:
			s.out.WriteString(` text-anchor="middle"`)
		case End:
			s.out.WriteString(` text-anchor="end"`)
		}
		if m.Up {
			fmt.Fprintf(&s.out, ` transform="rotate(-90 %s %s)"`, x, y)
		}
		if width := Width(m.Size, m.Words); width > 0 && covered(m.Words) { // as wide in any font
			fmt.Fprintf(&s.out, ` textLength="%s" lengthAdjust="spacingAndGlyphs"`, short(width))
		}
		if m.Color != (color.RGBA{A: 0xff}) {
			fmt.Fprintf(&s.out, ` fill="%s"`, hex(m.Color))
		}
		s.out.WriteByte('>')
		s.text(m.Words)
		s.out.WriteString("</text>\n")
	}
}

func (s *svg) path(points []Point) {
	s.out.WriteString(`<path d="`)
	for i, p := range points {
		s.out.WriteByte("ML"[min(i, 1)])
		s.out.WriteString(short(p.X))
		s.out.WriteByte(',')
		s.out.WriteString(short(s.height - p.Y))
	}
	s.out.WriteByte('"')
}

func (s *svg) stroke(k Stroke) {
	fmt.Fprintf(&s.out, ` stroke="%s" stroke-width="%s"`, hex(k.Color), short(k.Width))
	for i, d := range k.Dashes {
		s.out.WriteString([]string{` stroke-dasharray="`, ","}[min(i, 1)])
		s.out.WriteString(short(d))
	}
	if len(k.Dashes) > 0 {
		s.out.WriteByte('"')
	}
}

func hex(c color.RGBA) string {
	if c.A == 0 {
		return "none"
	}
	return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B)
}

// short writes a length to a hundredth of a point.
func short(v float64) string {
	b := strconv.AppendFloat(nil, v, 'f', 2, 64)
	b = bytes.TrimRight(bytes.TrimRight(b, "0"), ".")
	if s := string(b); s != "-0" && s != "" {
		return s
	}
	return "0"
}
