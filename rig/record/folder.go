package record

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"proofpot/rig/setup"
)

// Names of the files in a record's folder.
const (
	RunFile      = "run.toml"
	ReadingsFile = "readings.lp"
	VerdictFile  = "verdict.json"
)

// FolderName gives the name of a record: <UTC start>-<unit id>.
func FolderName(start time.Time, unitID string) string {
	return start.UTC().Format("20060102T150405Z") + "-" + unitID
}

// Create makes the folder of a new record below dir, writes run.toml into it
// and opens its readings for appending. Nothing that exists is touched.
func Create(dir string, start time.Time, run setup.Run) (string, File, error) {
	sheet, err := setup.EncodeRun(run)
	if err != nil {
		return "", nil, err
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return "", nil, fmt.Errorf("no folder for records: %w", err)
	}
	folder := filepath.Join(dir, FolderName(start, run.Unit.ID))
	if err := os.Mkdir(folder, 0o777); err != nil {
		if errors.Is(err, fs.ErrExist) {
			return "", nil, fmt.Errorf("a record %s exists already; a unit can start one run a second", folder)
		}
		return "", nil, fmt.Errorf("no folder for the record: %w", err)
	}
	if err := WriteWhole(filepath.Join(folder, RunFile), sheet, 0o444); err != nil {
		return "", nil, err
	}
	f, err := os.OpenFile(filepath.Join(folder, ReadingsFile), os.O_WRONLY|os.O_APPEND|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return "", nil, fmt.Errorf("the record cannot be started: %w", err)
	}
	err = lock(f)
	if err == nil {
		err = syncDir(folder)
	}
	if err != nil {
		f.Close()
		return "", nil, err
	}
	return folder, f, syncDir(dir)
}

// WriteWhole puts data into the named file wholly or not at all: a temporary
// file beside it, synced, renamed over it, and the folder synced.
func WriteWhole(name string, data []byte, mode fs.FileMode) error {
	f, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+".*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // does nothing once renamed
	_, err = f.Write(data)
	if err == nil {
		err = f.Chmod(mode)
	}
	if err == nil {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err == nil {
		err = syncDir(filepath.Dir(name))
	}
	return err
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}

// Record is an opened record.
type Record struct {
	*Reader
	Folder   string
	Name     string // the folder's name
	Run      setup.Run
	Warnings []string // what run.toml holds that is not known here
	file     io.Closer
	inside   *inside // nil: nothing was merged
}

// Open opens a record for reading. A folder that is none, or whose run.toml
// cannot be read, gives one line that says what and where.
func Open(folder string) (*Record, error) {
	abs, err := filepath.Abs(folder)
	if err != nil {
		return nil, err
	}
	run, warnings, err := readRun(folder)
	if err != nil {
		return nil, err
	}
	f, err := openReadings(folder)
	if err != nil {
		return nil, fmt.Errorf("%s is no record: %w", folder, err)
	}
	return &Record{Reader: NewReader(f), Folder: folder, Name: filepath.Base(abs), Run: run, Warnings: warnings, file: f}, nil
}

func readRun(folder string) (setup.Run, []string, error) {
	sheet := filepath.Join(folder, RunFile)
	data, err := os.ReadFile(sheet)
	if err != nil {
		return setup.Run{}, nil, fmt.Errorf("%s is no record: %w", folder, err)
	}
	return setup.ParseRun(sheet, data)
}

// Close lets go of the record's file.
func (r *Record) Close() error { return r.file.Close() }

// Verify reads a record to its end and says whether it is whole.
func Verify(folder string) (Integrity, error) {
	r, err := Open(folder)
	if err != nil {
		return Integrity{}, err
	}
	defer r.Close()
	var l Line
	for {
		if err := r.Next(&l); err == io.EOF {
			return r.Integrity(), nil
		} else if err != nil {
			return r.Integrity(), fmt.Errorf("%s: %w", filepath.Join(folder, ReadingsFile), err)
		}
	}
}

// SafeUnitID says whether a unit's id may stand in a folder's name.
func SafeUnitID(id string) bool {
	return id != "" && len(id) <= 64 && !strings.HasPrefix(id, ".") && strings.IndexFunc(id, func(r rune) bool {
		return !(r == '-' || r == '_' || r == '.' || r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z')
	}) < 0
}
