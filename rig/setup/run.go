package setup

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"

	"proofpot/profiles/strict"
)

// RunFormat is the format of run.toml that is written, and the newest that is
// read.
const RunFormat = 1

// ParseRun reads the run.toml of a record, which another program may have made:
// what it does not say is zero, and what is not known here is passed over. The
// warnings say so, one line each with file, line and column. A number that is
// not finite counts as not said. An error is a document that is no TOML, a value
// of the wrong kind, or a format newer than RunFormat.
func ParseRun(file string, data []byte) (Run, []string, error) {
	var run Run
	var warnings []string
	decoder := toml.NewDecoder(bytes.NewReader(data))
	decoder.DisallowUnknownFields()
	err := decoder.Decode(&run)
	var unknown *toml.StrictMissingError
	switch {
	case errors.As(err, &unknown):
		for i := range unknown.Errors {
			e := &unknown.Errors[i]
			line, column := e.Position()
			warnings = append(warnings, fmt.Sprintf("%s:%d:%d: %q is not known here and was passed over", file, line, column, strings.Join(e.Key(), ".")))
		}
	case err != nil:
		return Run{}, nil, decodeError(file, err)
	}
	if run.Format > RunFormat || run.Format < 0 {
		return Run{}, nil, strict.At(file, data, "format", fmt.Sprintf("format %d is not known; %d is the newest", run.Format, RunFormat))
	}
	if run.Format == 0 {
		warnings = append(warnings, fmt.Sprintf("%s: no format; read as format %d", file, RunFormat))
	}
	walk("", reflect.ValueOf(&run).Elem(), func(key string, v reflect.Value) error {
		if v.Kind() == reflect.Float64 && !finite(v.Float()) {
			warnings = append(warnings, strict.At(file, data, key, lastKey(key)+" is not finite and counts as not given").Error())
			v.SetFloat(0)
		}
		return nil
	})
	return run, warnings, nil
}

// EncodeRun writes a run.toml. It refuses a sheet that could not be read back
// as it is: another format than RunFormat, a number that is not finite, a text
// that is not UTF-8.
func EncodeRun(run Run) ([]byte, error) {
	if run.Format != RunFormat {
		return nil, fmt.Errorf("run.toml: format is %d, must be %d", run.Format, RunFormat)
	}
	err := walk("", reflect.ValueOf(&run).Elem(), func(key string, v reflect.Value) error {
		switch {
		case v.Kind() == reflect.Float64 && !finite(v.Float()):
			return fmt.Errorf("run.toml: %s is %v, not a finite number", key, v.Float())
		case v.Kind() == reflect.String && !utf8.ValidString(v.String()):
			return fmt.Errorf("run.toml: %s is not UTF-8: %q", key, v.String())
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	data, err := toml.Marshal(run)
	if err != nil {
		return nil, fmt.Errorf("run.toml: %w", err)
	}
	return data, nil
}

// walk visits every value below v by its key in the file, until visit fails.
func walk(key string, v reflect.Value, visit func(key string, v reflect.Value) error) error {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			return nil
		}
		return walk(key, v.Elem(), visit)
	case reflect.Struct:
		for i := range v.NumField() {
			name, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("toml"), ",")
			if name == "" || name == "-" {
				continue
			}
			if key != "" {
				name = key + "." + name
			}
			if err := walk(name, v.Field(i), visit); err != nil {
				return err
			}
		}
		return nil
	case reflect.Slice:
		for i := range v.Len() {
			if err := walk(fmt.Sprintf("%s[%d]", key, i), v.Index(i), visit); err != nil {
				return err
			}
		}
		return nil
	}
	return visit(key, v)
}

// decodeError gives a decoding error its file, line and column.
func decodeError(file string, err error) error {
	text := strings.TrimPrefix(err.Error(), "toml: ")
	var at *toml.DecodeError
	if !errors.As(err, &at) {
		return fmt.Errorf("%s: %s", file, text)
	}
	line, column := at.Position()
	if key := strings.Join(at.Key(), "."); key != "" {
		text = key + ": " + text
	}
	return &strict.Error{File: file, Line: line, Column: column, Text: text}
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
