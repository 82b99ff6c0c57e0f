package calibration

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// DateLayout is how dates are written.
const DateLayout = "2006-01-02"

// How the points were made.
const (
	Zero     = "zero"
	TwoPoint = "two-point"
	Points   = "points"
	Hose     = "hose"
)

// Methods lists the methods.
func Methods() []string { return []string{Zero, TwoPoint, Points, Hose} }

// Point is what a sensor read at a known pressure.
type Point struct {
	ReferencePa  float64 `toml:"reference_pa"`              // absolute
	ReferenceUPa float64 `toml:"reference_u_pa"`            // standard uncertainty
	ReadingPa    float64 `toml:"reading_pa"`                // absolute, mean, uncorrected
	ScatterPa    float64 `toml:"scatter_pa"`                // standard deviation of one reading
	Readings     int     `toml:"readings"`                  // in the mean
	Falling      bool    `toml:"falling,omitempty"`         // reached from above
	ResidualPa   float64 `toml:"residual_pa"`               // reference less corrected reading; filled in by the fit
	HeightM      float64 `toml:"column_height_m,omitempty"` // of a water column, for the file alone
}

// Calibration is one entry of calibration.toml.
type Calibration struct {
	Sensor       string    `toml:"sensor"` // id in bench.toml
	Method       string    `toml:"method"`
	Date         string    `toml:"date"` // YYYY-MM-DD
	Due          string    `toml:"due"`  // last day on which it holds
	By           string    `toml:"by"`
	Reference    string    `toml:"reference"`     // what was read beside the sensor
	CorrectionPa []float64 `toml:"correction_pa"` // c0, c1, …: true = reading + c0 + c1·b + c2·b² …, b the reading in bar absolute
	LowPa        float64   `toml:"low_pa"`        // absolute, range of the points
	HighPa       float64   `toml:"high_pa"`
	AccuracyPa   float64   `toml:"accuracy_pa,omitempty"` // class of the sensor at the time
	WorstPa      float64   `toml:"worst_residual_pa"`     // largest size
	HysteresisPa float64   `toml:"hysteresis_pa"`         // largest difference between falling and rising; 0 also where not measured
	Budget       Budget    `toml:"budget"`
	Points       []Point   `toml:"point"`
}

// Correct gives the pressure, Pa absolute, that a reading stands for.
func (c *Calibration) Correct(readingPa float64) float64 {
	b, sum := readingPa/1e5, 0.0
	for i := len(c.CorrectionPa) - 1; i >= 0; i-- {
		sum = sum*b + c.CorrectionPa[i]
	}
	return readingPa + sum
}

// Doubts says why a calibration does not bear a verdict on a day; nothing where it does.
func (c *Calibration) Doubts(day time.Time) []string {
	var all []string
	date, err := time.Parse(DateLayout, c.Date)
	due, err2 := time.Parse(DateLayout, c.Due)
	today := day.UTC().Format(DateLayout)
	switch {
	case err != nil || err2 != nil:
		all = append(all, fmt.Sprintf("the calibration of sensor %s has no date or due date", c.Sensor))
	case today > due.Format(DateLayout):
		all = append(all, fmt.Sprintf("the calibration of sensor %s was due on %s", c.Sensor, c.Due))
	case date.After(day.Add(24 * time.Hour)):
		all = append(all, fmt.Sprintf("the calibration of sensor %s is of %s, after the run", c.Sensor, c.Date))
	}
	if !(c.AccuracyPa > 0) {
		return all
	}
	if !(c.WorstPa <= c.AccuracyPa) {
		all = append(all, fmt.Sprintf("a residual of the calibration of sensor %s is %.0f Pa, its accuracy class is %.0f Pa", c.Sensor, c.WorstPa, c.AccuracyPa))
	}
	return all
}

const (
	mostPa     = 1e9 // of any figure
	mostDegree = 3
)

// Check says what of an entry cannot be used.
func (c *Calibration) Check() error {
	if c.Sensor == "" {
		return errors.New("sensor: must name a sensor of bench.toml")
	}
	for _, d := range [...][2]string{{"date", c.Date}, {"due", c.Due}} {
		if _, err := time.Parse(DateLayout, d[1]); err != nil {
			return fmt.Errorf("%s: %q is no date; write 2026-03-14", d[0], d[1])
		}
	}
	if c.Due < c.Date {
		return fmt.Errorf("due: %s is before the date, %s", c.Due, c.Date)
	}
	if len(c.CorrectionPa) == 0 || len(c.CorrectionPa) > mostDegree+1 {
		return fmt.Errorf("correction_pa: has %d numbers; a constant to a cubic has 1 to %d", len(c.CorrectionPa), mostDegree+1)
	}
	for i, v := range append([]float64{c.WorstPa, c.AccuracyPa, c.HysteresisPa, c.Budget.ExpandedPa}, c.CorrectionPa...) {
		if !(math.Abs(v) <= mostPa) {
			return fmt.Errorf("%g is no correction, residual or uncertainty of a pressure", v)
		}
		if i < 4 && v < 0 {
			return fmt.Errorf("%g must not be below 0: a residual, class, hysteresis or uncertainty is a size", v)
		}
	}
	return nil
}
