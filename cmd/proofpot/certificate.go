package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/certificate"
	"proofpot/analysis/certificate/photographs"
	"proofpot/analysis/certificate/plots"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

const (
	certificateFile = "certificate.html"
	certificatePDF  = "certificate.pdf"
	labelSVG        = "label.svg"
	labelPDF        = "label.pdf"
)

type certificateCmd struct {
	house
	keyFlag
	Label   bool     `help:"Write a label for the unit's case too, label.svg and label.pdf."`
	Records []string `arg:"" name:"record" help:"Folders of records." placeholder:"RECORD"`
}

// Run analyses each record afresh and writes its certificate.
func (c *certificateCmd) Run(w *world) error {
	defer sparing()()
	opts, err := c.options()
	if err != nil {
		return err
	}
	key, err := c.load()
	if err != nil {
		return err
	}
	for _, folder := range c.Records {
		res, run, err := analyse(folder)
		if err != nil {
			return err
		}
		if err := writeVerdict(folder, res); err != nil {
			return err
		}
		if err := writeCertificate(folder, run, res, opts); err != nil {
			return err
		}
		if err := signCertificates(folder, key); err != nil {
			return err
		}
		fmt.Fprintln(w.out, filepath.Join(folder, certificateFile))
		if c.Label {
			if err := writeLabel(folder, run, res, opts); err != nil {
				return err
			}
			fmt.Fprintln(w.out, filepath.Join(folder, labelPDF))
		}
	}
	return nil
}

// writeCertificate writes certificate.html and certificate.pdf. They are dated by the end of the
// record, not by the clock, so that the same record gives the same bytes.
func writeCertificate(folder string, run setup.Run, res *analysis.Result, opts certificate.Options) error {
	opts, err := ofRecord(folder, res, opts)
	if err != nil {
		return err
	}
	if opts.Chamber, opts.Inside, err = around(folder, res.Verdict.FirstFailure); err != nil {
		return err
	}
	var page bytes.Buffer
	if err := certificate.Write(&page, run, res, opts); err != nil {
		return err
	}
	if err := record.WriteWhole(filepath.Join(folder, certificateFile), page.Bytes(), 0o644); err != nil {
		return err
	}
	page.Reset()
	if err := certificate.WritePDF(&page, run, res, opts); err != nil {
		return err
	}
	return record.WriteWhole(filepath.Join(folder, certificatePDF), page.Bytes(), 0o644)
}

// ofRecord completes the options with what belongs to the record: its
// fingerprint, its end as the date, and its photographs.
func ofRecord(folder string, res *analysis.Result, opts certificate.Options) (certificate.Options, error) {
	var err error
	if opts.SHA256, err = record.Fingerprint(folder); err != nil {
		return opts, err
	}
	if n := len(res.Stages); n > 0 {
		opts.Generated = res.Stages[n-1].End
	}
	opts.Photographs, err = pictured(folder, res)
	return opts, err
}

// pictured reads the photographs that a record notes.
func pictured(folder string, res *analysis.Result) ([]certificate.Shown, error) {
	root, err := os.OpenRoot(folder)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	var all []certificate.Shown
	for _, p := range photographs.Noted(res.Events) {
		s := certificate.Shown{Photograph: p}
		file, err := root.ReadFile(p.Path)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			s.Why = certificate.ErrMissing
		case err != nil:
			return nil, err
		default:
			s.JPEG, s.Width, s.Height, s.Why = p.Small(file)
		}
		all = append(all, s)
	}
	return all, nil
}

func writeLabel(folder string, run setup.Run, res *analysis.Result, opts certificate.Options) error {
	opts, err := ofRecord(folder, res, opts)
	if err != nil {
		return err
	}
	for file, write := range map[string]func(io.Writer, setup.Run, *analysis.Result, certificate.Options) error{
		labelSVG: certificate.WriteLabel, labelPDF: certificate.WriteLabelPDF} {
		var b bytes.Buffer
		if err := write(&b, run, res, opts); err != nil {
			return err
		}
		if err := record.WriteWhole(filepath.Join(folder, file), b.Bytes(), 0o644); err != nil {
			return err
		}
	}
	return nil
}

// around reads the pressures round a first failure as they were recorded.
func around(folder string, f *analysis.FirstFailure) (chamber, inside []analysis.Point, err error) {
	if f == nil || f.Time.IsZero() {
		return nil, nil, nil
	}
	from, to := plots.MomentSpan(f)
	r, err := record.OpenWithInside(folder)
	if err != nil {
		return nil, nil, err
	}
	defer r.Close()
	first := "" // sensor of the chamber: the one that the run went by
	var l record.Line
	for {
		if err := r.Next(&l); err == io.EOF {
			break
		} else if err != nil {
			return nil, nil, err
		}
		if l.TimeNS < from.UnixNano() || math.IsNaN(l.PressurePa) {
			continue
		}
		if l.TimeNS > to.UnixNano() {
			break
		}
		p := analysis.Point{Time: time.Unix(0, l.TimeNS).UTC(), Value: l.PressurePa}
		switch l.Measurement {
		case record.Chamber:
			if first == "" {
				first = l.Sensor
			}
			if l.Sensor == first {
				chamber = append(chamber, p)
			}
		case record.UnitInside:
			inside = append(inside, p)
		}
	}
	return plots.Thin(chamber, mostPoints), plots.Thin(inside, mostPoints), nil
}

const mostPoints = 1500
