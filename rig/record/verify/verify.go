// Package verify checks a record as a stranger would: is it whole and unaltered,
// is it in order, do its settings agree with what its readings say, and who
// signed it.
package verify

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"proofpot/rig/record"
	"proofpot/rig/record/signing"
	"proofpot/rig/setup"
)

// Finding is one thing to know about a record.
type Finding struct {
	Line int64  `json:"line,omitempty"` // of readings.lp, from 1; 0 where it is no line's
	Text string `json:"text"`
}

// String gives the finding with its line.
func (f Finding) String() string {
	if f.Line == 0 {
		return f.Text
	}
	return fmt.Sprintf("line %d: %s", f.Line, f.Text)
}

// Report is what was found.
type Report struct {
	Record    string    `json:"record"`
	Lines     int64     `json:"lines"`
	Chained   bool      `json:"chained"`
	Unchained int64     `json:"unchained"`  // lines behind the last chain line
	TornBytes int       `json:"torn_bytes"` // of a last line without its end
	SignedBy  string    `json:"signed_by"`  // the key's number, empty where none that is trusted did
	Bad       []Finding `json:"bad"`        // what makes the record one not to trust, in order of lines
	BadCount  int       `json:"bad_count"`  // how much of it there is
	Remarks   []Finding `json:"remarks"`    // what is good to know
}

const keep = 20

func (r *Report) bad(line int64, format string, args ...any) {
	r.BadCount++
	if len(r.Bad) < keep {
		r.Bad = append(r.Bad, Finding{line, fmt.Sprintf(format, args...)})
	}
}

func (r *Report) remark(line int64, format string, args ...any) {
	if len(r.Remarks) < keep {
		r.Remarks = append(r.Remarks, Finding{line, fmt.Sprintf(format, args...)})
	}
}

// Check reads a record to its end. trusted are the public keys whose signature
// counts. The error is that of a folder that cannot be read as a record.
func Check(folder string, trusted []signing.Public) (Report, error) {
	r, err := record.Open(folder)
	if err != nil {
		return Report{}, err
	}
	defer r.Close()
	rep := Report{Record: r.Name, Bad: []Finding{}, Remarks: []Finding{}}
	for _, w := range r.Warnings {
		rep.remark(0, "%s", w)
	}
	if err := checkLines(&rep, r.Run, r); err != nil {
		return rep, fmt.Errorf("%s: %w", filepath.Join(folder, record.ReadingsFile), err)
	}
	if u := r.TimeUnit(); u > 1 {
		rep.remark(0, "its times count %s: it was made elsewhere, and what happened within one has no order", u)
	}
	in := r.Integrity()
	rep.Lines, rep.Chained, rep.Unchained, rep.TornBytes = in.Lines, in.Chained, in.Unchained, in.TornBytes
	for _, p := range in.Problems {
		rep.Bad = append(rep.Bad, Finding{p.Line, p.Text})
	}
	rep.BadCount += in.Count
	slices.SortStableFunc(rep.Bad, func(a, b Finding) int { return int(a.Line - b.Line) })
	rep.Bad = rep.Bad[:min(len(rep.Bad), keep)]
	return rep, checkSignature(&rep, folder, trusted)
}

func checkSignature(rep *Report, folder string, trusted []signing.Public) error {
	differ, remarks, err := record.CheckSums(folder)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	for _, d := range differ {
		rep.bad(0, "%s", d)
	}
	for _, text := range remarks {
		rep.remark(0, "%s", text)
	}
	sums := filepath.Join(folder, record.SumsFile)
	by, comment, err := signing.Verify(sums, trusted)
	switch {
	case errors.Is(err, signing.ErrUnsigned):
		rep.remark(0, "not signed: the chain shows mistakes, but whoever can write the file can make a new one")
	case errors.Is(err, signing.ErrUnknownKey):
		rep.remark(0, "%v; give its public key with --key, from somebody whom you trust", err)
	case err != nil:
		rep.bad(0, "%s: %v", record.SumsFile, err)
	case comment != rep.Comment():
		rep.bad(0, "%s was signed for %q, which is another record", record.SumsFile, comment)
	default:
		rep.SignedBy = by.ID()
	}
	others, err := filepath.Glob(filepath.Join(folder, "*"+signing.Suffix))
	if err != nil {
		return err
	}
	for _, sig := range others {
		file := strings.TrimSuffix(sig, signing.Suffix)
		if file == sums {
			continue
		}
		switch _, comment, err := signing.Verify(file, trusted); {
		case errors.Is(err, signing.ErrUnknownKey):
		case err != nil:
			rep.bad(0, "%s: %v", filepath.Base(file), err)
		case !strings.HasSuffix(comment, rep.Comment()):
			rep.bad(0, "%s was signed for %q, which is another record", filepath.Base(file), comment)
		}
	}
	return nil
}

