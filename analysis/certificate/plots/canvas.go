package plots

import (
	"image/color"
	"math"
	"slices"
	"strings"

	"proofpot/analysis"
	"proofpot/analysis/certificate/drawing"
	"proofpot/analysis/certificate/units"
)

const (
	textSize  = 7.5 * pt
	tickSize  = 7 * pt
	lineStep  = 10 * pt // from one row of text to the next
	tickMark  = 3 * pt
	labelRoom = 200 // runes of a record's text that are ever drawn
)

// figure is a picture in the making.
type figure struct {
	*drawing.Drawing
	u units.System
}

func newFigure(size Size, u units.System) *figure {
	return &figure{&drawing.Drawing{Width: size.Width, Height: size.Height}, u}
}

// picture ends the drawing.
func (f *figure) picture(id, title, description string) (*Picture, error) {
	return &Picture{ID: id, Title: f.u.T(title), Description: description, Drawing: f.Drawing}, nil
}

// foot is where a text stands to its point: how far its baseline lies above it, as
// a share of its size.
type foot float64

const (
	above  foot = 0.1
	beside foot = -drawing.CapHeight / 2
	below  foot = -1.02
)

// textStyle is the look of a text.
type textStyle struct {
	size   float64
	color  color.RGBA
	anchor drawing.Anchor
	foot   foot
	up     bool // runs upwards
}

func style(size float64, c color.RGBA, a drawing.Anchor, y foot) textStyle {
	return textStyle{size: size, color: c, anchor: a, foot: y}
}

// write puts text at a point. Every text of a picture goes through here.
func (f *figure) write(s textStyle, x, y float64, label string) {
	shift := float64(s.foot) * s.size
	t := drawing.Text{At: drawing.Point{X: x, Y: y + shift}, Anchor: s.anchor, Up: s.up, Size: s.size, Color: s.color, Words: units.Clean(label, labelRoom)}
	if s.up {
		t.At = drawing.Point{X: x - shift, Y: y}
	}
	f.Add(t)
}

func (f *figure) textWidth(size float64, label string) float64 {
	return drawing.Width(size, units.Clean(label, labelRoom))
}

func (f *figure) line(style drawing.Stroke, x0, y0, x1, y1 float64) {
	f.Add(drawing.Line{Stroke: style, Points: []drawing.Point{{X: x0, Y: y0}, {X: x1, Y: y1}}})
}

func (f *figure) box(fill color.RGBA, x0, y0, x1, y1 float64) {
	f.Add(drawing.Area{Fill: fill, Points: corners(x0, y0, x1, y1)})
}

func (f *figure) outline(x0, y0, x1, y1 float64) {
	c := corners(x0, y0, x1, y1)
	f.Add(drawing.Line{Stroke: frameStroke, Points: append(c, c[0])})
}

func corners(x0, y0, x1, y1 float64) []drawing.Point {
	return []drawing.Point{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}
}

func stroke(c color.RGBA, width float64, dashes ...float64) drawing.Stroke {
	return drawing.Stroke{Color: c, Width: width, Dashes: dashes}
}

// The strokes of the pictures. Dashes tell them apart without colour.
var (
	frameStroke  = stroke(grey, 0.5*pt)
	gridStroke   = stroke(faint, 0.4*pt)
	readStroke   = stroke(black, 0.7*pt)
	fittedStroke = stroke(rust, 1.1*pt, 4*pt, 2*pt)
	limitStroke  = stroke(black, 1.1*pt, 7*pt, 2*pt, 1.5*pt, 2*pt)
	detectStroke = stroke(blue, 1.2*pt, 1.5*pt, 1.5*pt)
	secondStroke = stroke(blue, 0.9*pt, 5*pt, 2*pt)
	failStroke   = stroke(rust, 1.2*pt)
	edgeStroke   = stroke(rust, 0.6*pt, 2*pt, 2*pt)
	eventStroke  = stroke(grey, 0.4*pt, 1*pt, 2*pt)
)

// keyEntry explains one stroke, mark or shade.
type keyEntry struct {
	label  string
	stroke drawing.Stroke
	glyph  shape
	shade  color.RGBA // none: transparent
	tone   color.RGBA // of the glyph
}

