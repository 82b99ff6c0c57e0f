package paper

import (
	"bytes"
	"image/color"

	"codeberg.org/go-pdf/fpdf"

	"proofpot/analysis/certificate/drawing"
)

// Picture prints a drawing, scaled down to the width there is.
func (p *Paper) Picture(d *drawing.Drawing) {
	scale := min(1, p.width/d.Width)
	p.page(d.Height * scale)
	top := p.y
	p.y += d.Height * scale
	if p.dry {
		return
	}
	draw(p.doc, d, p.left, top+d.Height*scale, scale)
	p.doc.SetFont(family, p.style, p.size)
}

// Photograph prints a JPEG of so many pixels, as wide as there is room, at most 150
// points high; its id tells it from others. Nothing is printed where there is none.
func (p *Paper) Photograph(id string, jpeg []byte, width, height int) {
	if len(jpeg) == 0 || width < 1 || height < 1 {
		return
	}
	const most = 150.0
	w := min(p.width, most*float64(width)/float64(height))
	h := w * float64(height) / float64(width)
	p.page(h)
	top := p.y
	p.y += h + 2
	if p.dry {
		return
	}
	kind := fpdf.ImageOptions{ImageType: "JPG"}
	p.doc.RegisterImageOptionsReader(id, kind, bytes.NewReader(jpeg))
	p.doc.ImageOptions(id, p.left, top, w, h, false, kind, 0, "")
}

// draw prints a drawing with its lower left corner at x, y. Its colours are opaque.
func draw(doc *fpdf.Fpdf, d *drawing.Drawing, x, y, scale float64) {
	at := func(p drawing.Point) (float64, float64) { return x + p.X*scale, y - p.Y*scale }
	path := func(points []drawing.Point) {
		for i, p := range points {
			px, py := at(p)
			if i == 0 {
				doc.MoveTo(px, py)
			} else {
				doc.LineTo(px, py)
			}
		}
	}
	stroke := func(s drawing.Stroke) {
		doc.SetDrawColor(rgb(s.Color))
		doc.SetLineWidth(s.Width * scale)
		dashes := make([]float64, len(s.Dashes))
		for i := range dashes {
			dashes[i] = s.Dashes[i] * scale
		}
		doc.SetDashPattern(dashes, 0)
	}
	for _, m := range d.Marks {
		switch m := m.(type) {
		case drawing.Line:
			if len(m.Points) < 2 || m.Stroke.Width <= 0 {
				continue
			}
			stroke(m.Stroke)
			path(m.Points)
			doc.DrawPath("D")
		case drawing.Area:
			doc.SetFillColor(rgb(m.Fill))
			path(m.Points)
			doc.ClosePath()
			doc.DrawPath("F")
		case drawing.Circle:
			px, py := at(m.At)
			if m.Fill.A > 0 {
				doc.SetFillColor(rgb(m.Fill))
				doc.Circle(px, py, m.Radius*scale, "F")
			}
			if m.Stroke.Width > 0 {
				stroke(m.Stroke)
				doc.Circle(px, py, m.Radius*scale, "D")
			}
		case drawing.Text:
			text(doc, m, scale, at)
		}
	}
	doc.SetDashPattern(nil, 0)
}

func text(doc *fpdf.Fpdf, t drawing.Text, scale float64, at func(drawing.Point) (float64, float64)) {
	words := printable(t.Words)
	doc.SetFont(family, "", t.Size*scale)
	doc.SetTextColor(rgb(t.Color))
	x, y := at(t.At)
	back := float64(t.Anchor) * doc.GetStringWidth(words)
	if !t.Up {
		doc.Text(x-back, y, words)
		return
	}
	doc.TransformBegin()
	doc.TransformRotate(90, x, y)
	doc.Text(x-back, y, words)
	doc.TransformEnd()
}

func rgb(c color.RGBA) (r, g, b int) { return int(c.R), int(c.G), int(c.B) }
