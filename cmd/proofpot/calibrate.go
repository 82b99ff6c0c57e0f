package main

import (
	"bufio"
	"errors"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"proofpot/analysis/certificate/plots"
	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/rig/wiring"
	"proofpot/sensors"
	"proofpot/sensors/calibration"
)

type calibrateCmd struct {
	Sensor       string        `arg:"" help:"The sensor, by its id in the bench file."`
	Bench        string        `help:"File that describes the bench." placeholder:"BENCH.TOML" required:"" type:"path"`
	Method       string        `help:"zero (at open vent), two-point or points (against a gauge), hose (a column of water)." enum:"zero,two-point,points,hose" default:"zero"`
	By           string        `help:"Who calibrates." required:""`
	Reference    string        `help:"What is read beside the sensor: its name, and its own certificate." placeholder:"TEXT"`
	ReferenceUPa float64       `help:"Standard uncertainty of the gauge or barometer, Pa: half of what its certificate gives for k = 2." placeholder:"PA"`
	RoomHPa      float64       `name:"room-hpa" help:"Barometer now, hPa, not reduced to sea level. Without it the bench's own barometer is read." placeholder:"HPA"`
	RoomUPa      float64       `name:"room-u-pa" help:"Standard uncertainty of the barometer, Pa." default:"50"`
	Degree       int           `help:"Of the correction: 0 a constant, 1 a straight line, up to 3. Without it 0 for zero, otherwise 1." default:"-1"`
	ResolutionPa float64       `help:"One step of the sensor, Pa." placeholder:"PA"`
	Due          string        `help:"Last day on which it holds; without it a year from today." placeholder:"DATE"`
	Water        string        `help:"hose: what is in it." default:"fresh"`
	SalinityGKg  float64       `name:"salinity-gkg" help:"hose: salinity, g/kg."`
	WaterC       float64       `help:"hose: its temperature, °C." default:"15"`
	Latitude     float64       `help:"hose: latitude, degrees, for gravity." default:"45"`
	HeightUM     float64       `name:"height-u-m" help:"hose: standard uncertainty of a height, m." default:"0.005"`
	Read         time.Duration `help:"How long the sensor is read at each point." default:"5s"`
	Points       string        `help:"File with what would be typed, a line each." type:"path" placeholder:"FILE"`
	Picture      string        `help:"Draw the residuals into this file, SVG." type:"path" placeholder:"FILE"`
	Try          bool          `help:"Show the result and write nothing."`
	Acknowledge  bool          `help:"The cautions have been read (a script's answer to the question)."`
}

// Help is shown by proofpot calibrate --help.
func (calibrateCmd) Help() string {
	return `Finds what is to be added to a pressure sensor's readings, and writes it with its uncertainty behind the earlier ones in
the file BENCH.calibration.toml. Every run from then on applies it, and keeps the raw value too. Valves are not touched.

Bring the sensor to each pressure, wait until it stands still, then type what the reference shows, in bar gauge (hose: the
height of the water's surface above the sensor, in m) and Enter; the sensor is read. A point lower than the one before it
counts as falling, and shows hysteresis. An empty line ends. zero asks for Enter alone, with the vent open.

A calibration that is out of date, or with a residual above the sensor's accuracy_pa, makes verdicts inconclusive; exit code
1 says that this one does.

Example: proofpot calibrate p1 --bench bench.toml --by Keeper --room-hpa 978.2`
}

