package certificate

import (
	"testing"

	"proofpot/rig/setup"
	"proofpot/sensors/calibration"
)

func TestTheCertificateGivesTheDatesOfACalibration(t *testing.T) {
	s := setup.Sensor{ID: "p1"}
	if got := englishPen.calibratedText(s); got != "not stated" {
		t.Errorf("never calibrated: %q", got)
	}
	s.Calibration = &calibration.Calibration{Date: "2026-03-14", Due: "2027-03-14", Reference: "gauge G-1",
		Budget: calibration.Budget{ExpandedPa: 310, Coverage: 2}}
	if got := englishPen.calibratedText(s); got != "2026-03-14, due 2027-03-14, ± 310 Pa (2.00 s.d.), against gauge G-1" {
		t.Error(got)
	}
}
