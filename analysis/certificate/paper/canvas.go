package paper

import (
	"image"
	"image/color"
	"math"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font"
	plotfont "gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// Picture prints a drawing of width × height points, scaled down to the width
// there is.
func (p *Paper) Picture(width, height float64, draw func(vg.Canvas) error) error {
	scale := min(1, p.width/width)
	p.page(height * scale)
	top := p.y
	p.y += height * scale
	if p.dry {
		return nil
	}
	c := &canvas{doc: p.doc, at: []frame{{a: scale, d: -scale, e: p.left, f: top + height*scale}}}
	err := draw(c)
	p.doc.SetDashPattern(nil, 0)
	p.doc.SetFont(family, p.style, p.size)
	return err
}

// frame is an affine map from a drawing to the page, x' = ax + cy + e, y' = bx + dy + f.
type frame struct{ a, b, c, d, e, f float64 }

func (t frame) point(q vg.Point) (x, y float64) {
	px, py := float64(q.X), float64(q.Y)
	return t.a*px + t.c*py + t.e, t.b*px + t.d*py + t.f
}

// then gives the map that first does s and then t.
func (t frame) then(s frame) frame {
	return frame{t.a*s.a + t.c*s.b, t.b*s.a + t.d*s.b, t.a*s.c + t.c*s.d, t.b*s.c + t.d*s.d,
		t.a*s.e + t.c*s.f + t.e, t.b*s.e + t.d*s.f + t.f}
}

// canvas implements vg.Canvas on a page.
type canvas struct {
	doc *fpdf.Fpdf
	at  []frame
}

func (c *canvas) now() *frame { return &c.at[len(c.at)-1] }

func (c *canvas) scale() float64 { t := c.now(); return math.Hypot(t.a, t.b) }

// SetLineWidth implements vg.Canvas.
func (c *canvas) SetLineWidth(w vg.Length) { c.doc.SetLineWidth(float64(w) * c.scale()) }

// SetLineDash implements vg.Canvas.
func (c *canvas) SetLineDash(dashes []vg.Length, offset vg.Length) {
	d := make([]float64, len(dashes))
	for i := range dashes {
		d[i] = float64(dashes[i]) * c.scale()
	}
	c.doc.SetDashPattern(d, float64(offset)*c.scale())
}

// SetColor implements vg.Canvas. Colours of a paper are opaque.
func (c *canvas) SetColor(k color.Color) {
	if k == nil {
		k = color.Black
	}
	r, g, b, _ := k.RGBA()
	c.doc.SetFillColor(int(r>>8), int(g>>8), int(b>>8))
	c.doc.SetDrawColor(int(r>>8), int(g>>8), int(b>>8))
	c.doc.SetTextColor(int(r>>8), int(g>>8), int(b>>8))
}

// Rotate implements vg.Canvas.
func (c *canvas) Rotate(rad float64) {
	s, k := math.Sincos(rad)
	*c.now() = c.now().then(frame{a: k, b: s, c: -s, d: k})
}

// Translate implements vg.Canvas.
func (c *canvas) Translate(q vg.Point) {
	*c.now() = c.now().then(frame{a: 1, d: 1, e: float64(q.X), f: float64(q.Y)})
}

// Scale implements vg.Canvas.
func (c *canvas) Scale(x, y float64) { *c.now() = c.now().then(frame{a: x, d: y}) }

// Push implements vg.Canvas.
func (c *canvas) Push() { c.at = append(c.at, *c.now()) }

// Pop implements vg.Canvas.
func (c *canvas) Pop() { c.at = c.at[:len(c.at)-1] }

// Stroke implements vg.Canvas.
func (c *canvas) Stroke(path vg.Path) { c.path(path, "D") }

// Fill implements vg.Canvas.
func (c *canvas) Fill(path vg.Path) { c.path(path, "F") }

func (c *canvas) path(path vg.Path, style string) {
	if len(path) == 0 {
		return
	}
	for i, step := range path {
		switch step.Type {
		case vg.MoveComp:
			c.doc.MoveTo(c.now().point(step.Pos))
		case vg.LineComp:
			c.doc.LineTo(c.now().point(step.Pos))
		case vg.ArcComp:
			c.arc(step, i > 0)
		case vg.CurveComp:
			x, y := c.now().point(step.Pos)
			x0, y0 := c.now().point(step.Control[0])
			if len(step.Control) == 1 {
				c.doc.CurveTo(x0, y0, x, y)
				continue
			}
			x1, y1 := c.now().point(step.Control[1])
			c.doc.CurveBezierCubicTo(x0, y0, x1, y1, x, y)
		case vg.CloseComp:
			c.doc.ClosePath()
		}
	}
	c.doc.DrawPath(style)
}

// arc draws a part of a circle as cubic curves of at most a quarter turn, whose
// handles are 4/3 tan(θ/4) radii long (common practice).
func (c *canvas) arc(step vg.PathComp, joined bool) {
	r := float64(step.Radius)
	at := func(angle, handle float64) (x, y float64) {
		s, k := math.Sincos(angle)
		return c.now().point(vg.Point{X: step.Pos.X + vg.Length(r*(k-handle*s)), Y: step.Pos.Y + vg.Length(r*(s+handle*k))})
	}
	n := max(1, int(math.Ceil(math.Abs(step.Angle)/(math.Pi/2)-1e-9)))
	turn := step.Angle / float64(n)
	handle := 4.0 / 3 * math.Tan(turn/4)
	x, y := at(step.Start, 0)
	if joined {
		c.doc.LineTo(x, y)
	} else {
		c.doc.MoveTo(x, y)
	}
	for i := range n {
		from := step.Start + float64(i)*turn
		x0, y0 := at(from, handle)
		x1, y1 := at(from+turn, -handle)
		x, y = at(from+turn, 0)
		c.doc.CurveBezierCubicTo(x0, y0, x1, y1, x, y)
	}
}

// FillString implements vg.Canvas.
func (c *canvas) FillString(f plotfont.Face, q vg.Point, text string) {
	style := ""
	if f.Font.Weight == font.WeightBold {
		style = "B"
	}
	c.doc.SetFont(family, style, float64(f.Font.Size)*c.scale())
	x, y := c.now().point(q)
	t := c.now()
	turned := math.Atan2(-t.b, t.a) * 180 / math.Pi
	if math.Abs(turned) < 1e-9 {
		c.doc.Text(x, y, printable(text))
		return
	}
	c.doc.TransformBegin()
	c.doc.TransformRotate(turned, x, y)
	c.doc.Text(x, y, printable(text))
	c.doc.TransformEnd()
}

// DrawImage implements vg.Canvas; the drawings of a paper hold none.
func (c *canvas) DrawImage(vg.Rectangle, image.Image) {}
