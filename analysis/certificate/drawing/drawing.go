// Package drawing holds pictures as lists of lines, areas, circles and texts, and
// writes them as SVG and PNG; package paper prints them. Lengths are in points
// (1/72 inch), y counts upwards from the lower left corner. The same drawing gives
// the same bytes.
package drawing

import (
	"image/color"
	"math"
)

// Point is a place on a drawing.
type Point struct{ X, Y float64 }

// Box is a part of a drawing.
type Box struct{ Left, Bottom, Right, Top float64 }

// Stroke is the look of a line.
type Stroke struct {
	Color  color.RGBA
	Width  float64
	Dashes []float64 // drawn, left out, drawn, …; none: unbroken
}

// Mark is one thing on a drawing: a Line, an Area, a Circle or a Text.
type Mark interface{ moved(dx, dy float64) Mark }

// Line goes from point to point.
type Line struct {
	Stroke Stroke
	Points []Point
}

// Area is a filled polygon.
type Area struct {
	Fill   color.RGBA
	Points []Point
}

// Circle is filled where Fill is not transparent, and drawn where its stroke has a width.
type Circle struct {
	At     Point
	Radius float64
	Fill   color.RGBA
	Stroke Stroke
}

// Text is one line of text. At is on its baseline.
type Text struct {
	At     Point
	Anchor Anchor
	Up     bool // runs upwards, turned to the left by a quarter
	Size   float64
	Color  color.RGBA
	Words  string
}

// Anchor says which part of a text stands at its point.
type Anchor float64

// The anchors: shares of the text's width.
const (
	Start  Anchor = 0
	Middle Anchor = 0.5
	End    Anchor = 1
)

// Drawing is what was drawn on a sheet of a size.
type Drawing struct {
	Width, Height float64
	Marks         []Mark
}

// Add puts marks on top of what is there.
func (d *Drawing) Add(marks ...Mark) { d.Marks = append(d.Marks, marks...) }

// AddAt puts another drawing on top, with its lower left corner at a point.
func (d *Drawing) AddAt(other *Drawing, at Point) {
	for _, m := range other.Marks {
		d.Marks = append(d.Marks, m.moved(at.X, at.Y))
	}
}

// Texts are the texts of the drawing.
func (d *Drawing) Texts() []Text {
	var all []Text
	for _, m := range d.Marks {
		if t, ok := m.(Text); ok {
			all = append(all, t)
		}
	}
	return all
}

func (p Point) moved(dx, dy float64) Point { return Point{p.X + dx, p.Y + dy} }

func movedAll(points []Point, dx, dy float64) []Point {
	out := make([]Point, len(points))
	for i, p := range points {
		out[i] = p.moved(dx, dy)
	}
	return out
}

func (l Line) moved(dx, dy float64) Mark { l.Points = movedAll(l.Points, dx, dy); return l }

func (a Area) moved(dx, dy float64) Mark { a.Points = movedAll(a.Points, dx, dy); return a }

func (c Circle) moved(dx, dy float64) Mark { c.At = c.At.moved(dx, dy); return c }

func (t Text) moved(dx, dy float64) Mark { t.At = t.At.moved(dx, dy); return t }

// origin is where the first letter of a text begins.
func (t Text) origin() Point {
	back := float64(t.Anchor) * Width(t.Size, t.Words)
	if t.Up {
		return t.At.moved(0, -back)
	}
	return t.At.moved(-back, 0)
}

// Box is what a text covers, from the foot of its descenders to the top of its capitals.
func (t Text) Box() Box {
	o, w := t.origin(), Width(t.Size, t.Words)
	if t.Up {
		return Box{o.X - CapHeight*t.Size, o.Y, o.X + Descent*t.Size, o.Y + w}
	}
	return Box{o.X, o.Y - Descent*t.Size, o.X + w, o.Y + CapHeight*t.Size}
}

// Overlaps tells whether two boxes share more than a border of slack points.
func (b Box) Overlaps(o Box, slack float64) bool {
	return b.Left+slack < o.Right && o.Left+slack < b.Right && b.Bottom+slack < o.Top && o.Bottom+slack < b.Top
}

// Within tells whether a box lies in another, but for slack points.
func (b Box) Within(o Box, slack float64) bool {
	return b.Left >= o.Left-slack && b.Right <= o.Right+slack && b.Bottom >= o.Bottom-slack && b.Top <= o.Top+slack
}

// Clip gives the parts of a line from point to point that lie in a box, each cut at
// its sides (Liang and Barsky, "A new concept and method for line clipping", 1984).
func Clip(points []Point, in Box) [][]Point {
	var all [][]Point
	var now []Point
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		from, to := 0.0, 1.0
		dx, dy := b.X-a.X, b.Y-a.Y
		inside := true
		for _, side := range [4][2]float64{{-dx, a.X - in.Left}, {dx, in.Right - a.X}, {-dy, a.Y - in.Bottom}, {dy, in.Top - a.Y}} {
			switch p, q := side[0], side[1]; {
			case p == 0:
				inside = inside && q >= 0
			case p < 0:
				from = math.Max(from, q/p)
			default:
				to = math.Min(to, q/p)
			}
		}
		if !inside || !(from <= to) {
			continue
		}
		start, end := a.moved(from*dx, from*dy), a.moved(to*dx, to*dy)
		if from > 0 || len(now) == 0 {
			if len(now) > 1 {
				all = append(all, now)
			}
			now = []Point{start}
		}
		now = append(now, end)
		if to < 1 {
			all, now = append(all, now), nil
		}
	}
	if len(now) > 1 {
		all = append(all, now)
	}
	return all
}
