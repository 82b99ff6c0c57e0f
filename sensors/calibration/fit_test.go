package calibration

import (
	"math"
	"strings"
	"testing"
	"time"
)

func at(reference, reading float64) Point {
	return Point{ReferencePa: reference, ReferenceUPa: 50, ReadingPa: reading, ScatterPa: 20, Readings: 16}
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %v, want %v", what, got, want)
	}
}

func TestAStraightLineIsRecoveredThroughReadingsOfIt(t *testing.T) {
	var points []Point
	for _, p := range []float64{1e5, 3e5, 5e5, 7e5} {
		points = append(points, at(p, (p-400)/1.002))
	}
	c, err := Fit(points, 1, Class{AccuracyPa: 2500})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "c0", c.CorrectionPa[0], 400, 1e-6)
	near(t, "c1", c.CorrectionPa[1], 200, 1e-6) // 0.2 % of a bar
	near(t, "6 bar", c.Correct((6e5-400)/1.002), 6e5, 1e-6)
	near(t, "the worst residual", c.WorstPa, 0, 1e-6)
}

// The example is that of JCGM 100:2008, H.3: corrections of a thermometer, 11
// points, straight line about 20 °C: y1 = -0.1712, y2 = 0.00218, s = 0.0035.
// Degrees stand for pascals here, thousandfold, which a straight line allows.
func TestTheLineOfTheGUMsThermometerIsFound(t *testing.T) {
	reading := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	correction := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	var points []Point
	for i, r := range reading {
		points = append(points, Point{ReferencePa: (r + correction[i]) * 1000, ReadingPa: r * 1000, Readings: 1})
	}
	c, err := Fit(points, 1, Class{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "the slope", c.CorrectionPa[1]/1e5, 0.00218, 5e-6)
	near(t, "the correction at 20 °C", (c.Correct(20000)-20000)/1000, -0.1712, 5e-5)
	near(t, "the correction at 30 °C", (c.Correct(30000)-30000)/1000, -0.1494, 5e-5) // H.3.4
	near(t, "s", c.Budget.ResidualsPa/1000, 0.0035, 5e-5)
	near(t, "k at 9 degrees of freedom", c.Budget.Coverage, 2.32, 0.005) // table G.2
}

func TestTheCoverageFactorIsThatOfTableG2(t *testing.T) {
	for freedom, want := range map[float64]float64{1: 13.97, 2: 4.53, 5: 2.65, 10: 2.28, 20: 2.13, 50: 2.05} {
		near(t, "k", coverage(freedom), want, 0.0051)
	}
}

func TestHysteresisIsTheGapBetweenFallingAndRising(t *testing.T) {
	down := at(3e5, 3e5+90)
	down.Falling = true
	c, err := Fit([]Point{at(1e5, 1e5), at(5e5, 5e5), down}, 1, Class{ResolutionPa: 12})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "hysteresis", c.HysteresisPa, 90, 1e-6)
	near(t, "its share", c.Budget.HysteresisPa, 90/math.Sqrt(12), 1e-6)
	near(t, "the resolution's share", c.Budget.ResolutionPa, 12/math.Sqrt(12), 1e-9)
	b := c.Budget
	sum := b.ReferencePa*b.ReferencePa + b.RepeatabilityPa*b.RepeatabilityPa + b.ResidualsPa*b.ResidualsPa + b.HysteresisPa*b.HysteresisPa + b.ResolutionPa*b.ResolutionPa
	near(t, "the combined uncertainty", b.CombinedPa, math.Sqrt(sum), 1e-9)
}

func TestAZeroShiftsAnEarlierLineAndKeepsItsSlopeAndDueDate(t *testing.T) {
	line, err := Fit([]Point{at(1e5, 1e5-500), at(6e5, 6e5-1500)}, 1, Class{AccuracyPa: 2500})
	if err != nil {
		t.Fatal(err)
	}
	line.Due = "2026-12-01"
	c, err := AtZero(at(1.01e5, 1.01e5-700), &line, Class{AccuracyPa: 2500})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "the zero", c.Correct(1.01e5-700), 1.01e5, 1e-6)
	near(t, "the slope", c.CorrectionPa[1], line.CorrectionPa[1], 0)
	if c.Due != line.Due || c.Budget.ExpandedPa <= line.Budget.ExpandedPa {
		t.Errorf("due %s, U %v, was %v", c.Due, c.Budget.ExpandedPa, line.Budget.ExpandedPa)
	}
}

func TestPointsThatCannotBearACorrectionAreRefused(t *testing.T) {
	for want, fit := range map[string]func() error{
		"no point":            func() error { _, err := Fit(nil, 0, Class{}); return err },
		"no residuals":        func() error { _, err := Fit([]Point{at(1e5, 1e5)}, 0, Class{}); return err },
		"needs 2 that differ": func() error { _, err := Fit([]Point{at(1e5, 1e5), at(1e5, 1e5)}, 1, Class{}); return err },
		"no absolute":         func() error { _, err := Fit([]Point{at(-5, 1e5)}, 0, Class{AccuracyPa: 1}); return err },
		"degree 4":            func() error { _, err := Fit([]Point{at(1e5, 1e5)}, 4, Class{}); return err },
	} {
		if err := fit(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
}

func TestAnOverdueOrCoarseCalibrationIsADoubt(t *testing.T) {
	c := Calibration{Sensor: "p1", Date: "2026-03-14", Due: "2027-03-14", CorrectionPa: []float64{1}, AccuracyPa: 100, WorstPa: 40}
	day := func(s string) time.Time { d, _ := time.Parse(DateLayout, s); return d.Add(12 * time.Hour) }
	if d := c.Doubts(day("2027-03-14")); len(d) > 0 {
		t.Errorf("on its last day: %v", d)
	}
	if d := c.Doubts(day("2027-03-15")); len(d) != 1 || !strings.Contains(d[0], "was due on 2027-03-14") {
		t.Errorf("the day after: %v", d)
	}
	if d := c.Doubts(day("2026-03-01")); len(d) != 1 {
		t.Errorf("before it was made: %v", d)
	}
	c.WorstPa = 101
	if d := c.Doubts(day("2026-04-01")); len(d) != 1 || !strings.Contains(d[0], "class") {
		t.Errorf("residual above the class: %v", d)
	}
	if d := (&Calibration{Sensor: "p1"}).Doubts(day("2026-04-01")); len(d) != 1 {
		t.Errorf("without dates: %v", d)
	}
}
