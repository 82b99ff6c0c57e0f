package setup

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"proofpot/profiles/strict"
	"proofpot/sensors"
	"proofpot/sensors/calibration"
)

// calibrations is the file beside bench.toml: every calibration that was made,
// in the order of making.
type calibrations struct {
	Calibration []calibration.Calibration `toml:"calibration"`
}

// CalibrationFile is where the calibrations of a bench file lie. Each bench has
// its own: sensors of two benches may share a name.
func CalibrationFile(benchFile string) string {
	return strings.TrimSuffix(benchFile, ".toml") + ".calibration.toml"
}

// LoadCalibrations reads the history of a bench, oldest first. A bench whose
// sensors were never calibrated has none.
func LoadCalibrations(benchFile string) ([]calibration.Calibration, error) {
	name := CalibrationFile(benchFile)
	data, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("calibrations of the bench: %w", err)
	}
	return parseCalibrations(name, data)
}

func parseCalibrations(name string, data []byte) ([]calibration.Calibration, error) {
	var all calibrations
	if err := strict.Decode(name, data, &all); err != nil {
		return nil, err
	}
	for i := range all.Calibration {
		if err := all.Calibration[i].Check(); err != nil {
			return nil, placed(name, data, wrong(fmt.Sprintf("calibration[%d]", i), "%v", err))
		}
	}
	return all.Calibration, nil
}

// NewestCalibration is the last by date of a sensor, of those of one day the last
// in the file; nil where there is none.
func NewestCalibration(all []calibration.Calibration, sensor string) *calibration.Calibration {
	var newest *calibration.Calibration
	for i := range all {
		if c := &all[i]; c.Sensor == sensor && (newest == nil || c.Date >= newest.Date) {
			newest = c
		}
	}
	return newest
}

// calibrate gives each sensor its newest calibration.
func (b *Bench) calibrate(file string) error {
	all, err := LoadCalibrations(file)
	if err != nil {
		return err
	}
	for i := range b.Sensors {
		s := &b.Sensors[i]
		if s.Calibration = NewestCalibration(all, s.ID); s.Calibration == nil {
			continue
		}
		if err := b.CheckCalibration(*s, s.Calibration); err != nil {
			return fmt.Errorf("%s: %w", CalibrationFile(file), err)
		}
	}
	return nil
}

// A correction beyond both of these is no calibration but a sensor that is
// broken or wrongly described: the limits of the rig would go by it (common
// practice, no source).
const (
	correctionMostPa    = 10e3
	correctionMostShare = 0.05
)

// CheckCalibration says why a correction may not be used for a sensor: it
// measures no pressure that is calibrated, or the limits of the rig could not be
// trusted to it.
func (b *Bench) CheckCalibration(s Sensor, c *calibration.Calibration) error {
	if s.Measures != sensors.ChamberPressure.String() && s.Measures != sensors.UnitPressure.String() {
		return fmt.Errorf("sensor %q measures %s; what is calibrated here is %s and %s", s.ID, s.Measures, sensors.ChamberPressure, sensors.UnitPressure)
	}
	top := max(b.RatedPa, 2e5)
	before := math.Inf(-1)
	for i := range 101 {
		p := 5e4 + (top-5e4)*float64(i)/100
		v := c.Correct(p)
		if d := math.Abs(v - p); !(d <= max(correctionMostPa, correctionMostShare*p)) {
			return fmt.Errorf("sensor %q: a correction of %.0f Pa at %.0f Pa absolute: the sensor is broken, wrongly described, or a point is wrong", s.ID, v-p, p)
		}
		if v <= before {
			return fmt.Errorf("sensor %q: the corrected pressure falls while the reading rises, at %.0f Pa absolute: too high a degree for its points", s.ID, p)
		}
		before = v
	}
	return nil
}

// AppendCalibration adds an entry to the history of a bench. What stands in the
// file is never rewritten; the entry is on the disk when it returns.
func AppendCalibration(benchFile string, c calibration.Calibration) (err error) {
	if err := c.Check(); err != nil {
		return err
	}
	if _, err := LoadCalibrations(benchFile); err != nil {
		return err
	}
	data, err := toml.Marshal(calibrations{[]calibration.Calibration{c}})
	if err != nil {
		return err
	}
	name := CalibrationFile(benchFile)
	if _, err := parseCalibrations(filepath.Base(name), data); err != nil {
		return fmt.Errorf("an entry that could not be read back: %w", err)
	}
	f, err := os.OpenFile(name, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if _, err = f.Write(append([]byte("\n"), data...)); err != nil {
		return err
	}
	return f.Sync()
}
