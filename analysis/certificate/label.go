package certificate

import (
	"fmt"
	"io"

	"proofpot/analysis"
	"proofpot/analysis/certificate/paper"
	"proofpot/analysis/certificate/plots"
	"proofpot/analysis/certificate/units"
	"proofpot/rig/setup"
)

// newLabel draws the label for the case of a unit: what it is rated for as it
// was closed, or that it must not dive.
func newLabel(run setup.Run, r *analysis.Result, opts Options) (*plots.Picture, error) {
	u, err := opts.pen()
	if err != nil {
		return nil, fmt.Errorf("label: %w", err)
	}
	if err := contradiction(run, r); err != nil {
		return nil, fmt.Errorf("label: %w", err)
	}
	v := &r.Verdict
	date := u.T("date unknown")
	if start := plots.Start(r); !start.IsZero() {
		date = start.UTC().Format("2006-01-02")
	}
	l := plots.LabelText{Unit: units.Clean(u.named(v.Unit), 24), Code: u.codeText(run, r, opts),
		Foot: u.T("until repaired and passed anew; see its report")}
	switch v.Verdict {
	case analysis.Pass:
		l.Word, l.Foot = u.DepthDown(v.RatedDepthM), u.T("until opened, struck or mended; see its certificate")
		l.Lines = []string{u.F("%s, as closed", u.waterWord(run)), u.F("tested %s", date)}
		if !(v.RatedDepthM > 0) { // a check that proves no depth
			l.Word, l.Lines[0] = u.T("NOT RATED"), u.T("passed a check, no depth rated")
		}
	case analysis.Fail:
		l.Word, l.Lines = u.T("DO NOT DIVE"), []string{u.T("failed its test"), date}
	default:
		l.Word, l.Lines = u.T("DO NOT DIVE"), []string{u.T("test inconclusive"), date}
	}
	if simulated(run) {
		l.Lines[0] = l.Word + ", " + l.Lines[0]
		l.Word, l.Foot = u.T("SIMULATED"), u.T("simulated, no unit was tested")
	}
	return plots.Label(l, u.System)
}

func (u pen) waterWord(run setup.Run) string {
	if w := run.Profile.Water.Model; w != "" {
		return u.T(units.Clean(w, 12) + " water")
	}
	return u.T("water not stated")
}

// WriteLabel writes the label as SVG, 62 mm by 29 mm.
func WriteLabel(w io.Writer, run setup.Run, r *analysis.Result, opts Options) error {
	label, err := newLabel(run, r, opts)
	if err != nil {
		return err
	}
	_, err = w.Write(label.SVG())
	return err
}

// WriteLabelPDF writes the label as a PDF of its own size.
func WriteLabelPDF(w io.Writer, run setup.Run, r *analysis.Result, opts Options) error {
	label, err := newLabel(run, r, opts)
	if err != nil {
		return err
	}
	return paper.Alone(w, paper.Properties{Title: label.Title, Creator: "proofpot " + opts.Version,
		Language: opts.Language.Tag(), Written: opts.Generated}, label.Drawing)
}
