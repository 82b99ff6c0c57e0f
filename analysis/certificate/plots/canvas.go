package plots

import (
	"image/color"
	"math"
	"strings"

	"proofpot/analysis"
	"proofpot/analysis/certificate/units"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/recorder"
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
	drawn  *recorder.Canvas
	canvas draw.Canvas
	width  vg.Length
	height vg.Length
}

func newFigure(size Size) *figure {
	w, h := vg.Length(size.Width)*pt, vg.Length(size.Height)*pt
	drawn := &recorder.Canvas{}
	return &figure{drawn: drawn, canvas: draw.NewCanvas(drawn, w, h), width: w, height: h}
}

// picture ends the drawing.
func (f *figure) picture(id, title, description string) (*Picture, error) {
	return &Picture{ID: id, Title: title, Description: description,
		Size: Size{float64(f.width / pt), float64(f.height / pt)}, drawn: f.drawn}, nil
}

// plainText measures text by the metrics of the first family of fontFamily.
var plainText = text.Plain{Fonts: font.NewCache(liberation.Collection())}

func textStyle(size vg.Length, c color.Color, x text.XAlignment, y text.YAlignment) text.Style {
	return text.Style{
		Color:   c,
		Font:    font.Font{Typeface: "Liberation", Variant: "Sans", Size: size},
		XAlign:  x,
		YAlign:  y,
		Handler: plainText,
	}
}

// write puts text at a point. Every text of a picture goes through here.
func (f *figure) write(s text.Style, x, y vg.Length, label string) {
	f.canvas.FillText(s, vg.Point{X: x, Y: y}, units.Clean(label, labelRoom))
}

func (f *figure) textWidth(size vg.Length, label string) vg.Length {
	return textStyle(size, black, draw.XLeft, draw.YBottom).Width(units.Clean(label, labelRoom))
}

func (f *figure) line(style draw.LineStyle, x0, y0, x1, y1 vg.Length) {
	f.canvas.StrokeLine2(style, x0, y0, x1, y1)
}

func (f *figure) box(fill color.Color, x0, y0, x1, y1 vg.Length) {
	f.canvas.FillPolygon(fill, []vg.Point{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}})
}

func stroke(c color.Color, width vg.Length, dashes ...vg.Length) draw.LineStyle {
	return draw.LineStyle{Color: c, Width: width, Dashes: dashes}
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
	stroke draw.LineStyle
	glyph  draw.GlyphDrawer
	shade  color.Color
	tone   color.Color // of the glyph
}

// key writes the entries from the left and wraps; it returns the height it took.
func (f *figure) key(left, right, top vg.Length, entries []keyEntry) vg.Length {
	const sample, gap = 16 * pt, 4 * pt
	x, y := left, top-lineStep/2
	for _, e := range entries {
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
		case e.shade != nil:
			f.box(e.shade, x, y-3*pt, x+sample, y+3*pt)
			f.outline(x, y-3*pt, x+sample, y+3*pt)
		default:
			f.line(e.stroke, x, y, x+sample, y)
		}
		f.write(textStyle(textSize, black, draw.XLeft, draw.YCenter), x+sampleWidth+gap, y, e.label)
		x += width + 10*pt
	}
	return top - y + lineStep/2
}

func (f *figure) outline(x0, y0, x1, y1 vg.Length) {
	f.canvas.StrokeLines(frameStroke, []vg.Point{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}, {X: x0, Y: y0}})
}

func (f *figure) mark(g draw.GlyphDrawer, c color.Color, radius, x, y vg.Length) {
	f.canvas.DrawGlyphNoClip(draw.GlyphStyle{Shape: g, Color: c, Radius: radius}, vg.Point{X: x, Y: y})
}

// panel is one framed field of a picture with its own vertical scale.
type panel struct {
	f                        *figure
	left, right, bottom, top vg.Length
	span                     float64 // of the horizontal axis, from 0
	y                        scale
}

func (p panel) px(x float64) vg.Length {
	return p.left + (p.right-p.left)*vg.Length(x/p.span)
}

func (p panel) py(y float64) vg.Length {
	return p.bottom + (p.top-p.bottom)*vg.Length(p.y.share(y))
}

