// Package catalogue lists a folder of records and finds among them: by unit,
// variant, verdict, depth and date. What it knows of a record it keeps in an
// index beside them, a plain JSON file that may be deleted at any time and is
// made again. It writes nothing else, and never deletes.
package catalogue

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"proofpot/analysis"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

// Entry is what is known of one record without reading its readings.
type Entry struct {
	Name     string    `json:"name"`              // of its folder
	Started  time.Time `json:"started,omitzero"`  // UTC; zero where the folder's name does not say it
	Unit     string    `json:"unit"`              //
	Variant  string    `json:"variant,omitempty"` // how the unit was built
	Bench    string    `json:"bench,omitempty"`
	Profile  string    `json:"profile,omitempty"`
	DepthM   float64   `json:"depth_m"`            // deepest stage that was planned
	Verdict  string    `json:"verdict,omitempty"`  // empty: not analysed
	ProvedM  float64   `json:"proved_m,omitempty"` //
	RatedM   float64   `json:"rated_m,omitempty"`  //
	FailedM  float64   `json:"failed_m,omitempty"` // first failure, 0 for none
	Mode     string    `json:"mode,omitempty"`     // of the failure
	CutOff   bool      `json:"cut_off,omitempty"`  // its run never ended, or is under way
	Packed   bool      `json:"packed,omitempty"`   // its readings lie there compressed only
	Bytes    int64     `json:"bytes,omitempty"`    // of its readings as they lie there
	Unusable string    `json:"unusable,omitempty"` // why run.toml or verdict.json cannot be read
}

// List gives the records of a folder, the oldest first. A folder that is not
// there holds none. Only what has changed since the index was written is read.
func List(records string) ([]Entry, error) {
	names, err := folders(records)
	if err != nil {
		return nil, err
	}
	old := openIndex(records)
	now := index{Version: indexVersion, Records: make(map[string]indexed, len(names))}
	entries := make([]Entry, 0, len(names))
	changed := len(names) != len(old.Records)
	for _, name := range names {
		folder := filepath.Join(records, name)
		mark, ok := markOf(folder)
		if !ok {
			continue
		}
		known, ok := old.Records[name]
		if !ok || known.Mark != mark {
			is := read(folder, name, mark)
			before := known.Entry
			before.Bytes = is.Bytes // a run under way grows: no reason to write the index again
			changed = changed || !ok || before != is
			known = indexed{mark, is}
		}
		now.Records[name] = known
		entries = append(entries, known.Entry)
	}
	if changed || len(now.Records) != len(old.Records) {
		now.save(records)
	}
	return entries, nil
}

// folders lists what may be records, in order of their names, which begin with
// the time.
func folders(records string) ([]string, error) {
	d, err := os.ReadDir(records)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("no folder of records: %w", err)
	}
	names := make([]string, 0, len(d))
	for _, e := range d {
		if e.Name()[0] != '.' && (e.IsDir() || e.Type()&fs.ModeSymlink != 0) {
			names = append(names, e.Name())
		}
	}
	return names, nil
}

// mark says whether a record has changed since it was read.
type mark struct {
	Sheet    int64 `json:"sheet"`    // ns, run.toml
	Verdict  int64 `json:"verdict"`  // ns, 0 without one
	Readings int64 `json:"readings"` // ns
	Bytes    int64 `json:"bytes"`    // of the readings
	Packed   bool  `json:"packed"`
}

// markOf is false for a folder that is no record.
func markOf(folder string) (mark, bool) {
	var m mark
	sheet, err := os.Stat(filepath.Join(folder, record.RunFile))
	if err != nil {
		return m, false
	}
	m.Sheet = sheet.ModTime().UnixNano()
	if v, err := os.Stat(filepath.Join(folder, record.VerdictFile)); err == nil {
		m.Verdict = v.ModTime().UnixNano()
	}
	r, err := os.Stat(filepath.Join(folder, record.ReadingsFile))
	if err != nil {
		r, err = os.Stat(filepath.Join(folder, record.CompressedFile))
		m.Packed = err == nil
	}
	if err == nil {
		m.Readings, m.Bytes = r.ModTime().UnixNano(), r.Size()
	}
	return m, true
}

