// Package strict reads the TOML files that a person writes and says where they
// are wrong: one line with file, line and column, what was found and what is
// allowed. An unknown key is an error that names the nearest right one, since a
// misspelt limit must never be a limit that is silently not there.
package strict

import (
	"errors"
	"fmt"
	"reflect"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"
)

// Error is one thing that is wrong in a file. Line and Column count from 1;
// Column counts characters, not bytes.
type Error struct {
	File   string
	Line   int
	Column int
	Text   string // what was found, what is allowed
}

// Error gives "file:line:column: text", on one line.
func (e *Error) Error() string {
	return fmt.Sprintf("%s:%d:%d: %s", e.File, e.Line, e.Column, e.Text)
}

// maxBytes is more than any person writes.
const maxBytes = 128 << 10

// Decode decodes the TOML document data, read from file, into the struct that
// into points at. Keys are those of the struct's toml tags, in exactly their
// spelling; keys that the document leaves out keep the value that into came
// with. Numbers must be finite.
//
// The error is an *Error for the first thing that is wrong, with the number of
// further ones; into is then left as it was.
func Decode(file string, data []byte, into any) error {
	target := reflect.ValueOf(into)
	if target.Kind() != reflect.Pointer || target.IsNil() || target.Elem().Kind() != reflect.Struct {
		return fmt.Errorf("decode %s: need a pointer to a struct, got %T", file, into)
	}
	if len(data) > maxBytes {
		return &Error{File: file, Line: 1, Column: 1, Text: fmt.Sprintf("the file has %d bytes; must be at most %d", len(data), maxBytes)}
	}
	var any map[string]any
	if err := toml.Unmarshal(data, &any); err != nil {
		return place(file, data, err)
	}
	root, err := scan(data)
	if err != nil {
		return place(file, data, err)
	}
	found := check(root, target.Elem().Type())
	if len(found) > 0 {
		first := found[0]
		text := first.text
		switch more := len(found) - 1; {
		case more == 1:
			text += " (and 1 more error)"
		case more > 1:
			text += fmt.Sprintf(" (and %d more errors)", more)
		}
		return at(file, data, first.offset, text)
	}
	fresh := reflect.New(target.Elem().Type())
	fresh.Elem().Set(target.Elem())
	d := toml.NewDecoder(strings.NewReader(string(data)))
	d.DisallowUnknownFields()
	if err := d.Decode(fresh.Interface()); err != nil {
		return place(file, data, err)
	}
	target.Elem().Set(fresh.Elem())
	return nil
}

// At makes the error that places text on a key of a document that decodes:
// "accept.leak_ml_per_h", or "stage[2].depth_m" for the third stage (elements
// count from 0). Where the key is not in the document the error stands at the
// table that should hold it, or failing that at the top.
func At(file string, data []byte, key, text string) error {
	root, err := scan(data)
	if err != nil {
		return place(file, data, err)
	}
	return at(file, data, root.find(key).offset, text)
}

// at makes an Error for a byte offset.
func at(file string, data []byte, offset int, text string) *Error {
	offset = min(max(offset, 0), len(data))
	for offset > 0 && offset < len(data) && !utf8.RuneStart(data[offset]) {
		offset-- // the TOML reader may point into a character
	}
	before := string(data[:offset])
	line := 1 + strings.Count(before, "\n")
	if i := strings.LastIndexByte(before, '\n'); i >= 0 {
		before = before[i+1:]
	}
	return &Error{File: file, Line: line, Column: 1 + utf8.RuneCountInString(before), Text: oneLine(text)}
}

// place turns an error of the TOML reader into ours.
func place(file string, data []byte, err error) *Error {
	var missing *toml.StrictMissingError
	if errors.As(err, &missing) && len(missing.Errors) > 0 {
		err = &missing.Errors[0]
	}
	text := strings.TrimPrefix(err.Error(), "toml: ")
	var wrong *toml.DecodeError
	if !errors.As(err, &wrong) {
		return &Error{File: file, Line: 1, Column: 1, Text: oneLine(text)}
	}
	line, column := wrong.Position()
	offset := offsetOf(data, line, column)
	return at(file, data, offset, syntax(data, offset, text))
}

// syntax says in plain words what the TOML reader found at a place; what is
// plain already stays.
func syntax(data []byte, offset int, text string) string {
	r, _ := utf8.DecodeRune(data[min(offset, len(data)):])
	found := fmt.Sprintf("found %q ", r)
	switch {
	case strings.HasPrefix(text, "unexpected character") && strings.HasSuffix(text, "at start of value"):
		return found + "where a value should begin: text stands in quotes, a number begins with a digit, and true and false are written small"
	case strings.HasPrefix(text, "invalid character at start of key"):
		return found + "where a key should begin: a key is of the letters a to z, digits, _ and -"
	case strings.HasPrefix(text, "expected newline but got") && r == ',':
		return found + "after the value, where the line should end; decimals are written with a point"
	case strings.HasPrefix(text, "expected newline but got"):
		return found + "after the value, where the line should end"
	}
	return text
}

// offsetOf finds the byte offset of a line and a column of bytes, both from 1.
func offsetOf(data []byte, line, column int) int {
	offset := 0
	for ; line > 1; line-- {
		i := strings.IndexByte(string(data[offset:]), '\n')
		if i < 0 {
			break
		}
		offset += i + 1
	}
	return offset + column - 1
}

func oneLine(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r == '\n' || r == '\r' }), " ")
}
