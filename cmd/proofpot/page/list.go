package page

import (
	"bytes"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"proofpot/analysis"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

// mostListed is how many records the page lists: the newest.
const mostListed = 500

var listed = struct {
	sync.Mutex
	kept map[string]keptLine
}{kept: map[string]keptLine{}}

type keptLine struct {
	mod  time.Time // of the verdict, zero without one
	line RecordLine
}

// List reads the records of a folder, the newest first. What was read before and
// has not changed is not read again.
func List(records string) ([]RecordLine, error) {
	entries, err := os.ReadDir(records)
	if errors.Is(err, fs.ErrNotExist) {
		return []RecordLine{}, nil
	}
	if err != nil {
		return nil, err
	}
	listed.Lock()
	defer listed.Unlock()
	lines := []RecordLine{}
	for _, e := range slices.Backward(entries) { // names begin with the time
		if !e.IsDir() || !safeName(e.Name()) {
			continue
		}
		folder := filepath.Join(records, e.Name())
		var mod time.Time
		if info, err := os.Stat(filepath.Join(folder, record.VerdictFile)); err == nil {
			mod = info.ModTime()
		}
		k, ok := listed.kept[folder]
		if !ok || !k.mod.Equal(mod) {
			k = keptLine{mod, readLine(folder, e.Name(), !mod.IsZero())}
			listed.kept[folder] = k
		}
		if lines = append(lines, k.line); len(lines) == mostListed {
			break
		}
	}
	return lines, nil
}

func readLine(folder, name string, analysed bool) RecordLine {
	line := RecordLine{Name: name}
	if at, err := time.Parse("20060102T150405Z", name[:16]); err == nil {
		line.Started = at.Format(time.RFC3339)
	}
	line.Unit = name[17:]
	if data, err := os.ReadFile(filepath.Join(folder, record.RunFile)); err == nil {
		if run, _, err := setup.ParseRun(record.RunFile, data); err == nil {
			line.Variant, line.Profile = run.Unit.Variant, run.Profile.Name
		}
	}
	if !analysed {
		line.CutOff = !ended(filepath.Join(folder, record.ReadingsFile))
		return line
	}
	var v analysis.Verdict
	if data, err := os.ReadFile(filepath.Join(folder, record.VerdictFile)); err == nil && json.Unmarshal(data, &v) == nil {
		line.Verdict, line.Rated = v.Verdict, v.RatedDepthM
		if f := v.FirstFailure; f != nil {
			line.Failed, line.Mode = f.DepthM, f.Mode
		}
	}
	return line
}

// ended says whether the end of a run stands in the last lines of its readings.
// A file that is not there as plain text belongs to a run that has ended.
func ended(file string) bool {
	f, err := os.Open(file)
	if err != nil {
		return true
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return true
	}
	tail := make([]byte, min(info.Size(), 64<<10))
	if _, err := f.ReadAt(tail, info.Size()-int64(len(tail))); err != nil {
		return true
	}
	return bytes.Contains(tail, []byte("\nrun,event=end "))
}
