package certificate

import (
	"strings"
	"testing"
)

// TestTheDocumentHoldsWhatACalibrationCertificateHolds goes by the list of
// contents of ISO/IEC 17025:2017, 7.8.2.1 and 7.8.3.1 (the clauses from memory; the
// standard is not at hand), as a check-list: no accreditation is claimed by it.
func TestTheDocumentHoldsWhatACalibrationCertificateHolds(t *testing.T) {
	s := sceneMakers["burst"](t)
	screen := plain(written(t, s.run, s.r, options()))
	sheet := ask(t, "pdftotext", "-raw", onDisk(t, printed(t, s)), "-")
	for item, want := range map[string][]string{
		"a) title":                                {"Pressure test report"},
		"b) name and address of the laboratory":   {"Lake acoustics club", "Boat house, pod bench"},
		"d) unique identification":                {s.r.Verdict.Record},
		"f) method used":                          {"Profile " + s.run.Profile.Name, s.run.Profile.Hash()[:16]},
		"g) description and identity of the item": {"Unit and closure", s.run.Unit.ID, "Seals", "Torque", "Lubricant"},
		"i) dates of the activity":                {"Test started"},
		"j) date of issue":                        {"Written", "2026-11-28"},
		"l) relates only to the item tested":      {"in this closure, and no other"},
		"m) results with units":                   {"Result of each stage", "ml/h"},
		"n) deviations":                           {"Events and deviations", "Gaps"},
		"o) who authorises":                       {"Closed by, date", "Tested by, date", "Checked by, date"},
		"7.8.3.1 a) conditions":                   {"Conditions", "Room", "Water"},
		"7.8.3.1 c) measurement uncertainty":      {"Uncertainty in brief", "combined"},
		"7.8.6 decision rule":                     {"Decision rule."},
		"equipment and its calibration":           {"Equipment and calibration", "Calibrated", "Blank leak"},
	} {
		for _, text := range want {
			for name, got := range map[string]string{"the page": screen, "the paper": sheet} {
				if !strings.Contains(dense(got), dense(text)) {
					t.Errorf("%s: %q is not on %s", item, text, name)
				}
			}
		}
	}
	if !strings.Contains(sheet, "page 1 of ") || !strings.Contains(sheet, "page 2 of ") {
		t.Error("d) the pages are not numbered of how many")
	}
}
