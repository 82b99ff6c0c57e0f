// Package plots draws the pictures of a certificate as SVG: the pressure of the
// chamber with its stages, the leak rate of each hold, and what was measured
// inside the unit. Every picture is black on white and tells its series apart
// by dash and shape as well as by colour; the colours are those of Okabe and
// Ito, "Color Universal Design", 2008. The same result gives the same bytes.
package plots

import (
	"errors"
	"fmt"
	"image/color"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/certificate/drawing"
	"proofpot/analysis/certificate/units"
	"proofpot/rig/setup"
)

// ErrNoData says that a result holds nothing that a picture could show.
var ErrNoData = errors.New("nothing measured to draw")

// Size is the size of a picture in points (1/72 inch). Text keeps its size.
type Size struct{ Width, Height float64 }

// Sizes for A4 with margins of 14 mm: the whole width, and half of it.
var (
	Wide   = Size{Width: 516, Height: 185}
	Half   = Size{Width: 254, Height: 180}
	Strip  = Size{Width: 516, Height: 112}
	minima = Size{Width: 180, Height: 90}
)

// Picture is a finished drawing with what is said of it.
type Picture struct {
	ID          string // of the picture among others on a page
	Title       string
	Description string // for those who cannot see it
	Axis        Axis   // of time, where the picture has one

	*drawing.Drawing
}

// Axis says where the time of a picture lies on it.
type Axis struct {
	Left, Right float64 // shares of the width
	Start       time.Time
	SpanS       float64
}

// over is the axis of a panel over a timeline.
func (p panel) over(l timeline) Axis {
	return Axis{p.left / p.f.Width, p.right / p.f.Width, l.start, l.span}
}

// along says where the time of a picture lies.
func (p *Picture) along(a Axis, err error) (*Picture, error) {
	if err == nil {
		p.Axis = a
	}
	return p, err
}

// SVG gives the picture as an element of a page.
func (p *Picture) SVG() []byte { return p.Drawing.SVG(p.ID, p.Title, p.Description) }

func (s Size) check() error {
	if !(s.Width >= minima.Width && s.Height >= minima.Height && s.Width <= 5000 && s.Height <= 5000) {
		return fmt.Errorf("picture of %g × %g points: want at least %g × %g and at most 5000 × 5000",
			s.Width, s.Height, minima.Width, minima.Height)
	}
	return nil
}

var (
	black  = color.RGBA{A: 0xff}
	grey   = color.RGBA{0x60, 0x60, 0x60, 0xff}
	faint  = color.RGBA{0xd8, 0xd8, 0xd8, 0xff}
	window = color.RGBA{0xdf, 0xe3, 0xe8, 0xff} // measuring window of a hold
	settle = color.RGBA{0xf2, 0xf4, 0xf6, 0xff}
	blue   = color.RGBA{0x00, 0x72, 0xb2, 0xff}
	rust   = color.RGBA{0xd5, 0x5e, 0x00, 0xff} // vermilion of the set
	straw  = color.RGBA{0xfb, 0xe3, 0xce, 0xff}
	paper  = color.RGBA{0xff, 0xff, 0xff, 0xff}
)

// timeline is the common horizontal axis: seconds since the start of the run.
type timeline struct {
	start time.Time
	span  float64 // s, > 0
}

// newTimeline spans the stages and readings of a result.
func newTimeline(r *analysis.Result) (timeline, bool) {
	var first, last time.Time
	see := func(t time.Time) {
		if t.IsZero() {
			return
		}
		if first.IsZero() || t.Before(first) {
			first = t
		}
		if last.IsZero() || t.After(last) {
			last = t
		}
	}
	for _, s := range r.Stages {
		see(s.Start)
		see(s.End)
	}
	for _, curve := range [][]analysis.Point{r.Curves.ChamberPa, r.Curves.InsidePa, r.Curves.AbsHumidityGM3} {
		if len(curve) > 0 {
			see(curve[0].Time)
			see(curve[len(curve)-1].Time)
		}
	}
	span := last.Sub(first).Seconds()
	return timeline{start: first, span: span}, span > 0
}

// Start is the moment from which the pictures and the tables of a result count
// their time; zero where the result carries neither stages nor readings.
func Start(r *analysis.Result) time.Time {
	line, _ := newTimeline(r)
	return line.start
}

func (l timeline) seconds(t time.Time) float64 { return t.Sub(l.start).Seconds() }

// clamp keeps a moment inside the picture.
func (l timeline) clamp(t time.Time) float64 { return min(max(l.seconds(t), 0), l.span) }

func (l timeline) axisTitle(u units.System) string {
	return u.F("time since start, h:mm (start %s)", u.UTC(l.start))
}

// sealedPa is the pressure at which depth-equivalent is zero.
func sealedPa(run setup.Run, r *analysis.Result) float64 {
	switch {
	case run.Unit.SealedPa > 0:
		return run.Unit.SealedPa
	case run.Bench.RoomPa > 0:
		return run.Bench.RoomPa
	default:
		return r.Conditions.RoomPa
	}
}

const pt = 1.0
