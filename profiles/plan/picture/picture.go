// Package picture draws a plan's chamber pressure over time as SVG or PNG.
package picture

import (
	"bytes"
	"fmt"
	"image/color"
	"math"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"

	"proofpot/profiles/plan"
)

const (
	width  = 24 * vg.Centimeter
	height = 11 * vg.Centimeter
)

var (
	ink    = color.NRGBA{0x1f, 0x2d, 0x3a, 0xff}
	window = color.NRGBA{0x4c, 0x8d, 0xbf, 0x50}
	bound  = color.NRGBA{0xb0, 0x3a, 0x2e, 0xff}
	faint  = color.NRGBA{0x80, 0x80, 0x80, 0xff}
)

// SVG draws a plan as SVG.
func SVG(p *plan.Plan) ([]byte, error) {
	c := vgsvg.New(width, height)
	if err := onto(p, c); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return nil, fmt.Errorf("draw plan: %w", err)
	}
	return b.Bytes(), nil
}

// PNG draws a plan as PNG, 150 dots an inch.
func PNG(p *plan.Plan) ([]byte, error) {
	c := vgimg.NewWith(vgimg.UseWH(width, height), vgimg.UseDPI(150))
	if err := onto(p, c); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: c}).WriteTo(&b); err != nil {
		return nil, fmt.Errorf("draw plan: %w", err)
	}
	return b.Bytes(), nil
}

func onto(p *plan.Plan, canvas vg.CanvasSizer) error {
	room := p.Bench.RoomPa
	pic := plot.New()
	pic.Title.Text = p.Profile.Name + ": planned chamber pressure; measuring windows shaded"
	pic.Title.TextStyle.Font.Size = 11
	end := p.Total.Minutes()
	per, unit := 1.0, "min"
	if end > 240 {
		per, unit = 60, "h"
	}
	pic.X.Label.Text = "time, " + unit
	pic.X.Max = 1.02 * end
	pic.X.Tick.Marker = ticks{per}
	pic.Y.Tick.Marker = ticks{1}
	pic.Y.Label.Text = "chamber pressure, bar gauge"
	pic.Y.Min = 0
	var line plotter.XYs
	for _, c := range p.Curve() {
		line = append(line, plotter.XY{X: c.At.Minutes(), Y: (c.Pa - room) / 1e5})
	}
	for _, l := range p.Legs {
		if l.Hold <= 0 {
			continue
		}
		from, to, y := (l.End() - l.Hold).Minutes(), l.End().Minutes(), l.GaugePa/1e5
		area, err := plotter.NewPolygon(plotter.XYs{{X: from, Y: 0}, {X: from, Y: y}, {X: to, Y: y}, {X: to, Y: 0}})
		if err != nil {
			return fmt.Errorf("draw plan: %w", err)
		}
		area.Color, area.LineStyle.Width = window, 0
		pic.Add(area)
	}
	curve, err := plotter.NewLine(line)
	if err != nil {
		return fmt.Errorf("draw plan: %w", err)
	}
	curve.LineStyle = draw.LineStyle{Color: ink, Width: vg.Points(1.4)}
	pic.Add(curve)
	peak := (p.PeakPa - room) / 1e5
	pic.Y.Max = 1.15*peak + 0.05
	if limit := (p.LimitPa - room) / 1e5; limit > 0 && limit < 2*peak {
		pic.Y.Max = max(pic.Y.Max, 1.1*limit)
		if err := across(pic, line[len(line)-1].X, limit, bound, fmt.Sprintf("limit of the bench, %.2f bar", limit)); err != nil {
			return err
		}
	}
	if err := labels(pic, p); err != nil {
		return err
	}
	pic.Draw(draw.New(canvas))
	return nil
}

// across draws a dashed line over the whole time, with its text.
func across(pic *plot.Plot, to, y float64, c color.Color, text string) error {
	l, err := plotter.NewLine(plotter.XYs{{X: 0, Y: y}, {X: to, Y: y}})
	if err != nil {
		return fmt.Errorf("draw plan: %w", err)
	}
	l.LineStyle = draw.LineStyle{Color: c, Width: vg.Points(0.8), Dashes: []vg.Length{vg.Points(5), vg.Points(3)}}
	pic.Add(l)
	return label(pic, 0, y, text, c)
}

// labels writes the depth of each stage above its first leg, where it has room.
func labels(pic *plot.Plot, p *plan.Plan) error {
	shown := -1
	for _, l := range p.Legs {
		if l.Stage == shown || l.GaugePa <= 0 {
			continue
		}
		shown = l.Stage
		if err := label(pic, (l.Start + l.Ramp).Minutes(), l.GaugePa/1e5, fmt.Sprintf("%g m", l.DepthM), faint); err != nil {
			return err
		}
	}
	return nil
}

func label(pic *plot.Plot, x, y float64, text string, c color.Color) error {
	l, err := plotter.NewLabels(plotter.XYLabels{XYs: plotter.XYs{{X: x, Y: y}}, Labels: []string{text}})
	if err != nil {
		return fmt.Errorf("draw plan: %w", err)
	}
	l.Offset = vg.Point{X: vg.Points(4), Y: vg.Points(2)}
	for i := range l.TextStyle {
		l.TextStyle[i].Color = c
		l.TextStyle[i].Font.Size = 8
	}
	pic.Add(l)
	return nil
}

// ticks marks round numbers of a unit that is so many of the axis', some eight of them.
type ticks struct{ per float64 }

// Ticks implements plot.Ticker.
func (t ticks) Ticks(low, high float64) []plot.Tick {
	raw := (high - low) / t.per / 8
	step := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5, 10} {
		if m*step >= raw {
			step *= m
			break
		}
	}
	var all []plot.Tick
	for i := math.Ceil(low / t.per / step); i*step*t.per <= high; i++ {
		all = append(all, plot.Tick{Value: i * step * t.per, Label: strconv.FormatFloat(i*step, 'g', 6, 64)})
	}
	return all
}
