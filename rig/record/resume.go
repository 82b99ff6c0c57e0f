package record

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"time"

	"proofpot/rig/setup"
)

// Resumed says what was found when a record was resumed.
type Resumed struct {
	Run       setup.Run
	Warnings  []string  // what run.toml holds that is not known here
	Start     time.Time // of the run
	LastNS    int64     // time of the last whole line, ns since 1970
	Lines     int64     // whole lines found
	Unchained int64     // of them, behind the last chain line
	LastChain string    // its sha256, empty where there was none
	TornBytes int64     // set aside
	TornFile  string    // where they lie, empty where nothing was torn
	From      time.Time // the new segment's lines are stamped from here on
}

// Resume opens the record of a run that was cut off, to go on with it. What a
// power cut left torn is set aside beside the record, in readings.lp.torn-<n>,
// and never deleted; the lines behind the last chain line get one; then comes
// `run,event=resume` with the sha256 of the last chain line that was found.
// Times of the new segment are those since now; where the wall clock lies behind
// the end of the record they go on from that end. A record that was altered, or
// whose run has ended, is refused.
func Resume(folder string, now time.Time) (*Writer, Resumed, error) {
	var found Resumed
	name := filepath.Join(folder, ReadingsFile)
	var err error
	if found.Run, found.Warnings, err = readRun(folder); err != nil {
		return nil, found, err
	}
	f, err := os.OpenFile(name, os.O_RDWR|os.O_APPEND, 0)
	if err != nil {
		return nil, found, fmt.Errorf("%s cannot be resumed: %w", folder, err)
	}
	w, err := resume(f, folder, now, &found)
	if err != nil {
		f.Close()
		return nil, found, fmt.Errorf("%s cannot be resumed: %w", folder, err)
	}
	return w, found, nil
}

func resume(f *os.File, folder string, now time.Time, found *Resumed) (*Writer, error) {
	if err := lock(f); err != nil {
		return nil, fmt.Errorf("another process writes it: %w", err)
	}
	tail, err := findTail(f, found)
	if err != nil {
		return nil, err
	}
	size, err := f.Seek(0, io.SeekEnd)
	if err != nil {
		return nil, err
	}
	if found.TornBytes = size - tail.good; found.TornBytes > 0 {
		if found.TornFile, err = setAside(f, folder, tail.good, size); err != nil {
			return nil, err
		}
		if err := f.Truncate(tail.good); err != nil {
			return nil, err
		}
	}
	found.From = now
	late := ""
	if last := time.Unix(0, found.LastNS); found.Lines > 0 && !now.After(last) {
		found.From = last.Add(time.Millisecond)
		late = fmt.Sprintf("; the wall clock says %s, which is before the end of the record: times go on from that end", now.UTC().Format(time.RFC3339))
	}
	w := NewWriter(resumedFile(f, tail.good), found.From)
	w.lastNS, w.lines = math.MinInt64, found.Lines
	if found.Lines > 0 {
		w.lastNS = found.LastNS
	}
	w.sum.Write([]byte(found.LastChain))
	if found.Unchained > 0 {
		if _, err := io.Copy(w.sum, io.NewSectionReader(f, tail.chained, tail.good-tail.chained)); err != nil {
			return nil, err
		}
		w.block = found.Unchained
		w.closeBlock()
	}
	torn := ""
	if found.TornBytes > 0 {
		torn = fmt.Sprintf("; %d bytes that a power cut left torn are in %s", found.TornBytes, filepath.Base(found.TornFile))
	}
	w.line.Clear()
	l := &w.line
	l.Measurement, l.Event, l.MonoNS, l.SHA256 = RunEvent, "resume", 0, found.LastChain
	l.Text = fmt.Sprintf("resumed behind line %d; the last %d lines were not chained%s%s", found.Lines, found.Unchained, torn, late)
	w.add(0)
	return w, w.Sync()
}

// resumedFile is what a resumed record is written to; tests put a file of their
// own round it.
var resumedFile = func(f *os.File, size int64) File { return f }

// tail is where the whole lines of a record end.
type tail struct {
	chained int64 // bytes up to and with the last chain line
	good    int64 // bytes up to and with the last whole line
}

// findTail reads the record to its end, and then up to the first bad line. A
// power cut can only hurt the last batch: it is cut short, or sectors of it read
// as NUL. Anything else before a chain line is an alteration.
func findTail(f io.ReaderAt, found *Resumed) (tail, error) {
	var t tail
	whole := func() *Reader { return NewReader(io.NewSectionReader(f, 0, math.MaxInt64)) }
	r := whole()
	var l Line
	lastChain := 0
	var err error
	for err == nil {
		if err = r.Next(&l); err == nil && l.Measurement == Chain {
			lastChain = l.Number
		}
	}
	in := r.Integrity()
	if err != io.EOF && in.Count == 0 {
		return t, err
	}
	bad := int64(math.MaxInt64)
	if in.Count > 0 {
		bad = in.Problems[0].Line
	}
	r = whole()
	for r.in.Lines < bad-1 && r.Next(&l) == nil && !r.unended && r.in.Lines < bad {
		t.good, found.LastNS, found.Lines, found.Unchained = r.Offset(), l.TimeNS, r.in.Lines, r.sinceMark
		if l.Measurement == Chain {
			t.chained, found.LastChain = t.good, l.SHA256
		}
		if found.Start.IsZero() {
			found.Start = time.Unix(0, l.TimeNS).UTC()
		}
		if l.Measurement == RunEvent && l.Event == "end" {
			return t, fmt.Errorf("its run has ended (line %d)", l.Number)
		}
	}
	if in.Count > 0 && int64(lastChain) >= bad {
		nul, err := hasNUL(f, t.good)
		if err == nil && !nul {
			err = fmt.Errorf("it was altered: %s", in.Problems[0])
		}
		return t, err
	}
	return t, nil
}

// hasNUL says whether a NUL stands behind the first from bytes.
func hasNUL(f io.ReaderAt, from int64) (bool, error) {
	b := make([]byte, 64<<10)
	for {
		n, err := f.ReadAt(b, from)
		if bytes.IndexByte(b[:n], 0) >= 0 {
			return true, nil
		}
		if err == io.EOF {
			return false, nil
		}
		if err != nil {
			return false, err
		}
		from += int64(n)
	}
}

// setAside copies the bytes from good to size into a file beside the record.
func setAside(f io.ReaderAt, folder string, good, size int64) (string, error) {
	for n := 1; ; n++ {
		name := filepath.Join(folder, fmt.Sprintf("%s.torn-%d", ReadingsFile, n))
		if _, err := os.Lstat(name); err == nil {
			continue
		}
		b := make([]byte, size-good)
		if _, err := f.ReadAt(b, good); err != nil {
			return "", err
		}
		return name, WriteWhole(name, b, 0o444)
	}
}
