// Package reference reads the tables of testdata/reference for tests: comment
// lines that state source and tolerance, a header row, then values.
package reference

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// Row is one row of a table, by column.
type Row map[string]string

// Read reads a table of the module's testdata/reference, which must have rows.
func Read(t testing.TB, name string) []Row {
	t.Helper()
	f, err := os.Open(filepath.Join(root(t), "testdata", "reference", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if len(all) < 2 {
		t.Fatalf("%s: no rows", name)
	}
	var rows []Row
	for _, cells := range all[1:] {
		row := Row{}
		for i, c := range cells {
			row[all[0][i]] = c
		}
		rows = append(rows, row)
	}
	return rows
}

// Number gives the number in a column.
func (r Row) Number(t testing.TB, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(r[column], 64)
	if err != nil {
		t.Fatalf("column %s: %v in %v", column, err, r)
	}
	return v
}

// root finds the folder of go.mod above the test's.
func root(t testing.TB) string {
	dir, err := os.Getwd()
	for err == nil {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		if filepath.Dir(dir) == dir {
			break
		}
		dir = filepath.Dir(dir)
	}
	t.Fatalf("no go.mod above the test: %v", err)
	return ""
}
