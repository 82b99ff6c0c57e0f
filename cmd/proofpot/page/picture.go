package page

import (
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"path/filepath"
	"strconv"
	"sync"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/certificate/plots"
	"proofpot/analysis/certificate/units"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

// Picture is a picture for the page, with what a pointer needs.
type Picture struct {
	SVG    string       `json:"svg"`
	Left   float64      `json:"left"` // of its panel, as a share of the width
	Right  float64      `json:"right"`
	StartS float64      `json:"start_s"` // of the panel, since 1970
	SpanS  float64      `json:"span_s"`
	Zero   float64      `json:"zero_s"` // start of the run, since 1970
	Points [][2]float64 `json:"points"` // s since StartS, and Pa absolute or ml/h
	Unit   string       `json:"unit"`
	Stages []Stretch    `json:"stages,omitempty"`
}

// Stretch is a stage as it ran.
type Stretch struct {
	Kind   string  `json:"kind"`
	Name   string  `json:"name"`
	Index  int     `json:"index"`
	DepthM float64 `json:"depth_m"`
	FromS  float64 `json:"from_s"` // since 1970
	ToS    float64 `json:"to_s"`
}

// seen are the results of records that were looked at of late.
type seen struct {
	mu   sync.Mutex
	name []string
	kept map[string]looked
}

type looked struct {
	run setup.Run
	r   *analysis.Result
}

const mostKept = 8

var results = seen{kept: map[string]looked{}}

func (s *Server) result(name string) (setup.Run, *analysis.Result, error) {
	if !safeName(name) {
		return setup.Run{}, nil, errNoRecord
	}
	folder := filepath.Join(s.opts.Records, name)
	results.mu.Lock()
	defer results.mu.Unlock()
	r, err := record.Open(folder)
	if err != nil {
		return setup.Run{}, nil, errNoRecord
	}
	defer r.Close()
	if k, ok := results.kept[folder]; ok {
		return k.run, k.r, nil
	}
	res, err := analysis.Analyse(r.Run, r.Name, r)
	if err != nil {
		return setup.Run{}, nil, err
	}
	if len(results.name) == mostKept {
		delete(results.kept, results.name[0])
		results.name = results.name[1:]
	}
	results.name = append(results.name, folder)
	results.kept[folder] = looked{run: r.Run, r: res}
	return r.Run, res, nil
}

// picture draws a run under way or a record, whole or a stage of it, with the
// same code as the certificate.
func (s *Server) picture(w http.ResponseWriter, r *http.Request) {
	out, err := s.draw(r)
	switch {
	case errors.Is(err, plots.ErrNoData):
		refuse(w, http.StatusNotFound, errors.New("nothing was measured that could be drawn yet"))
	case err != nil:
		refuse(w, statusOf(err), err)
	default:
		reply(w, out)
	}
}

func (s *Server) draw(r *http.Request) (*Picture, error) {
	q := r.URL.Query()
	u, err := units.System{Depth: units.Depth(q.Get("depth")), Pressure: units.Pressure(q.Get("pressure"))}.Check()
	if err != nil {
		u = units.System{Depth: units.Metre, Pressure: units.Bar}
	}
	size := plots.Wide
	if width, err := strconv.ParseFloat(q.Get("width"), 64); err == nil {
		size.Width = math.Max(280, math.Min(width, 1600))
		size.Height = math.Max(150, math.Min(0.45*size.Width, 260))
	}
	var run setup.Run
	var res *analysis.Result
	var leaks []plots.LeakPoint
	folder := ""
	if name := q.Get("record"); name != "" {
		if run, res, err = s.result(name); err != nil {
			return nil, err
		}
		folder = filepath.Join(s.opts.Records, name)
	} else {
		on := s.work.shown()
		if on == nil {
			return nil, plots.ErrNoData
		}
		on.mu.Lock()
		run, res, leaks = on.so.run, on.so.result(), append([]plots.LeakPoint(nil), on.so.leaks...)
		folder = on.record
		on.mu.Unlock()
		res.Curves.ChamberFittedPa = s.tight.curveOf(folder)
	}
	if other := q.Get("with"); other != "" {
		_, second, err := s.result(other)
		if err != nil {
			return nil, err
		}
		return finish(plots.Pair(res, second, u, size))(res, "Pa", nil)
	}
	zero := plots.Start(res)
	if from, to, ok := window(q.Get("from"), q.Get("to")); ok {
		if res, err = narrowed(res, folder, from, to); err != nil {
			return nil, err
		}
		kept := leaks[:0:0]
		for _, p := range leaks {
			if !p.Time.Before(from) && !p.Time.After(to) {
				kept = append(kept, p)
			}
		}
		leaks = kept
	}
	var picture *plots.Picture
	points, unit := res.Curves.ChamberPa, "Pa"
	switch kind := q.Get("kind"); kind {
	case "", "pressure":
		picture, err = plots.Pressure(run, res, u, size)
	case "leak":
		if len(leaks) > 0 {
			picture, err = plots.LeakTrace(res, leaks, run.Profile.Accept.LeakMLPerH, u, size)
			unit, points = "ml/h", nil
			for _, p := range leaks {
				points = append(points, analysis.Point{Time: p.Time, Value: p.Leak.Estimate})
			}
		} else {
			picture, err = plots.Leak(run, res, u, size)
			points = nil
		}
	case "humidity":
		picture, err = plots.Humidity(run, res, u, size)
		points, unit = res.Curves.InsideRHPct, "%"
	case "inside":
		picture, err = plots.InsidePressure(run, res, u, size)
		points = res.Curves.InsidePa
	default:
		return nil, fmt.Errorf("there is no picture %q", kind)
	}
	out, err := finish(picture, err)(res, unit, points)
	if err == nil && !zero.IsZero() {
		out.Zero = float64(zero.UnixNano()) / 1e9
	}
	return out, err
}

const mostPointed = 1200

// finish adds to a picture what a pointer needs.
func finish(p *plots.Picture, err error) func(*analysis.Result, string, []analysis.Point) (*Picture, error) {
	return func(r *analysis.Result, unit string, points []analysis.Point) (*Picture, error) {
		if err != nil {
			return nil, err
		}
		out := &Picture{SVG: string(p.SVG()), Unit: unit, Left: p.Axis.Left, Right: p.Axis.Right, SpanS: p.Axis.SpanS, Points: [][2]float64{}}
		start := p.Axis.Start
		if start.IsZero() {
			return out, nil
		}
		out.StartS = float64(start.UnixNano()) / 1e9
		for _, q := range plots.Thin(points, mostPointed) {
			if number(q.Value) != nil {
				out.Points = append(out.Points, [2]float64{q.Time.Sub(start).Seconds(), q.Value})
			}
		}
		for _, s := range r.Stages {
			out.Stages = append(out.Stages, Stretch{s.Kind, s.Name, s.Index, s.DepthM, float64(s.Start.UnixNano()) / 1e9, float64(s.End.UnixNano()) / 1e9})
		}
		return out, nil
	}
}

func window(from, to string) (a, b time.Time, ok bool) {
	x, err1 := strconv.ParseFloat(from, 64)
	y, err2 := strconv.ParseFloat(to, 64)
	if err1 != nil || err2 != nil || !(y > x) || math.IsInf(x, 0) || math.IsInf(y, 0) || math.Abs(x) > 1e10 || math.Abs(y) > 1e10 {
		return a, b, false
	}
	at := func(s float64) time.Time { return time.Unix(0, int64(s*1e9)).UTC() }
	return at(x), at(y), true
}

// narrowed is the part of a result within a window, with the readings as they
// were recorded.
func narrowed(r *analysis.Result, folder string, from, to time.Time) (*analysis.Result, error) {
	out := *r
	out.Stages, out.Events = nil, nil
	for _, s := range r.Stages {
		if s.End.Before(from) || s.Start.After(to) {
			continue
		}
		if s.Start.Before(from) {
			s.Start = from
		}
		if s.End.After(to) {
			s.End = to
		}
		out.Stages = append(out.Stages, s)
	}
	for _, e := range r.Events {
		if !e.Time.Before(from) && !e.Time.After(to) {
			out.Events = append(out.Events, e)
		}
	}
	if f := r.Verdict.FirstFailure; f != nil && (f.Time.Before(from) || f.Time.After(to)) {
		out.Verdict.FirstFailure = nil
	}
	cut := func(c []analysis.Point) (kept []analysis.Point) {
		for _, p := range c {
			if !p.Time.Before(from) && !p.Time.After(to) {
				kept = append(kept, p)
			}
		}
		return kept
	}
	c := &out.Curves
	c.ChamberPa, c.ChamberFittedPa, c.InsidePa, c.InsideC = cut(c.ChamberPa), cut(c.ChamberFittedPa), cut(c.InsidePa), cut(c.InsideC)
	c.InsideRHPct, c.AbsHumidityGM3, c.GasC, c.WaterC = cut(c.InsideRHPct), cut(c.AbsHumidityGM3), cut(c.GasC), cut(c.WaterC)
	if folder == "" {
		return &out, nil
	}
	fine, err := readings(folder, from, to)
	if err == nil && len(fine) > len(c.ChamberPa) {
		c.ChamberPa = plots.Thin(fine, 2*mostPointed)
	}
	return &out, nil
}

// readings are the pressures of the chamber as recorded within a window.
func readings(folder string, from, to time.Time) ([]analysis.Point, error) {
	r, err := record.Open(folder)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	var points []analysis.Point
	var l record.Line
	sensor := ""
	for {
		err := r.Next(&l)
		if err == io.EOF {
			return points, nil
		}
		if err != nil {
			return nil, err
		}
		if l.TimeNS > to.UnixNano() {
			return points, nil
		}
		if l.Measurement != record.Chamber || math.IsNaN(l.PressurePa) {
			continue
		}
		if sensor == "" {
			sensor = l.Sensor
		}
		if l.Sensor == sensor && l.TimeNS >= from.UnixNano() {
			points = append(points, analysis.Point{Time: time.Unix(0, l.TimeNS).UTC(), Value: l.PressurePa})
		}
	}
}
