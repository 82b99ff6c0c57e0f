package setup

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"proofpot/sensors/calibration"
)

func made(date string, c0 float64) calibration.Calibration {
	return calibration.Calibration{Sensor: "p1", Method: calibration.Zero, Date: date, Due: "2027-01-01", CorrectionPa: []float64{c0},
		Points: []calibration.Point{{ReferencePa: 1e5, ReadingPa: 1e5 - c0, Readings: 9}}}
}

func TestTheHistoryIsAppendedAndItsNewestApplies(t *testing.T) {
	bench := filepath.Join(t.TempDir(), "pot.toml")
	if all, err := LoadCalibrations(bench); err != nil || len(all) > 0 {
		t.Fatalf("never calibrated: %v, %v", all, err)
	}
	var before []byte
	for _, c := range []calibration.Calibration{made("2026-03-14", 100), made("2026-05-01", 200), made("2026-04-01", 300)} {
		if err := AppendCalibration(bench, c); err != nil {
			t.Fatal(err)
		}
		after, err := os.ReadFile(CalibrationFile(bench))
		if err != nil || !strings.HasPrefix(string(after), string(before)) {
			t.Fatalf("what stood in the file was changed: %v", err)
		}
		before = after
	}
	all, err := LoadCalibrations(bench)
	if err != nil || len(all) != 3 {
		t.Fatalf("%d entries, %v", len(all), err)
	}
	if c := NewestCalibration(all, "p1"); c.CorrectionPa[0] != 200 || len(c.Points) != 1 {
		t.Errorf("the newest is %+v", c)
	}
	if NewestCalibration(all, "p2") != nil {
		t.Error("another sensor's was taken")
	}
}

func TestACorrectionThatNoLimitCouldTrustIsRefused(t *testing.T) {
	b := Bench{RatedPa: 9e5}
	s := Sensor{ID: "p1", Measures: "chamber pressure"}
	for want, correction := range map[string][]float64{
		"at 50000 Pa": {-5e5}, "of -10140 Pa at 169000 Pa": {0, -6e3}, "": {300, 100, -5},
	} {
		c := made("2026-03-14", 0)
		c.CorrectionPa = correction
		err := b.CheckCalibration(s, &c)
		if want == "" && err != nil || want != "" && (err == nil || !strings.Contains(err.Error(), want)) {
			t.Errorf("%v: %v, want %q", correction, err, want)
		}
	}
	s.Measures = "room pressure"
	c := made("2026-03-14", 0)
	if b.CheckCalibration(s, &c) == nil {
		t.Error("a barometer was calibrated")
	}
}
