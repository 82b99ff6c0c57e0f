package benchstate

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/pelletier/go-toml/v2"

	"proofpot/profiles/strict"
	"proofpot/rig/record"
)

// Dir is the folder of one bench.
type Dir struct{ path string }

const (
	stateFile = "state.toml"
	lockFile  = "lock"
	format    = 1
)

// State is what a bench remembers.
type State struct {
	Format     int                  `toml:"format"`
	Lockout    *Lockout             `toml:"lockout,omitempty"`
	Running    *Running             `toml:"running,omitempty"`
	LastRecord time.Time            `toml:"last_record,omitempty"` // wall clock at the end of the last record
	Operated   map[string]time.Time `toml:"operated,omitempty"`    // when a switch was last seen to open and close, by its kind
	FreeGas    *FreeGas             `toml:"free_gas,omitempty"`
}

// Lockout forbids runs until a person has acknowledged it.
type Lockout struct {
	At     time.Time `toml:"at"`
	Reason string    `toml:"reason"`
	Record string    `toml:"record,omitempty"`
}

// Running is a run that was begun; where it is still there and nobody holds the
// lock, it was cut off.
type Running struct {
	Since  time.Time `toml:"since"`
	Record string    `toml:"record"`
	Boot   string    `toml:"boot,omitempty"`  // of the machine, see Boot
	UpS    float64   `toml:"up_s,omitempty"`  // s since then
	Bench  string    `toml:"bench,omitempty"` // bench file, which says who is told
}

// FreeGas is the gas in the chamber as the last fill showed it, by how long the
// fill valve stood open for a bar, or by the strokes of a hand pump.
type FreeGas struct {
	At      time.Time `toml:"at"`
	SPerBar float64   `toml:"s_per_bar,omitempty"`
	Strokes float64   `toml:"strokes,omitempty"` // that the gas is worth, see characterise.Fill
}

// DefaultBase is where the folders of all benches lie.
func DefaultBase(environ func(string) string) (string, error) {
	if dir := environ("XDG_STATE_HOME"); filepath.IsAbs(dir) { // a relative one is to be passed over, as the specification has it
		return filepath.Join(dir, "proofpot"), nil
	}
	home := environ("HOME")
	if dir := environ("LOCALAPPDATA"); home == "" && filepath.IsAbs(dir) { // Windows
		return filepath.Join(dir, "proofpot", "state"), nil
	}
	if home == "" {
		return "", errors.New("nothing says where the state of a bench may lie: set HOME or XDG_STATE_HOME, or give --state DIR")
	}
	return filepath.Join(home, ".local", "state", "proofpot"), nil
}

// Open makes the folder of a bench where there is none. Base is DefaultBase or
// what the user gives; the id is a checked one.
func Open(base, benchID string) (Dir, error) {
	d := Dir{filepath.Join(base, benchID)}
	if err := os.MkdirAll(d.path, 0o777); err != nil {
		return d, fmt.Errorf("no folder for the state of bench %q: %w", benchID, err)
	}
	return d, nil
}

// Path gives a file in the folder.
func (d Dir) Path(name string) string { return filepath.Join(d.path, name) }

// Load reads the state; a bench without one has the zero state. A file that
// cannot be read is an error, and never "not locked out".
func (d Dir) Load() (State, error) {
	s := State{Format: format}
	name := d.Path(stateFile)
	data, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return s, nil
	}
	if err != nil {
		return s, fmt.Errorf("the bench's state: %w", err)
	}
	if err := strict.Decode(name, data, &s); err != nil {
		return s, fmt.Errorf("the bench's state: %w", err)
	}
	if s.Format != format {
		return s, fmt.Errorf("the bench's state: %s has format %d, want %d", name, s.Format, format)
	}
	return s, nil
}

// Save writes the state, wholly or not at all.
func (d Dir) Save(s State) error {
	s.Format = format
	data, err := toml.Marshal(s)
	if err != nil {
		return fmt.Errorf("the bench's state: %w", err)
	}
	if err := record.WriteWhole(d.Path(stateFile), data, 0o666); err != nil {
		return fmt.Errorf("the bench's state cannot be kept: %w", err)
	}
	return nil
}

// Update changes the state; the caller holds the lock.
func (d Dir) Update(change func(*State)) error {
	s, err := d.Load()
	if err != nil {
		return err
	}
	change(&s)
	return d.Save(s)
}
