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
	system, err := units.System{Depth: opts.Depth, Pressure: opts.Pressure}.Check()
	if err != nil {
		return nil, fmt.Errorf("label: %w", err)
	}
	if err := contradiction(run, r); err != nil {
		return nil, fmt.Errorf("label: %w", err)
	}
	v := &r.Verdict
	date := "date unknown"
	if start := plots.Start(r); !start.IsZero() {
		date = start.UTC().Format("2006-01-02")
	}
	l := plots.LabelText{Unit: units.Clean(named(v.Unit), 24), Code: codeText(r, opts),
		Foot: "until opened, struck or mended; see its certificate"}
	switch v.Verdict {
	case analysis.Pass:
		l.Word = system.DepthDown(v.RatedDepthM)
		l.Lines = []string{waterWord(run) + ", as closed", "tested " + date}
	case analysis.Fail:
		l.Word, l.Lines = "DO NOT DIVE", []string{"failed its test", date}
	default:
		l.Word, l.Lines = "DO NOT DIVE", []string{"test inconclusive", date}
	}
	return plots.Label(l)
}

func waterWord(run setup.Run) string {
	if w := run.Profile.Water.Model; w != "" {
		return units.Clean(w, 12) + " water"
	}
	return "water not stated"
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
	return paper.Alone(w, paper.Properties{Title: "Label: unit " + r.Verdict.Unit, Creator: "proofpot " + opts.Version,
		Language: "en", Written: opts.Generated}, label.Drawing)
}
