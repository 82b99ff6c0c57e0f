package plots

import (
	"image/color"

	"proofpot/analysis/certificate/drawing"
)

// shape draws a mark of a radius in a colour. Shapes tell marks apart without it.
type shape func(c color.RGBA, radius float64, at drawing.Point) []drawing.Mark

func (f *figure) mark(s shape, c color.RGBA, radius, x, y float64) {
	f.Add(s(c, radius, drawing.Point{X: x, Y: y})...)
}

const outlineWidth = 0.5 * pt

func dot(c color.RGBA, r float64, at drawing.Point) []drawing.Mark {
	return []drawing.Mark{drawing.Circle{At: at, Radius: r, Fill: c}}
}

func ring(c color.RGBA, r float64, at drawing.Point) []drawing.Mark {
	return []drawing.Mark{drawing.Circle{At: at, Radius: r, Stroke: stroke(c, outlineWidth)}}
}

func block(c color.RGBA, r float64, at drawing.Point) []drawing.Mark {
	h := 0.85 * r
	return []drawing.Mark{drawing.Area{Fill: c, Points: corners(at.X-h, at.Y-h, at.X+h, at.Y+h)}}
}

// threeCorners are those of a triangle on its base, about as large as a circle of radius r.
func threeCorners(r float64, at drawing.Point) []drawing.Point {
	r *= 1.25
	return []drawing.Point{{X: at.X, Y: at.Y + r}, {X: at.X - 0.866*r, Y: at.Y - r/2}, {X: at.X + 0.866*r, Y: at.Y - r/2}}
}

func triangle(c color.RGBA, r float64, at drawing.Point) []drawing.Mark {
	p := threeCorners(r, at)
	return []drawing.Mark{drawing.Line{Stroke: stroke(c, outlineWidth), Points: append(p, p[0])}}
}

func pyramid(c color.RGBA, r float64, at drawing.Point) []drawing.Mark {
	return []drawing.Mark{drawing.Area{Fill: c, Points: threeCorners(r, at)}}
}

func plus(c color.RGBA, r float64, at drawing.Point) []drawing.Mark {
	return strokes(stroke(c, outlineWidth), at, [4]float64{0, r, 0, -r}, [4]float64{-r, 0, r, 0})
}

func cross(c color.RGBA, r float64, at drawing.Point) []drawing.Mark {
	h := 0.707 * r
	return strokes(stroke(c, outlineWidth), at, [4]float64{-h, -h, h, h}, [4]float64{-h, h, h, -h})
}

// heavyCross still reads when small and in black and white.
func heavyCross(c color.RGBA, r float64, at drawing.Point) []drawing.Mark {
	return strokes(stroke(c, 1.4*pt), at, [4]float64{-r, -r, r, r}, [4]float64{-r, r, r, -r})
}

func strokes(s drawing.Stroke, at drawing.Point, from ...[4]float64) []drawing.Mark {
	var out []drawing.Mark
	for _, l := range from {
		out = append(out, drawing.Line{Stroke: s, Points: []drawing.Point{{X: at.X + l[0], Y: at.Y + l[1]}, {X: at.X + l[2], Y: at.Y + l[3]}}})
	}
	return out
}