// Run takes the points, fits them and keeps the result.
func (c *calibrateCmd) Run(w *world) error {
	b, err := setup.LoadBench(c.Bench)
	if err != nil {
		return err
	}
	s := c.find(&b)
	if s == nil {
		return fmt.Errorf("bench %q has no sensor %q", b.ID, c.Sensor)
	}
	if err := c.check(s); err != nil {
		return err
	}
	earlier := s.Calibration
	for i := range b.Sensors {
		b.Sensors[i].Calibration = nil // points are of the raw readings
	}
	if c.RoomHPa > 0 && !b.HasBarometer() {
		b.RoomPa = c.RoomHPa * 100
	}
	if c.Method == calibration.TwoPoint || c.Method == calibration.Points {
		if err := acknowledge(w, setup.Run{Bench: b}, c.Acknowledge); err != nil {
			return err
		}
	}
	points, err := c.take(w, b)
	if err != nil {
		return err
	}
	made, err := c.fit(points, earlier, calibration.Class{AccuracyPa: s.AccuracyPa, ResolutionPa: c.ResolutionPa})
	if err != nil {
		return coded{exitNo, err}
	}
	if err := b.CheckCalibration(*s, &made); err != nil {
		return coded{exitNo, fmt.Errorf("%w; nothing is kept", err)}
	}
	fmt.Fprint(w.out, calibrationText(&made))
	if c.Picture != "" {
		picture, err := plots.Residuals(&made, plots.Size{Width: 480, Height: 240})
		if err != nil {
			return err
		}
		if err := os.WriteFile(c.Picture, picture.SVG(), 0o644); err != nil {
			return err
		}
	}
	if c.Try {
		fmt.Fprintln(w.out, "tried; nothing is written")
	} else {
		if err := setup.AppendCalibration(c.Bench, made); err != nil {
			return err
		}
		fmt.Fprintf(w.out, "written into %s; it is due on %s\n", setup.CalibrationFile(c.Bench), made.Due)
	}
	if len(made.CorrectionPa) > 1 && made.HighPa < b.ReliefPa {
		fmt.Fprintf(w.out, "its points reach %.3g bar absolute; holds beyond that will be inconclusive: take points up to the pressure of the tests, or --degree 0\n", made.HighPa/1e5)
	}
	if doubts := made.Doubts(time.Now()); len(doubts) > 0 {
		fmt.Fprintf(w.out, "verdicts will be inconclusive: %s\n", strings.Join(doubts, "; "))
		return answer(exitNo)
	}
	return nil
}

func (c *calibrateCmd) find(b *setup.Bench) *setup.Sensor {
	for i := range b.Sensors {
		if b.Sensors[i].ID == c.Sensor {
			return &b.Sensors[i]
		}
	}
	return nil
}

// check looks at what was asked before anything is read.
func (c *calibrateCmd) check(s *setup.Sensor) error {
	if c.Degree < 0 {
		c.Degree = 1
		if c.Method == calibration.Zero {
			c.Degree = 0
		}
	}
	if c.Due == "" {
		c.Due = time.Now().UTC().AddDate(1, 0, 0).Format(calibration.DateLayout) // common practice, no source
	}
	pressure := s.Measures == sensors.ChamberPressure.String() || s.Measures == sensors.UnitPressure.String()
	gauge := c.Method == calibration.TwoPoint || c.Method == calibration.Points
	switch {
	case !pressure:
		return fmt.Errorf("sensor %q measures %s; only a chamber's or an inside pressure is calibrated", s.ID, s.Measures)
	case gauge && (c.Reference == "" || !(c.ReferenceUPa > 0)):
		return errors.New("a gauge needs a name and an uncertainty: give --reference and --reference-u-pa")
	case c.RoomHPa != 0 && !(c.RoomHPa >= 500 && c.RoomHPa <= 1100):
		return fmt.Errorf("--room-hpa: %g is no barometer's reading; 500 to 1100 hPa", c.RoomHPa)
	case !(c.RoomUPa > 0) || !(c.HeightUM > 0) || !(c.ReferenceUPa >= 0):
		return errors.New("an uncertainty must be above 0: no reference is perfect")
	case c.Read < time.Second:
		return errors.New("--read: a second at least")
	case c.Degree != 0 && c.Method == calibration.Zero:
		return errors.New("a zero is one point and finds a constant; leave out --degree")
	}
	if c.Reference == "" {
		c.Reference = map[string]string{calibration.Zero: "barometer", calibration.Hose: "column of " + c.Water + " water"}[c.Method]
	}
	return nil
}

