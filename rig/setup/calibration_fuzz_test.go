package setup

import (
	"math"
	"os"
	"testing"

	"proofpot/sensors/calibration"
)

// What is taken for a calibration can be written back, and corrects a pressure
// that is allowed by a number.
func FuzzCalibrations(f *testing.F) {
	made, err := calibration.Fit([]calibration.Point{
		{ReferencePa: 1e5, ReferenceUPa: 50, ReadingPa: 100300, ScatterPa: 20, Readings: 9},
		{ReferencePa: 5e5, ReferenceUPa: 50, ReadingPa: 500900, ScatterPa: 20, Readings: 9, Falling: true},
		{ReferencePa: 7e5, ReferenceUPa: 50, ReadingPa: 701200, ScatterPa: 20, Readings: 9},
	}, 1, calibration.Class{AccuracyPa: 2500})
	if err != nil {
		f.Fatal(err)
	}
	made.Sensor, made.Method, made.Date, made.Due, made.By, made.Reference = "p1", calibration.Points, "2026-03-14", "2027-03-14", "Keeper", "gauge"
	bench := f.TempDir() + "/bench.toml"
	if err := AppendCalibration(bench, made); err != nil {
		f.Fatal(err)
	}
	text, err := os.ReadFile(CalibrationFile(bench))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add([]byte("[[calibration]]\nsensor = \"p1\"\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		all, err := parseCalibrations("bench.calibration.toml", data)
		if err != nil {
			return
		}
		b := Bench{RatedPa: 9e5}
		for i := range all {
			c := &all[i]
			if b.CheckCalibration(Sensor{ID: "p1", Measures: "chamber pressure"}, c) != nil {
				continue
			}
			for _, pa := range []float64{5e4, 1e5, 9e5} {
				if v := c.Correct(pa); math.IsNaN(v) || math.Abs(v-pa) > max(correctionMostPa, correctionMostShare*pa) {
					t.Fatalf("%g Pa is corrected to %g", pa, v)
				}
			}
		}
	})
}
