package certificate

import (
	"bytes"
	"strings"
	"testing"
)

// TestTheDocumentHoldsWhatACalibrationCertificateHolds goes by the list of
// contents of ISO/IEC 17025:2017, 7.8.2.1 and 7.8.3.1 (the clauses from memory; the
// standard is not at hand), as a check-list: no accreditation is claimed by it.
func TestTheDocumentHoldsWhatACalibrationCertificateHolds(t *testing.T) {
	s := sceneMakers["burst"](t)
	for _, o := range []Options{options(), german()} {
		screen := plain(written(t, s.run, s.r, o))
		var pdf bytes.Buffer
		if err := WritePDF(&pdf, s.run, s.r, o); err != nil {
			t.Fatal(err)
		}
		sheet := ask(t, "pdftotext", "-raw", onDisk(t, pdf.Bytes()), "-")
		for item, want := range map[string][]string{
			"a) title":                                {"Pressure test report"},
			"b) name and address of the laboratory":   append([]string{o.Letterhead}, o.LetterheadLines...),
			"d) unique identification":                {s.r.Verdict.Record},
			"f) method used":                          {"Profile %s (SHA-256 %s…); rate of the ramps %s.", s.run.Profile.Name, s.run.Profile.Hash()[:16]},
			"g) description and identity of the item": {"Unit and closure", s.run.Unit.ID, "Seals", "Torque", "Lubricant"},
			"i) dates of the activity":                {"Test started"},
			"j) date of issue":                        {"As of", "2026-11-28"},
			"l) relates only to the item tested":      {"Limits of validity", "This unit (%s) in this closure, and no other. Opening it, or changing a seal, window or penetrator, ends the result for that joint."},
			"m) results with units":                   {"Result of each stage", "Leak (bounds), ml/h"},
			"n) deviations":                           {"Events and deviations", "Gaps"},
			"o) who authorises":                       {"Closed by, date", "Tested by, date", "Checked by, date"},
			"7.8.3.1 a) conditions":                   {"Conditions", "Room", "Water"},
			"7.8.3.1 c) measurement uncertainty":      {"Uncertainty in brief", "combined"},
			"7.8.6 decision rule":                     {"Decision rule."},
			"equipment and its calibration":           {"Equipment and calibration", "Calibrated", "Blank leak"},
		} {
			for _, text := range want {
				text = o.Language.T(text)
				if before, _, gap := strings.Cut(text, "%s"); gap {
					text = before
				}
				for name, got := range map[string]string{"the page": screen, "the paper": sheet} {
					if !strings.Contains(dense(got), dense(text)) {
						t.Errorf("%s, %s: %q is not on %s", o.Language, item, text, name)
					}
				}
			}
		}
		for n := 1; n <= 2; n++ {
			if of, _, _ := strings.Cut(o.Language.F(pageOf, n, "%"), "%"); !strings.Contains(sheet, of) {
				t.Errorf("d) the pages are not numbered of how many: %q", of)
			}
		}
	}
}