func (c *calibrateCmd) fit(points []calibration.Point, earlier *calibration.Calibration, class calibration.Class) (calibration.Calibration, error) {
	var made calibration.Calibration
	var err error
	today := time.Now().UTC().Format(calibration.DateLayout)
	due := c.Due
	if c.Method == calibration.Zero {
		made, err = calibration.AtZero(points[0], earlier, class)
		if earlier != nil {
			due = earlier.Due // a zero renews no slope
		}
	} else {
		made, err = calibration.Fit(points, c.Degree, class)
	}
	made.Sensor, made.Method, made.Date, made.Due, made.By, made.Reference = c.Sensor, c.Method, today, due, c.By, c.Reference
	if err == nil && due < today {
		err = fmt.Errorf("the earlier calibration was due on %s: a zero does not renew it; calibrate again with points", due)
	}
	return made, err
}

// take leads through the points.
func (c *calibrateCmd) take(w *world, b setup.Bench) ([]calibration.Point, error) {
	in := w.in
	if c.Points != "" {
		f, err := os.Open(c.Points)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		in = f
	}
	clock := rig.NewRealClock()
	read, err := wiring.OpenSensors(b, clock, nil)
	if err != nil {
		return nil, coded{exitBench, err}
	}
	defer read.Close()
	what := "bar gauge"
	switch c.Method {
	case calibration.Zero:
		what = "Enter, with the vent open and the chamber at rest"
	case calibration.Hose:
		what = "height of the water above the sensor, m"
	}
	var points []calibration.Point
	lines, before := bufio.NewScanner(in), math.Inf(-1)
	for n := 1; ; n++ {
		fmt.Fprintf(w.errs, "point %d: %s: ", n, what)
		if !lines.Scan() {
			break
		}
		text := strings.TrimSpace(lines.Text())
		figure := 0.0
		if c.Method != calibration.Zero {
			if text == "" {
				break
			}
			if figure, err = strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64); err != nil || !(math.Abs(figure) < 1e4) {
				return nil, fmt.Errorf("line %d: %q is no number; type %s", n, text, what)
			}
		}
		p, err := c.point(w, read, clock, figure)
		if err != nil {
			return nil, err
		}
		p.Falling = p.ReferencePa < before
		before = p.ReferencePa
		points = append(points, p)
		fmt.Fprintf(w.errs, "  reference %.0f Pa absolute, sensor %.0f ± %.0f Pa (1 s.d. of %d readings)\n", p.ReferencePa, p.ReadingPa, p.ScatterPa, p.Readings)
		if c.Method == calibration.Zero || c.Method == calibration.TwoPoint && n == 2 {
			break
		}
	}
	if err := lines.Err(); err != nil {
		return nil, err
	}
	if len(points) == 0 {
		return nil, errors.New("no point was taken; nothing is kept")
	}
	return points, nil
}

