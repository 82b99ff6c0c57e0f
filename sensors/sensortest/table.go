package sensortest

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"
)

// Table reads a table of reference values, whose first lines name the sources:
// its rows below the header. Fewer than least are an error, so that a table that
// was cut short is not taken for a passed one.
func Table(t testing.TB, path string, least int) [][]string {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < least+1 {
		t.Fatalf("%s: %d lines, want %d or more: %v", path, len(rows), least+1, err)
	}
	return rows[1:]
}

// Number reads a number of a table.
func Number(t testing.TB, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}