// key writes the entries from the left and wraps; it returns the height it took.
func (f *figure) key(left, right, top float64, entries []keyEntry) float64 {
	const sample, gap = 16 * pt, 4 * pt
	x, y := left, top-lineStep/2
	for _, e := range entries {
		e.label = f.u.T(e.label)
		sampleWidth := sample
		if e.glyph != nil {
			sampleWidth = 7 * pt
		}
		width := sampleWidth + gap + f.textWidth(textSize, e.label)
		if x > left && x+width > right {
			x, y = left, y-lineStep
		}
		switch {
		case e.glyph != nil:
			f.mark(e.glyph, e.tone, 2.3*pt, x+sampleWidth/2, y)
		case e.shade.A != 0:
			f.box(e.shade, x, y-3*pt, x+sample, y+3*pt)
			f.outline(x, y-3*pt, x+sample, y+3*pt)
		default:
			f.line(e.stroke, x, y, x+sample, y)
		}
		f.write(style(textSize, black, drawing.Start, beside), x+sampleWidth+gap, y, e.label)
		x += width + 10*pt
	}
	return top - y + lineStep/2
}

// panel is one framed field of a picture with its own vertical scale.
type panel struct {
	f                        *figure
	left, right, bottom, top float64
	span                     float64 // of the horizontal axis, from 0
	y                        scale
}

func (p panel) px(x float64) float64 {
	return p.left + (p.right-p.left)*x/p.span
}

func (p panel) py(y float64) float64 {
	return p.bottom + (p.top-p.bottom)*p.y.share(y)
}

func (p panel) shade(c color.RGBA, x0, x1 float64) {
	if x1 > x0 {
		p.f.box(c, p.px(x0), p.bottom, p.px(x1), p.top)
	}
}

func (p panel) upright(s drawing.Stroke, x float64) { p.f.line(s, p.px(x), p.bottom, p.px(x), p.top) }

func (p panel) level(s drawing.Stroke, y float64) {
	if y >= p.y.low && y <= p.y.high {
		p.f.line(s, p.left, p.py(y), p.right, p.py(y))
	}
}

// xy is one point of a curve: seconds since the start, and the value drawn.
type xy struct{ x, y float64 }

// curve draws points as a line that breaks where the record has a gap.
func (p panel) curve(s drawing.Stroke, points []xy) {
	p.pieces(s, pieces(points, p.span))
}

// pieces draws each piece of a curve for itself, clipped to the panel.
func (p panel) pieces(s drawing.Stroke, all [][]xy) {
	area := drawing.Box{Left: p.left, Bottom: p.bottom, Right: p.right, Top: p.top}
	for _, piece := range all {
		path := make([]drawing.Point, len(piece))
		for i, q := range piece {
			path[i] = drawing.Point{X: p.px(q.x), Y: p.py(q.y)}
		}
		if len(path) == 1 {
			if at := path[0]; (drawing.Box{Left: at.X, Right: at.X, Bottom: at.Y, Top: at.Y}).Within(area, 0) {
				p.f.Add(drawing.Circle{At: at, Radius: s.Width, Fill: s.Color})
			}
			continue
		}
		for _, part := range drawing.Clip(path, area) {
			p.f.Add(drawing.Line{Stroke: s, Points: part})
		}
	}
}

// gapOver is the pause in seconds beyond which a curve breaks: both 2 % of the
// picture and ten usual intervals.
func gapOver(usual, span float64) float64 { return math.Max(10*usual, 0.02*span) }

// pieces splits points at gaps.
func pieces(points []xy, span float64) [][]xy {
	if len(points) == 0 {
		return nil
	}
	usual := (points[len(points)-1].x - points[0].x) / float64(len(points))
	limit := gapOver(usual, span)
	var all [][]xy
	from := 0
	for i := 1; i < len(points); i++ {
		if points[i].x-points[i-1].x > limit {
			all = append(all, points[from:i])
			from = i
		}
	}
	return append(all, points[from:])
}

// usable tells whether a value can be drawn: a number, and no larger than any
// quantity of a test, so that scales keep their precision.
func usable(v float64) bool { return math.Abs(v) < 1e12 }