// point reads the sensor for a while and works out what it should have read.
func (c *calibrateCmd) point(w *world, read *wiring.Sensors, clock rig.Clock, figure float64) (calibration.Point, error) {
	var p calibration.Point
	var sensor, room spread
	read.Read(clock.Now(), nil) // what came while he typed
	for end := clock.Now().Mono + c.Read; clock.Now().Mono < end; {
		clock.WaitUntil(w.ctx, clock.Now().Mono+sensorsPeriod)
		if w.ctx.Err() != nil {
			return p, answer(exitStopped)
		}
		for _, r := range read.Read(clock.Now(), nil) {
			switch {
			case r.Sensor == c.Sensor && r.Status != sensors.OK && r.Status != sensors.Recovered && r.Quantity.Unit() == "Pa":
				return p, coded{exitBench, fmt.Errorf("sensor %q: %s: %s; nothing is kept", r.Sensor, r.Status, r.Text)}
			case r.Sensor == c.Sensor && r.Status == sensors.OK && (r.Quantity == sensors.ChamberPressure || r.Quantity == sensors.UnitPressure):
				sensor.add(r.Value)
			case r.Status == sensors.OK && r.Quantity == sensors.RoomPressure:
				room.add(r.Value)
			}
		}
	}
	if sensor.n < 3 {
		return p, coded{exitBench, fmt.Errorf("sensor %q gave %d readings in %s; a mean and its scatter need 3", c.Sensor, sensor.n, c.Read)}
	}
	roomPa := c.RoomHPa * 100
	if roomPa == 0 {
		if room.n == 0 {
			return p, errors.New("the room's pressure is not known: give --room-hpa from a barometer, now")
		}
		roomPa = room.mean
	}
	p.ReadingPa, p.ScatterPa, p.Readings = sensor.mean, sensor.sd(), sensor.n
	p.ReferencePa, p.ReferenceUPa = roomPa+figure*1e5, math.Hypot(c.RoomUPa, c.ReferenceUPa)
	if c.Method == calibration.Hose {
		column, err := profiles.NewColumn(profiles.Water{Model: c.Water, SalinityGKg: c.SalinityGKg, TemperatureC: c.WaterC, LatitudeDeg: c.Latitude, SurfacePa: roomPa})
		if err != nil {
			return p, err
		}
		p.HeightM, p.ReferencePa = figure, column.AbsolutePa(figure)
		p.ReferenceUPa = math.Hypot(p.ReferenceUPa, c.HeightUM*column.DensityKgM3*column.GravityMS2)
	}
	return p, nil
}

// spread is a running mean and its scatter (Welford's recurrence).
type spread struct {
	n           int
	mean, about float64
}

func (s *spread) add(v float64) {
	s.n++
	d := v - s.mean
	s.mean += d / float64(s.n)
	s.about += d * (v - s.mean)
}

func (s *spread) sd() float64 { return math.Sqrt(s.about / float64(max(1, s.n-1))) }

// calibrationText shows a calibration with its residuals drawn.
func calibrationText(c *calibration.Calibration) string {
	var t strings.Builder
	const half = 20
	full := max(c.WorstPa, c.AccuracyPa, 1)
	fmt.Fprintf(&t, "residuals, %.0f to %.0f Pa\n", -full, full)
	for _, p := range c.Points {
		row := []rune(strings.Repeat("·", 2*half+1))
		row[half] = '|'
		mark := 'o'
		if p.Falling {
			mark = 'x'
		}
		row[half+int(math.Round(half*max(-1, min(1, p.ResidualPa/full))))] = mark
		fmt.Fprintf(&t, "%9.5f bar  %+7.0f Pa  %s\n", p.ReferencePa/1e5, p.ResidualPa, string(row))
	}
	t.WriteString("correction, Pa: ")
	for i, v := range c.CorrectionPa {
		switch i {
		case 0:
			fmt.Fprintf(&t, "%.1f", v)
		case 1:
			fmt.Fprintf(&t, " %+.2f·b", v)
		default:
			fmt.Fprintf(&t, " %+.3f·b^%d", v, i)
		}
	}
	b := c.Budget
	fmt.Fprintf(&t, " (b: the reading in bar absolute)\nworst residual %.0f Pa, hysteresis %.0f Pa\n", c.WorstPa, c.HysteresisPa)
	fmt.Fprintf(&t, "uncertainty: reference %.0f, repeatability %.1f, residuals %.0f, hysteresis %.0f, resolution %.1f, earlier %.0f: U = %.0f Pa (k = %.2f, 95 %%)\n",
		b.ReferencePa, b.RepeatabilityPa, b.ResidualsPa, b.HysteresisPa, b.ResolutionPa, b.EarlierPa, b.ExpandedPa, b.Coverage)
	return t.String()
}
