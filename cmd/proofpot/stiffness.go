package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"proofpot/analysis/characterise"
	"proofpot/profiles/water"
	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/rig/replay"
	"proofpot/rig/setup"
	"proofpot/rig/wiring"
	"proofpot/sensors"
)

type stiffnessCmd struct {
	Bench string `help:"File that describes the bench." placeholder:"BENCH.TOML" required:""`
	stateFlag
	Cup         bool    `help:"Water is bled into a cup: the figures are its weight in g, cup taken off, in all since the start." xor:"how" required:""`
	StrokeML    float64 `help:"Water is pumped in: the figures are full strokes of so many ml each, in all since the start." xor:"how" required:"" placeholder:"ML"`
	Volume      bool    `help:"Water is pressed in from a burette or a syringe: the figures are ml, in all since the start." xor:"how" required:""`
	From        string  `help:"Take the curve from the record of a fill in steps by the valve, of a bench that is fed with water." xor:"how" required:"" placeholder:"RECORD"`
	WeighedG    float64 `help:"With --from: weight of the water that came out when the chamber was let off afterwards, g, cup taken off." placeholder:"G"`
	SupplyBar   float64 `help:"With --from: what the supply gives before the fill valve, bar gauge, to 2 %." placeholder:"BAR"`
	Points      string  `help:"File with the figures, one line a point: bar gauge, then weight or strokes. Without it they are asked for." placeholder:"FILE"`
	WaterC      float64 `help:"Temperature of the water in the cup, °C." default:"15"`
	Acknowledge bool    `help:"The cautions have been read (a script's answer to the question)."`
}

// Help is shown by proofpot stiffness --help.
func (stiffnessCmd) Help() string {
	return `Finds the stiffness of chamber and water and the free gas in it from at least five points of its pressure-volume curve,
taken at rest: wait until the pressure stands still after each step. Either bleed water from the highest pressure into a
cup and type its weight, or press water in from a burette or syringe and type how much, or pump full strokes and type how
many. At a hand-operated bench type the figure alone and the pressure is read; or give both, bar gauge first. An empty line
ends.

A bench whose valve lets water in needs no typing: run a profile of six steps or so up, without a unit, catch the water
that the vent lets out at the end and weigh it. The times of the open valve and the supply's pressure give the curve, the
weight its scale. What such points do not show (a small stiffness beside a large cushion) is said, and not kept.

Example: proofpot stiffness --cup --bench bench.toml
Example: proofpot stiffness --stroke-ml 8.2 --points strokes.txt --bench bench.toml
Example: proofpot stiffness --from records/20260314T081502Z-blank --weighed-g 262 --supply-bar 5.8 --bench bench.toml`
}

// Run fits the curve and keeps what it shows.
func (c *stiffnessCmd) Run(w *world) error {
	b, err := setup.LoadBench(c.Bench)
	if err != nil {
		return err
	}
	if b.Medium != setup.MediumWater {
		return fmt.Errorf("bench %q holds gas alone: its compliance is its volume", b.ID)
	}
	if b.RoomPa == 0 {
		b.RoomPa = supposed(setup.Run{Bench: b}).Bench.RoomPa
	}
	fit, err := c.fit(w, b)
	if err != nil {
		return err
	}
	fmt.Fprintf(w.out, "%s\n", fit)
	fmt.Fprintf(w.out, "free gas is %.2f %% of the chamber; at 3 bar gauge it all gives way by %.3g ml/bar\n",
		100*fit.FreeShare(b.ChamberVolumeML), fit.At(b.RoomPa+3e5, b.RoomPa))
	if !(fit.MLPerBar > 0 && fit.GasML > 0) {
		return coded{exitNo, fmt.Errorf("a chamber that gives way by less than nothing: a point is wrong, or gas went in or out; nothing is kept")}
	}
	if err := fit.Told(); err != nil {
		return coded{exitNo, fmt.Errorf("%w; nothing is kept", err)}
	}
	if text := characterise.Differs(fit.GasML, fit.GasSD, b.GasCushionML, 0.1*b.GasCushionML, "ml"); text != "" && b.GasCushionML > 0 {
		fmt.Fprintf(w.out, "the sheet has a cushion of %.4g ml\n", b.GasCushionML)
	}
	now := time.Now().UTC().Truncate(time.Second)
	return keep(w, c.Bench, func(_ *setup.Bench, m *setup.Measured) {
		m.Stiffness = &setup.MeasuredStiffness{At: now, ValidUntil: now.Add(setup.ValidFor), How: c.how(), MLPerBar: fit.MLPerBar, SDMLPerBar: fit.SD,
			GasML: fit.GasML, SDGasML: fit.GasSD, Points: fit.N}
	})
}

// how is the word for the way in the bench's file.
func (c *stiffnessCmd) how() string {
	switch {
	case c.Cup:
		return "cup"
	case c.Volume:
		return "volumes"
	case c.From != "":
		return "fill"
	}
	return "strokes"
}

