package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"proofpot/analysis"
	"proofpot/analysis/certificate"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

const (
	certificateFile = "certificate.html"
	certificatePDF  = "certificate.pdf"
)

type certificateCmd struct {
	Records []string `arg:"" name:"record" help:"Folders of records." placeholder:"RECORD"`
}

// Run analyses each record afresh and writes its certificate.
func (c *certificateCmd) Run(w *world) error {
	for _, folder := range c.Records {
		res, run, err := analyse(folder)
		if err != nil {
			return err
		}
		if err := writeVerdict(folder, res); err != nil {
			return err
		}
		if err := writeCertificate(folder, run, res); err != nil {
			return err
		}
		fmt.Fprintln(w.out, filepath.Join(folder, certificateFile))
	}
	return nil
}

// writeCertificate writes certificate.html and certificate.pdf. They are dated by the end of the
// record, not by the clock, so that the same record gives the same bytes.
func writeCertificate(folder string, run setup.Run, res *analysis.Result) error {
	sum, err := fingerprint(filepath.Join(folder, record.ReadingsFile))
	if err != nil {
		return err
	}
	opts := certificate.Options{Version: version(), SHA256: sum}
	if n := len(res.Stages); n > 0 {
		opts.Generated = res.Stages[n-1].End
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

func fingerprint(file string) (string, error) {
	f, err := os.Open(file)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
