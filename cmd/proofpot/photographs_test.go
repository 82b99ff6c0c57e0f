package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"proofpot/analysis"
	"proofpot/analysis/certificate"
	"proofpot/analysis/certificate/photographs"
)

// TestPhotographsOfARecordAreReadAndCheckedAgainstTheirNotes: one as noted, one
// altered, one gone.
func TestPhotographsOfARecordAreReadAndCheckedAgainstTheirNotes(t *testing.T) {
	folder := t.TempDir()
	if err := os.Mkdir(filepath.Join(folder, "photos"), 0o755); err != nil {
		t.Fatal(err)
	}
	name := "photos/20260314T090000Z-00000000.png"
	f, err := os.Create(filepath.Join(folder, name))
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(png.Encode(f, image.NewGray(image.Rect(0, 0, 40, 30))), f.Close()); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(folder, name))
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(data)
	is := hex.EncodeToString(sum[:])
	was := hex.EncodeToString(make([]byte, 32))
	note := func(text string) analysis.Event { return analysis.Event{Kind: "note", Text: text} }
	got, err := pictured(folder, &analysis.Result{Events: []analysis.Event{
		note("photograph " + name + ", sha256 " + is + ": the lid"),
		note("photograph " + name + ", sha256 " + was),
		note("photograph photos/20260314T090001Z-00000000.jpg, sha256 " + is),
	}})
	if err != nil || len(got) != 3 {
		t.Fatalf("%d, %v", len(got), err)
	}
	if got[0].Why != nil || got[0].Width != 40 || len(got[0].JPEG) == 0 {
		t.Errorf("as noted: %v, %d bytes", got[0].Why, len(got[0].JPEG))
	}
	if !errors.Is(got[1].Why, photographs.ErrAltered) || !errors.Is(got[2].Why, certificate.ErrMissing) {
		t.Errorf("altered: %v; gone: %v", got[1].Why, got[2].Why)
	}
}
