package setup

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"proofpot/profiles/strict"
)

// KeyError says what is wrong with a value, and at which key of its file.
type KeyError struct {
	Key  string // "rated_pa", "sensor[0].field[1].unit"
	Text string
}

// Error gives the key and the text.
func (e *KeyError) Error() string { return e.Key + ": " + e.Text }

// LoadUnit reads and checks a unit.toml. The error is one line: the file, where
// in it, what was found and what would be right.
func LoadUnit(file string) (Unit, error) {
	data, err := read("unit", file)
	if err != nil {
		return Unit{}, err
	}
	return ParseUnit(file, data)
}

// ParseUnit is LoadUnit for a document that was read from file.
func ParseUnit(file string, data []byte) (Unit, error) {
	var u Unit
	if err := strict.Decode(file, data, &u); err != nil {
		return Unit{}, err
	}
	if err := u.Check(); err != nil {
		return Unit{}, placed(file, data, err)
	}
	return u, nil
}

// LoadBench reads and checks a bench.toml; errors as LoadUnit. Ratings given as
// gauge come out as absolute: above room_pa where the file states it, else above
// the standard atmosphere.
func LoadBench(file string) (Bench, error) {
	data, err := read("bench", file)
	if err != nil {
		return Bench{}, err
	}
	b, err := ParseBench(file, data)
	if err != nil {
		return Bench{}, err
	}
	return b, b.calibrate(file)
}

// ParseBench is LoadBench for a document that was read from file.
func ParseBench(file string, data []byte) (Bench, error) {
	var b Bench
	if err := strict.Decode(file, data, &b); err != nil {
		return Bench{}, err
	}
	if b.Measured != nil {
		return Bench{}, placed(file, data, wrong("measured", "what was measured of a bench stands in %s, beside this file", filepath.Base(MeasuredFile(file))))
	}
	for i, s := range b.Sensors {
		if s.Calibration != nil {
			return Bench{}, placed(file, data, wrong(fmt.Sprintf("sensor[%d].calibration", i), "calibrations stand in %s, beside this file", filepath.Base(CalibrationFile(file))))
		}
	}
	if err := b.makeAbsolute(); err != nil {
		return Bench{}, placed(file, data, err)
	}
	if err := b.Check(); err != nil {
		return Bench{}, placed(file, data, err)
	}
	if err := b.checkKeys(); err != nil {
		return Bench{}, placed(file, data, err)
	}
	return b, nil
}

func read(what, file string) ([]byte, error) {
	data, err := os.ReadFile(file)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%s file %q is not there: %w", what, file, fs.ErrNotExist)
	}
	if err != nil {
		return nil, fmt.Errorf("%s file: %w", what, err)
	}
	return data, nil
}

// placed puts the place in the file before what is wrong.
func placed(file string, data []byte, err error) error {
	var wrong *KeyError
	if !errors.As(err, &wrong) {
		return err
	}
	return strict.At(file, data, wrong.Key, lastKey(wrong.Key)+": "+wrong.Text)
}