// fit finds the curve in whichever way was asked for.
func (c *stiffnessCmd) fit(w *world, b setup.Bench) (characterise.Compliance, error) {
	if c.From == "" {
		points, err := c.points(w, b)
		if err != nil {
			return characterise.Compliance{}, err
		}
		fit, err := characterise.FitCompliance(points, b.RoomPa)
		if err != nil {
			err = coded{exitNo, err}
		}
		return fit, err
	}
	if !(c.WeighedG > 0) || !(c.SupplyBar > 0) {
		return characterise.Compliance{}, errors.New("--from wants --weighed-g, what came out of the vent, and --supply-bar, what the supply gives")
	}
	r, err := record.Open(c.From)
	if err != nil {
		return characterise.Compliance{}, err
	}
	defer r.Close()
	switch bench := r.Run.Bench; {
	case bench.ID != b.ID:
		return characterise.Compliance{}, fmt.Errorf("%s is of bench %q, and %s describes %q", c.From, bench.ID, c.Bench, b.ID)
	case bench.HandOperated || bench.Supply != setup.SupplyWater:
		return characterise.Compliance{}, fmt.Errorf("%s is of a bench whose valve does not let water in: how much came in is not to be had from it; take --cup, --volume or --stroke-ml", c.From)
	}
	curve, err := characterise.ReadFillCurve(r.Run, r)
	if err != nil {
		return characterise.Compliance{}, coded{exitNo, fmt.Errorf("%s: %w", c.From, err)}
	}
	room := r.Run.Bench.RoomPa
	gramML := c.gramML(room)
	fit, err := curve.Fit(room, room+c.SupplyBar*1e5, c.WeighedG*gramML, scaleG*gramML)
	if err != nil {
		err = coded{exitNo, fmt.Errorf("%s: %w", c.From, err)}
	}
	return fit, err
}

// scaleG is what a kitchen scale and drops in a hose leave open, g.
const scaleG = 1.0

// gramML is the volume of a gram of the water in the cup, ml.
func (c *stiffnessCmd) gramML(roomPa float64) float64 {
	isotherm := water.FreshIsotherm(c.WaterC)
	return 1000 / isotherm.Density(roomPa)
}

// points reads the figures from a file, or asks for them.
func (c *stiffnessCmd) points(w *world, b setup.Bench) ([]characterise.VolumePoint, error) {
	if c.Points != "" {
		f, err := os.Open(c.Points)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		return c.read(f, c.Points, b, nil)
	}
	if !b.HandOperated {
		fmt.Fprintln(w.errs, "Type bar gauge and figure at each step; the pressure of a bench with valves is not held for this. An empty line ends.")
		return c.read(w.in, "input", b, nil)
	}
	held, err := c.take(b.ID, "stiffness")
	if err != nil {
		return nil, err
	}
	defer held.release()
	if err := held.free(); err != nil {
		return nil, err
	}
	if err := acknowledge(w, setup.Run{Bench: b}, c.Acknowledge); err != nil {
		return nil, err
	}
	clock := rig.NewRealClock()
	devices, err := wiring.Open(b, clock)
	if err != nil {
		return nil, err
	}
	defer devices.Close()
	fmt.Fprintln(w.errs, "Begin: wait until the pressure stands still, then type 0. After each step type the figure in all. An empty line ends.")
	return c.read(w.in, "input", b, func() (float64, error) { return c.atRest(w, devices, clock, b) })
}

// atRest reads the chamber for some seconds.
func (c *stiffnessCmd) atRest(w *world, d rig.Devices, clock rig.Clock, b setup.Bench) (float64, error) {
	chamber := ""
	for _, s := range b.Sensors {
		if s.Measures == sensors.ChamberPressure.String() {
			chamber = s.ID
			break
		}
	}
	var side rig.Side
	d.Read(clock.Now(), nil) // what came while he typed
	for end := clock.Now().Mono + replay.LookTime; clock.Now().Mono < end; {
		clock.WaitUntil(w.ctx, clock.Now().Mono+rig.DefaultPeriod)
		if w.ctx.Err() != nil {
			return 0, answer(exitStopped)
		}
		for _, r := range d.Read(clock.Now(), nil) {
			side.See(&r, chamber)
		}
	}
	if !side.Known() {
		return 0, coded{exitBench, fmt.Errorf("sensor %q gave nothing", chamber)}
	}
	g := side.Ends()
	fmt.Fprintf(w.errs, "%.3f bar gauge\n", (g.Pa-b.RoomPa)/1e5)
	return g.Pa, nil
}

// read takes in points, a line each.
func (c *stiffnessCmd) read(r io.Reader, name string, b setup.Bench, pressure func() (float64, error)) ([]characterise.VolumePoint, error) {
	gramML := c.gramML(b.RoomPa)
	var all []characterise.VolumePoint
	lines := bufio.NewScanner(r)
	for n := 1; lines.Scan(); n++ {
		text, _, _ := strings.Cut(lines.Text(), "#")
		words := strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == '\t' || r == ';' || r == ',' })
		if len(words) == 0 {
			if pressure != nil {
				break
			}
			continue
		}
		var values []float64
		for _, word := range words {
			v, err := strconv.ParseFloat(word, 64)
			if err != nil {
				return nil, fmt.Errorf("%s:%d: %q is no number; decimals are written with a point", name, n, word)
			}
			values = append(values, v)
		}
		p := characterise.VolumePoint{}
		switch {
		case len(values) == 2:
			p.Pa = b.RoomPa + values[0]*1e5
		case len(values) == 1 && pressure != nil:
			pa, err := pressure()
			if err != nil {
				return nil, err
			}
			p.Pa = pa
		default:
			return nil, fmt.Errorf("%s:%d: %d numbers, want bar gauge and the figure", name, n, len(values))
		}
		figure := values[len(values)-1]
		if figure < 0 {
			return nil, fmt.Errorf("%s:%d: %g is below nothing; give what there is in all since the start", name, n, figure)
		}
		switch {
		case c.Cup:
			p.ML = -figure * gramML
		case c.Volume:
			p.ML = figure
		default:
			p.ML = figure * c.StrokeML
		}
		all = append(all, p)
	}
	return all, lines.Err()
}
