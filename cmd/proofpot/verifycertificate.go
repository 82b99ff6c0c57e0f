package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"proofpot/analysis/certificate"
	"proofpot/rig/record/signing"
)

// certificateReport is what became of a certificate.
type certificateReport struct {
	File     string   `json:"file"`
	SignedBy string   `json:"signed_by,omitempty"`
	Bad      []string `json:"bad,omitempty"`
	Checked  bool     `json:"checked"` // against the record beside it
}

// isCertificate says whether a path names a certificate rather than a record.
func isCertificate(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.Mode().IsRegular() && (strings.HasSuffix(path, ".html") || strings.HasSuffix(path, ".pdf"))
}

// checkCertificate checks the signature of a certificate, and makes it again from
// its record, beside it or named, to see whether that gives the same.
func (c *verifyCmd) checkCertificate(file string, trusted []signing.Public) (certificateReport, error) {
	rep := certificateReport{File: file}
	found, err := os.ReadFile(file)
	if err != nil {
		return rep, err
	}
	if _, err := os.Stat(file + signing.Suffix); err == nil {
		if len(trusted) > 0 {
			key, _, err := signing.Verify(file, trusted)
			if err != nil {
				rep.Bad = append(rep.Bad, err.Error())
			} else {
				rep.SignedBy = key.ID()
			}
		}
	}
	folder := c.Record
	if folder == "" {
		folder = filepath.Dir(file)
	}
	res, run, err := analyse(folder)
	if errors.Is(err, fs.ErrNotExist) && c.Record == "" {
		return rep, nil // the certificate alone
	}
	if err != nil {
		return rep, err
	}
	opts, err := c.options()
	if err != nil {
		return rep, err
	}
	rep.Checked, opts.Language = true, certificate.LanguageOf(found)
	if opts, err = ofRecord(folder, res, opts); err != nil {
		return rep, err
	}
	if opts.Chamber, opts.Inside, err = around(folder, res.Verdict.FirstFailure); err != nil {
		return rep, err
	}
	var given bytes.Buffer
	if strings.HasSuffix(file, ".pdf") {
		if err := certificate.WritePDF(&given, run, res, opts); err != nil {
			return rep, err
		}
		if !bytes.Equal(given.Bytes(), found) {
			rep.Bad = append(rep.Bad, "it is not the document that its record gives, byte for byte; compare it with certificate.html, which says where")
		}
		return rep, nil
	}
	if err := certificate.Write(&given, run, res, opts); err != nil {
		return rep, err
	}
	rep.Bad = append(rep.Bad, certificate.Altered(found, given.Bytes())...)
	return rep, nil
}

// words says it in lines.
func (r *certificateReport) words(signed bool) string {
	var b strings.Builder
	switch {
	case len(r.Bad) > 0:
		fmt.Fprintf(&b, "%s: ALTERED", r.File)
		for _, text := range r.Bad {
			fmt.Fprintf(&b, "\n  %s", text)
		}
	case r.Checked:
		fmt.Fprintf(&b, "%s: as its record gives it", r.File)
	default:
		fmt.Fprintf(&b, "%s: its record is not beside it, so its words were not checked (--record RECORD)", r.File)
	}
	switch {
	case r.SignedBy != "":
		fmt.Fprintf(&b, ", signed by key %s", r.SignedBy)
	case signed:
		b.WriteString(", but NOT SIGNED by a key that is trusted")
	}
	return b.String()
}