func (p panel) shade(c color.Color, x0, x1 float64) {
	if x1 > x0 {
		p.f.box(c, p.px(x0), p.bottom, p.px(x1), p.top)
	}
}

func (p panel) upright(s draw.LineStyle, x float64) { p.f.line(s, p.px(x), p.bottom, p.px(x), p.top) }

func (p panel) level(s draw.LineStyle, y float64) {
	if y >= p.y.low && y <= p.y.high {
		p.f.line(s, p.left, p.py(y), p.right, p.py(y))
	}
}

// xy is one point of a curve: seconds since the start, and the value drawn.
type xy struct{ x, y float64 }

// curve draws points as a line that breaks where the record has a gap.
func (p panel) curve(s draw.LineStyle, points []xy) {
	p.pieces(s, pieces(points, p.span))
}

// pieces draws each piece of a curve for itself, clipped to the panel.
func (p panel) pieces(s draw.LineStyle, all [][]xy) {
	area := draw.Canvas{Canvas: p.f.canvas.Canvas, Rectangle: vg.Rectangle{
		Min: vg.Point{X: p.left, Y: p.bottom}, Max: vg.Point{X: p.right, Y: p.top}}}
	for _, piece := range all {
		path := make([]vg.Point, len(piece))
		for i, q := range piece {
			path[i] = vg.Point{X: p.px(q.x), Y: p.py(q.y)}
		}
		if len(path) == 1 {
			area.DrawGlyph(draw.GlyphStyle{Shape: draw.CircleGlyph{}, Color: s.Color, Radius: s.Width}, path[0])
			continue
		}
		area.StrokeLines(s, area.ClipLinesXY(path)...)
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
func (p panel) leftAxis(ticks []tick, title string) {
	for _, t := range ticks {
		if t.at < p.y.low || t.at > p.y.high {
			continue
		}
		y := p.py(t.at)
		p.f.line(frameStroke, p.left-tickMark, y, p.left, y)
		p.f.write(textStyle(tickSize, black, draw.XRight, draw.YCenter), p.left-tickMark-2*pt, y, t.label)
	}
	p.f.outline(p.left, p.bottom, p.right, p.top)
	style := textStyle(textSize, black, draw.XCenter, draw.YTop)
	style.Rotation = math.Pi / 2
	p.f.write(style, 1*pt, (p.bottom+p.top)/2, p.fitting(title))
}

// rightAxis draws marks at values of the left scale with labels of their own.
func (p panel) rightAxis(ticks []tick, title string) {
	for _, t := range ticks {
		if t.at < p.y.low || t.at > p.y.high {
			continue
		}
		y := p.py(t.at)
		p.f.line(frameStroke, p.right, y, p.right+tickMark, y)
		p.f.write(textStyle(tickSize, black, draw.XLeft, draw.YCenter), p.right+tickMark+2*pt, y, t.label)
	}
	style := textStyle(textSize, black, draw.XCenter, draw.YBottom)
	style.Rotation = math.Pi / 2
	p.f.write(style, p.f.width-2*pt, (p.bottom+p.top)/2, p.fitting(title))
}

// fitting gives the title of a side's scale, or its unit alone where the panel
// is too low for the whole.
func (p panel) fitting(title string) string {
	if i := strings.LastIndex(title, ", "); i >= 0 && p.f.textWidth(textSize, title) > p.top-p.bottom+6*pt {
		return title[i+2:]
	}
	return title
}

// leftRoom is how far from the picture's left edge the panels must begin for
// the labels of all their scales to stand clear of the title.
func (f *figure) leftRoom(scales ...scale) vg.Length {
	widest := vg.Length(0)
	for _, s := range scales {
		for _, t := range s.ticks(8) {
			widest = max(widest, f.textWidth(tickSize, t.label))
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
		p.f.write(textStyle(tickSize, black, draw.XCenter, draw.YTop), x, p.bottom-tickMark-1*pt, t.label)
	}
	p.f.write(textStyle(textSize, black, draw.XCenter, draw.YTop), (p.left+p.right)/2, p.bottom-tickMark-tickSize-3*pt, title)
}

// timeAxisHeight is the room that timeAxis takes below its panel.
const timeAxisHeight = tickMark + tickSize + textSize + 6*pt
