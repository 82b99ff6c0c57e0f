package analysis

import (
	"strings"
	"testing"
	"time"

	"proofpot/rig/setup"
	"proofpot/sensors/calibration"
)

func TestAnOverdueCalibrationKeepsARunFromAPass(t *testing.T) {
	c := &calibration.Calibration{Sensor: "p1", Date: "2026-03-14", Due: "2026-09-14", AccuracyPa: 2500, WorstPa: 300}
	a := &analysis{whole: Integrity{Intact: true}, s: &signal{}, x: &table{ended: true, startNS: time.Date(2026, 9, 15, 8, 0, 0, 0, time.UTC).UnixNano()},
		run: setup.Run{Bench: setup.Bench{Sensors: []setup.Sensor{{ID: "p1", Calibration: c}, {ID: "p2"}}}}}
	if got := strings.Join(a.doubts(), "\n"); !strings.Contains(got, "the calibration of sensor p1 was due on 2026-09-14") {
		t.Errorf("doubts are %q", got)
	}
	c.Due, c.WorstPa = "2027-03-14", 2600
	if got := strings.Join(a.doubts(), "\n"); !strings.Contains(got, "its accuracy class is 2500 Pa") {
		t.Errorf("doubts are %q", got)
	}
	c.WorstPa = 300
	if got := a.calibrationDoubts(); len(got) > 0 {
		t.Errorf("doubts about a calibration that holds: %q", got)
	}
}
