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
	var line plotter.XYs
	for _, c := range p.Curve() {
		line = append(line, plotter.XY{X: c.At.Minutes(), Y: (c.Pa - room) / 1e5})
	}
	for _, l := range p.Legs {
		if l.Hold <= 0 {
			continue
		}
		if l.VacuumPa > 0 {
			continue // drawn by vacuums
		}
		from, to, y := (l.End() - l.Hold).Minutes(), l.End().Minutes(), l.GaugePa/1e5
		area, err := plotter.NewPolygon(plotter.XYs{{X: from, Y: 0}, {X: from, Y: y}, {X: to, Y: y}, {X: to, Y: 0}})
		if err != nil {
			return fmt.Errorf("draw plan: %w", err)
		}
		area.Color, area.LineStyle.Width = window, 0
		pic.Add(area)
	}
	lowest, err := vacuums(pic, p)
	if err != nil {
		return err
	}
	curve, err := plotter.NewLine(line)
	if err != nil {
		return fmt.Errorf("draw plan: %w", err)
	}
	curve.LineStyle = draw.LineStyle{Color: ink, Width: vg.Points(1.4)}
	pic.Add(curve)
	peak := (p.PeakPa - room) / 1e5
	pic.Y.Max = 1.15*peak + 0.05
	pic.Y.Min = 1.15 * lowest
	if limit := (p.LimitPa - room) / 1e5; limit > 0 && limit < 2*peak {
		pic.Y.Max = max(pic.Y.Max, 1.1*limit)
		if err := across(pic, line[len(line)-1].X, limit, bound, fmt.Sprintf("limit of the bench, %.2f bar", limit)); err != nil {
			return err
		}
	}
	if err := labels(pic, p, pic.X.Max); err != nil {
		return err
	}
	pic.Draw(draw.New(canvas))
	return nil
}

// vacuums draws what is drawn inside the unit, below the room, dashed; it gives the
// lowest, bar gauge.
func vacuums(pic *plot.Plot, p *plan.Plan) (lowest float64, err error) {
	for _, l := range p.Legs {
		if l.VacuumPa <= 0 {
			continue
		}
		y := -l.VacuumPa / 1e5
		lowest = min(lowest, y)
		from, hold, to := l.Start.Minutes(), (l.End() - l.Hold).Minutes(), l.End().Minutes()
		area, err := plotter.NewPolygon(plotter.XYs{{X: hold, Y: 0}, {X: hold, Y: y}, {X: to, Y: y}, {X: to, Y: 0}})
		if err != nil {
			return 0, fmt.Errorf("draw plan: %w", err)
		}
		area.Color, area.LineStyle.Width = window, 0
		line, err := plotter.NewLine(plotter.XYs{{X: from, Y: 0}, {X: from + l.Ramp.Minutes(), Y: y}, {X: to, Y: y}, {X: to, Y: 0}})
		if err != nil {
			return 0, fmt.Errorf("draw plan: %w", err)
		}
		line.LineStyle = draw.LineStyle{Color: ink, Width: vg.Points(1), Dashes: []vg.Length{vg.Points(3), vg.Points(2)}}
		pic.Add(area, line)
		if err := label(pic, hold, y, "inside the unit", faint, false); err != nil {
			return 0, err
		}
	}
	return lowest, nil
}

// across draws a dashed line over the whole time, with its text.
func across(pic *plot.Plot, to, y float64, c color.Color, text string) error {
	l, err := plotter.NewLine(plotter.XYs{{X: 0, Y: y}, {X: to, Y: y}})
	if err != nil {
		return fmt.Errorf("draw plan: %w", err)
	}
	l.LineStyle = draw.LineStyle{Color: c, Width: vg.Points(0.8), Dashes: []vg.Length{vg.Points(5), vg.Points(3)}}
	pic.Add(l)
	return label(pic, 0, y, text, c, false)
}

// labels writes the depth of each stage above its first leg, or before it where
// that is too short for it and the next goes on upwards.
func labels(pic *plot.Plot, p *plan.Plan, end float64) error {
	const letter = 4.2 // points, of a letter
	shown := -1
	for i, l := range p.Legs {
		if l.Stage == shown || l.GaugePa <= 0 {
			continue
		}
		shown = l.Stage
		text := fmt.Sprintf("%g m", l.DepthM)
		room := (l.End() - l.Start - l.Ramp).Minutes() / end * width.Points()
		up := i+1 < len(p.Legs) && p.Legs[i+1].GaugePa > l.GaugePa
		if err := label(pic, (l.Start + l.Ramp).Minutes(), l.GaugePa/1e5, text, faint, up && room < letter*float64(len(text)+2)); err != nil {
			return err
		}
	}
	return nil
}

func label(pic *plot.Plot, x, y float64, text string, c color.Color, before bool) error {
	l, err := plotter.NewLabels(plotter.XYLabels{XYs: plotter.XYs{{X: x, Y: y}}, Labels: []string{text}})
	if err != nil {
		return fmt.Errorf("draw plan: %w", err)
	}
	l.Offset = vg.Point{X: vg.Points(4), Y: vg.Points(2)}
	for i := range l.TextStyle {
		l.TextStyle[i].Color = c
		l.TextStyle[i].Font.Size = 8
		if before {
			l.TextStyle[i].XAlign = draw.XRight
			l.Offset.X = -vg.Points(2)
		}
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
		all = append(all, plot.Tick{Value: i * step * t.per, Label: strconv.FormatFloat(i*step+0, 'g', 6, 64)})
	}
	return all
}