// Comment is what is signed along with a record's list of sums.
func (r *Report) Comment() string { return "record " + r.Record }

// Sign writes the list of sums of a record that has ended and signs it.
func Sign(folder string, key signing.Key) error {
	abs, err := filepath.Abs(folder)
	if err != nil {
		return err
	}
	if err := record.WriteSums(folder); err != nil {
		return err
	}
	rep := Report{Record: filepath.Base(abs)}
	return key.Sign(filepath.Join(folder, record.SumsFile), rep.Comment())
}

// Source gives the lines of a record in order; io.EOF at its end.
type Source interface {
	Next(*record.Line) error
}

// checkLines goes through the lines.
func checkLines(rep *Report, run setup.Run, src Source) error {
	checks := []func(*record.Line){
		newOrder(rep).line, newClocks(rep).line,
	}
	settings := newSettings(rep, run)
	checks = append(checks, settings.line)
	var l record.Line
	last, ended := int64(0), ""
	for {
		err := src.Next(&l)
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
		last = int64(l.Number)
		if l.Measurement == record.RunEvent {
			ended = l.Event
		}
		for _, check := range checks {
			check(&l)
		}
	}
	settings.end()
	if ended != "end" && ended != "abort" {
		rep.remark(last, "the record has no end: the run goes on, was cut off, or its end was removed")
	}
	return nil
}

// order looks at the blocks.
type order struct {
	rep     *Report
	begun   bool
	firstNS int64
	chains  [2]string // the last two sums
}

func newOrder(rep *Report) *order { return &order{rep: rep} }

// A block is at most 10 s; what a slow disk or another writer adds is let pass.
const longBlock = 12 * time.Second

func (o *order) line(l *record.Line) {
	switch {
	case l.Measurement == record.Chain:
		o.chains = [2]string{l.SHA256, o.chains[0]}
		o.begun = false
		return
	case !o.begun:
		o.begun, o.firstNS = true, l.TimeNS
	case o.chains[0] != "" && l.TimeNS-o.firstNS > int64(longBlock):
		o.rep.remark(int64(l.Number), "no chain line for %s", time.Duration(l.TimeNS-o.firstNS).Round(time.Second))
		o.firstNS = l.TimeNS
	}
	if l.Measurement == record.RunEvent && l.Event == "resume" {
		if l.SHA256 != "" && l.SHA256 != o.chains[0] && l.SHA256 != o.chains[1] {
			o.rep.bad(int64(l.Number), "resumes behind a chain line that is not here: blocks are missing")
		}
		o.rep.remark(int64(l.Number), "%s", l.Text)
	}
}

// clocks compares the wall clock with the one that never jumps.
type clocks struct {
	rep   *Report
	known bool
	ns    int64 // wall less monotonic
	line0 int
}

func newClocks(rep *Report) *clocks { return &clocks{rep: rep} }

const clockApart = time.Second

func (c *clocks) line(l *record.Line) {
	if l.MonoNS < 0 {
		return
	}
	apart := l.TimeNS - l.MonoNS
	if l.Measurement == record.RunEvent && l.Event == "resume" {
		c.known = false // it counts from here
	}
	if d := time.Duration(apart - c.ns); c.known && d.Abs() > clockApart {
		c.rep.remark(int64(l.Number), "since line %d the wall clock has gone %s other than the clock that never jumps: it was set, or times were altered", c.line0, d)
	} else if c.known {
		return
	}
	c.known, c.ns, c.line0 = true, apart, l.Number
}