func read(folder, name string, m mark) Entry {
	e := Entry{Name: name, Packed: m.Packed, Bytes: m.Bytes}
	if len(name) > stampLen {
		if at, err := time.Parse(stampLayout, name[:stampLen]); err == nil {
			e.Started, e.Unit = at, name[stampLen+1:]
		}
	}
	sheet := filepath.Join(folder, record.RunFile)
	data, err := os.ReadFile(sheet)
	if err == nil {
		var run setup.Run
		if run, _, err = setup.ParseRun(record.RunFile, data); err == nil {
			e.Unit, e.Variant, e.Bench, e.Profile = run.Unit.ID, run.Unit.Variant, run.Bench.ID, run.Profile.Name
			for i := range run.Profile.Stages {
				e.DepthM = max(e.DepthM, run.Profile.Stages[i].DepthM)
			}
		}
	}
	if err != nil {
		e.Unusable = err.Error()
	}
	e.CutOff = !m.Packed && !ended(filepath.Join(folder, record.ReadingsFile))
	if m.Verdict == 0 {
		return e
	}
	var v analysis.Verdict
	if data, err = os.ReadFile(filepath.Join(folder, record.VerdictFile)); err == nil {
		err = json.Unmarshal(data, &v)
	}
	if err != nil {
		e.Unusable = fmt.Sprintf("%s: %v", record.VerdictFile, err)
		return e
	}
	e.Verdict, e.ProvedM, e.RatedM = v.Verdict, v.ProvedDepthM, v.RatedDepthM
	if f := v.FirstFailure; f != nil {
		e.FailedM, e.Mode = f.DepthM, f.Mode
	}
	return e
}

const (
	stampLayout = "20060102T150405Z"
	stampLen    = len(stampLayout)
)

// ended says whether the end of a run stands in the last lines of its readings.
func ended(file string) bool {
	f, err := os.Open(file)
	if err != nil {
		return false
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return false
	}
	tail := make([]byte, min(info.Size(), 64<<10))
	if _, err := f.ReadAt(tail, info.Size()-int64(len(tail))); err != nil {
		return false
	}
	return bytes.Contains(tail, []byte("\nrun,event=end "))
}

// Query says which records are wanted; what is zero does not count.
type Query struct {
	Unit, Variant string
	Verdict       string // pass, fail, inconclusive, or none: not analysed
	MinM, MaxM    float64
	Since, Until  time.Time // of the start; until is the first moment that is too late
}

// Depth of a record, in m, is where its unit first failed, or else the deepest
// hold that it passed, or else what was planned.
func (e *Entry) Depth() float64 {
	switch {
	case e.FailedM > 0:
		return e.FailedM
	case e.ProvedM > 0:
		return e.ProvedM
	}
	return e.DepthM
}

// Find picks what a query wants, in the order given.
func Find(all []Entry, q Query) []Entry {
	found := []Entry{}
	for i := range all {
		e := &all[i]
		if q.Unit != "" && e.Unit != q.Unit || q.Variant != "" && e.Variant != q.Variant {
			continue
		}
		if q.Verdict != "" && e.Verdict != q.Verdict && !(q.Verdict == NotAnalysed && e.Verdict == "") {
			continue
		}
		if d := e.Depth(); d < q.MinM || q.MaxM > 0 && d > q.MaxM {
			continue
		}
		if !q.Since.IsZero() && e.Started.Before(q.Since) || !q.Until.IsZero() && !e.Started.Before(q.Until) {
			continue
		}
		found = append(found, *e)
	}
	return found
}

// NotAnalysed asks for records without a verdict.
const NotAnalysed = "none"

// Newest gives at most n entries, the newest first.
func Newest(all []Entry, n int) []Entry {
	last := slices.Clone(all[max(0, len(all)-n):])
	slices.Reverse(last)
	return last
}