// points are the usable values of a curve in a picture's own terms.
func (l timeline) points(curve []analysis.Point, value func(float64) float64) []xy {
	drawn := make([]xy, 0, len(curve))
	for _, q := range curve {
		x, y := l.seconds(q.Time), value(q.Value)
		if usable(y) && x >= 0 && x <= l.span {
			drawn = append(drawn, xy{x, y})
		}
	}
	return drawn
}

func extent(curves ...[]xy) (low, high float64, ok bool) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, c := range curves {
		for _, q := range c {
			low, high = math.Min(low, q.y), math.Max(high, q.y)
		}
	}
	return low, high, low <= high
}

func same(v float64) float64 { return v }

// leftAxis draws the frame, the marks and the title of a panel's left side.
func (p panel) leftAxis(ticks []tick, titles ...string) {
	p.labelled(ticks, func(y float64, label string) {
		p.f.line(frameStroke, p.left-tickMark, y, p.left, y)
		p.f.write(style(tickSize, black, drawing.End, beside), p.left-tickMark-2*pt, y, label)
	})
	p.f.outline(p.left, p.bottom, p.right, p.top)
	look := style(textSize, black, drawing.Middle, below)
	look.up = true
	p.f.write(look, 1*pt, (p.bottom+p.top)/2, p.fitting(titles))
}

// rightAxis draws marks at values of the left scale with labels of their own.
func (p panel) rightAxis(ticks []tick, titles ...string) {
	p.labelled(ticks, func(y float64, label string) {
		p.f.line(frameStroke, p.right, y, p.right+tickMark, y)
		p.f.write(style(tickSize, black, drawing.Start, beside), p.right+tickMark+2*pt, y, label)
	})
	look := style(textSize, black, drawing.Middle, above)
	look.up = true
	p.f.write(look, p.f.Width-2*pt, (p.bottom+p.top)/2, p.fitting(titles))
}

// labelled draws the marks of a side whose labels do not stand on one another.
func (p panel) labelled(ticks []tick, draw func(y float64, label string)) {
	var taken []float64
	for _, t := range ticks {
		y := p.py(t.at)
		near := func(other float64) bool { return math.Abs(other-y) < tickSize }
		if t.at < p.y.low || t.at > p.y.high || slices.ContainsFunc(taken, near) {
			continue
		}
		taken = append(taken, y)
		draw(y, p.f.u.Decimal(t.label))
	}
}

// fitting gives the first title of a side's scale for which the panel is high enough,
// or its unit alone.
func (p panel) fitting(titles []string) string {
	last := ""
	for _, title := range titles {
		last = p.f.u.T(title)
		if p.f.textWidth(textSize, last) <= p.top-p.bottom+4*pt {
			return last
		}
	}
	if i := strings.LastIndex(last, ", "); i >= 0 {
		return last[i+2:]
	}
	return last
}

// leftRoom is how far from the picture's left edge the panels must begin for
// the labels of all their scales to stand clear of the title.
func (f *figure) leftRoom(scales ...scale) float64 {
	widest := 0.0
	for _, s := range scales {
		for n := 2; n <= mostTicks; n++ {
			for _, t := range s.ticks(n) {
				widest = max(widest, f.textWidth(tickSize, t.label))
			}
		}
	}
	return widest + tickMark + textSize + 8*pt
}

func (p panel) grid(ticks []tick) {
	for _, t := range ticks {
		p.level(gridStroke, t.at)
	}
}

// timeAxis draws the marks of time below a panel and their title.
func (p panel) timeAxis(ticks []tick, title string) {
	for _, t := range ticks {
		x := p.px(t.at)
		p.f.line(frameStroke, x, p.bottom, x, p.bottom-tickMark)
		p.f.write(style(tickSize, black, drawing.Middle, below), x, p.bottom-tickMark-1*pt, p.f.u.Decimal(t.label))
	}
	p.f.write(style(textSize, black, drawing.Middle, below), (p.left+p.right)/2, p.bottom-tickMark-tickSize-3*pt, p.f.u.T(title))
}

// timeAxisHeight is the room that timeAxis takes below its panel.
const timeAxisHeight = tickMark + tickSize + textSize + 6*pt
