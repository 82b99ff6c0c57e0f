package main

import (
	"encoding/json"
	"fmt"
	"strings"

	"proofpot/rig/record/signing"
	"proofpot/rig/record/verify"
)

type verifyCmd struct {
	house
	Records []string `arg:"" name:"record" help:"Folders of records, or certificates (.html, .pdf)." placeholder:"RECORD"`
	Record  string   `help:"The record of a certificate that does not lie beside it." placeholder:"RECORD"`
	Key     []string `sep:"none" help:"Public key whose signature is trusted; may be given again. Without it, this bench's own." placeholder:"BENCH.PUB"`
	Signed  bool     `help:"A record that no trusted key has signed is the answer no."`
	JSON    bool     `name:"json" help:"Print one line of JSON a record."`
}

// Run reads each record to its end and names the first bad line.
func (c *verifyCmd) Run(w *world) error {
	trusted, err := c.trusted()
	if err != nil {
		return err
	}
	bad := false
	for _, folder := range c.Records {
		if isCertificate(folder) {
			rep, err := c.checkCertificate(folder, trusted)
			if err != nil {
				return coded{exitUsage, err}
			}
			bad = bad || len(rep.Bad) > 0 || c.Signed && rep.SignedBy == ""
			if c.JSON {
				if err := json.NewEncoder(w.out).Encode(rep); err != nil {
					return err
				}
			} else {
				fmt.Fprintln(w.out, rep.words(c.Signed))
			}
			continue
		}
		rep, err := verify.Check(folder, trusted)
		if err != nil {
			return coded{exitUsage, err}
		}
		bad = bad || rep.BadCount > 0 || c.Signed && rep.SignedBy == ""
		if c.JSON {
			if err := json.NewEncoder(w.out).Encode(rep); err != nil {
				return err
			}
			continue
		}
		fmt.Fprintf(w.out, "%s: %s\n", folder, wordsOf(&rep, c.Signed))
		for _, f := range rep.Remarks {
			fmt.Fprintf(w.out, "  %s\n", f)
		}
	}
	if bad {
		return answer(exitNo)
	}
	return nil
}

func (c *verifyCmd) trusted() ([]signing.Public, error) {
	files := c.Key
	if len(files) == 0 {
		if file := defaultKey(); file != "" {
			if p, err := signing.LoadPublic(signing.PublicFile(file)); err == nil {
				return []signing.Public{p}, nil
			}
		}
		return nil, nil
	}
	var keys []signing.Public
	for _, file := range files {
		p, err := signing.LoadPublic(file)
		if err != nil {
			return nil, err
		}
		keys = append(keys, p)
	}
	return keys, nil
}

// wordsOf says in one line what became of a record.
func wordsOf(rep *verify.Report, signed bool) string {
	var b strings.Builder
	switch {
	case rep.BadCount > 0:
		fmt.Fprintf(&b, "NOT INTACT, %s", rep.Bad[0])
		if rep.BadCount > 1 {
			fmt.Fprintf(&b, " (and %d more)", rep.BadCount-1)
		}
		return b.String()
	case !rep.Chained:
		b.WriteString("readable, but not chained: alterations would not show")
	default:
		fmt.Fprintf(&b, "intact, %d lines", rep.Lines)
		if rep.Unchained > 0 || rep.TornBytes > 0 {
			fmt.Fprintf(&b, "; the last %d lines are not chained and %d bytes of a torn line were left out, as a power cut leaves them", rep.Unchained, rep.TornBytes)
		}
	}
	switch {
	case rep.SignedBy != "":
		fmt.Fprintf(&b, ", signed by key %s", rep.SignedBy)
	case signed:
		b.WriteString(", but NOT SIGNED by a key that is trusted")
	}
	return b.String()
}
