package drawing

import (
	"bytes"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"

	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// PNG gives the drawing on white, at so many dots an inch.
func (d *Drawing) PNG(dotsPerInch float64) ([]byte, error) {
	scale := dotsPerInch / 72
	w, h := int(math.Ceil(d.Width*scale)), int(math.Ceil(d.Height*scale))
	p := &pixels{image: image.NewRGBA(image.Rect(0, 0, w, h)), scale: scale, height: d.Height}
	draw.Draw(p.image, p.image.Bounds(), image.White, image.Point{}, draw.Src)
	for _, m := range d.Marks {
		p.mark(m)
	}
	var out bytes.Buffer
	err := png.Encode(&out, p.image)
	return out.Bytes(), err
}

// pixels is a drawing on its way to an image, whose y counts downwards.
type pixels struct {
	image  *image.RGBA
	scale  float64
	height float64
	raster vector.Rasterizer
}

func (p *pixels) at(q Point) (x, y float32) {
	return float32(q.X * p.scale), float32((p.height - q.Y) * p.scale)
}

// fill paints what do outlines. Outlines that overlap must turn the same way.
func (p *pixels) fill(c color.RGBA, do func()) {
	b := p.image.Bounds()
	p.raster.Reset(b.Dx(), b.Dy())
	do()
	p.raster.Draw(p.image, b, image.NewUniform(c), image.Point{})
}

func (p *pixels) polygon(points []Point) {
	for i, q := range points {
		if x, y := p.at(q); i == 0 {
			p.raster.MoveTo(x, y)
		} else {
			p.raster.LineTo(x, y)
		}
	}
	p.raster.ClosePath()
}

func (p *pixels) mark(m Mark) {
	switch m := m.(type) {
	case Line:
		p.line(m.Stroke, m.Points)
	case Area:
		p.fill(m.Fill, func() { p.polygon(m.Points) })
	case Circle:
		round := circle(m.At, m.Radius)
		if m.Fill.A > 0 {
			p.fill(m.Fill, func() { p.polygon(round) })
		}
		if m.Stroke.Width > 0 {
			p.line(m.Stroke, append(round, round[0]))
		}
	case Text:
		p.text(m)
	}
}

// circle is a polygon that no eye tells from a circle of some points.
func circle(at Point, r float64) []Point {
	const corners = 32
	out := make([]Point, corners)
	for i := range out {
		s, c := math.Sincos(2 * math.Pi * float64(i) / corners)
		out[i] = at.moved(r*c, r*s)
	}
	return out
}

// line paints each piece between two points as a bar, and a round joint between bars.
func (p *pixels) line(s Stroke, points []Point) {
	if s.Width <= 0 {
		return
	}
	p.fill(s.Color, func() {
		for _, part := range dashed(points, s.Dashes) {
			for i := 1; i < len(part); i++ {
				a, b := part[i-1], part[i]
				long := math.Hypot(b.X-a.X, b.Y-a.Y)
				if long == 0 {
					continue
				}
				dx, dy := (b.X-a.X)/long*s.Width/2, (b.Y-a.Y)/long*s.Width/2
				p.polygon([]Point{a.moved(dy, -dx), b.moved(dy, -dx), b.moved(-dy, dx), a.moved(-dy, dx)})
				if i > 1 {
					p.polygon(circle(a, s.Width/2))
				}
			}
		}
	})
}

// dashed cuts a line into its dashes.
func dashed(points []Point, dashes []float64) [][]Point {
	whole := 0.0
	for _, d := range dashes {
		whole += d
	}
	if !(whole > 0) || len(points) == 0 {
		return [][]Point{points}
	}
	var all [][]Point
	now := []Point{points[0]}
	dash, left := 0, dashes[0]
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		long, done := math.Hypot(b.X-a.X, b.Y-a.Y), 0.0
		for long-done > left {
			done += left
			at := a.moved((b.X-a.X)*done/long, (b.Y-a.Y)*done/long)
			if dash%2 == 0 {
				all = append(all, append(now, at))
			}
			now = []Point{at}
			dash = (dash + 1) % (len(dashes) + len(dashes)%2*len(dashes))
			left = dashes[dash%len(dashes)]
		}
		left -= long - done
		now = append(now, b)
	}
	if dash%2 == 0 {
		all = append(all, now)
	}
	return all
}

func (p *pixels) text(t Text) {
	f, o, along := face(), t.origin(), 0.0
	size := fixed.Int26_6(math.Round(t.Size * p.scale * 64))
	var b sfnt.Buffer
	p.fill(t.Color, func() {
		for _, r := range t.Words {
			i, err := f.GlyphIndex(&b, r)
			if err != nil {
				continue
			}
			outline, err := f.LoadGlyph(&b, i, size, nil)
			if err == nil {
				p.letter(outline, o, along, t.Up)
			}
			along += t.Size * advance(&b, r)
		}
	})
}

// letter outlines one letter of a text that begins at o, so far along.
func (p *pixels) letter(outline sfnt.Segments, o Point, along float64, up bool) {
	ox, oy := p.at(o)
	shift := float32(along * p.scale)
	at := func(q fixed.Point26_6) (x, y float32) {
		x, y = float32(q.X)/64+shift, float32(q.Y)/64
		if up {
			x, y = y, -x
		}
		return ox + x, oy + y
	}
	for n, s := range outline {
		x, y := at(s.Args[0])
		switch s.Op {
		case sfnt.SegmentOpMoveTo:
			if n > 0 {
				p.raster.ClosePath()
			}
			p.raster.MoveTo(x, y)
		case sfnt.SegmentOpLineTo:
			p.raster.LineTo(x, y)
		case sfnt.SegmentOpQuadTo:
			x1, y1 := at(s.Args[1])
			p.raster.QuadTo(x, y, x1, y1)
		case sfnt.SegmentOpCubeTo:
			x1, y1 := at(s.Args[1])
			x2, y2 := at(s.Args[2])
			p.raster.CubeTo(x, y, x1, y1, x2, y2)
		}
	}
	p.raster.ClosePath()
}
