package certificate

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"

	"proofpot/profiles"
	"proofpot/rig/setup"
	"proofpot/sensors/calibration"
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

func TestTheDepthsSayHowGoodTheyAre(t *testing.T) {
	s := sceneMakers["burst"](t)
	column, err := profiles.NewColumn(s.run.Profile.Water)
	if err != nil {
		t.Fatal(err)
	}
	s.run.Bench.Sensors = []setup.Sensor{{ID: "t1", Measures: "chamber water temperature"}, {ID: "p1", Measures: "chamber pressure", AccuracyPa: 3000}}
	want := fmt.Sprintf("± %.2f m, by the accuracy that the sheet of sensor p1 claims", math.Ceil(100*3000/(column.DensityKgM3*column.GravityMS2))/100)
	if got := section(t, written(t, s.run, s.r, options()), "Claim"); !strings.Contains(got, want) {
		t.Errorf("%q is not in %s", want, got)
	}
	s.run.Bench.Sensors[1].Calibration = &calibration.Calibration{Budget: calibration.Budget{ExpandedPa: 500, Coverage: 2}}
	if got := section(t, written(t, s.run, s.r, options()), "Claim"); !strings.Contains(got, "± 0.05 m, by the calibration of sensor p1 (2.00 s.d.)") && !strings.Contains(got, "± 0.06 m, by the calibration of sensor p1 (2.00 s.d.)") {
		t.Error(got)
	}
	s.run.Bench.Sensors = nil
	if got := section(t, written(t, s.run, s.r, options()), "Claim"); !strings.Contains(got, "Depth good to not stated") {
		t.Error(got)
	}
}

// TestAShowOnTheSimulatedBenchCannotPassForATest: page, paper, label and code say it.
func TestAShowOnTheSimulatedBenchCannotPassForATest(t *testing.T) {
	s := sceneMakers["pass with nothing measured inside"](t)
	s.run.Bench.Sensors = []setup.Sensor{{ID: "p1", Measures: "chamber pressure", Driver: "simulated"}}
	document := written(t, s.run, s.r, options())
	if !strings.Contains(plain(document), "Simulated bench: no unit was tested.") {
		t.Error("not on the page")
	}
	if sheet := ask(t, "pdftotext", onDisk(t, printed(t, s)), "-"); !strings.Contains(sheet, "Simulated bench: no unit was tested.") {
		t.Error("not on paper")
	}
	label, err := newLabel(s.run, s.r, options())
	if err != nil {
		t.Fatal(err)
	}
	if said := fmt.Sprint(label.Texts()); !strings.Contains(said, "SIMULATED") {
		t.Error(said)
	}
	if code := englishPen.codeText(s.run, s.r, options()); !strings.Contains(code, "simulated, no unit was tested") {
		t.Error(code)
	}
}
