package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"

	"proofpot/rig/record"
	"proofpot/rig/replay"
)

// TestARunCutOffAgainAsItGoesOnReplaysToItsCommands: the power goes in a hold, and
// again as the run goes on: right after the line that says what became of the
// pressure, when no step has been taken yet, or within the first steps. What was
// never commanded is not in the replay either.
func TestARunCutOffAgainAsItGoesOnReplaysToItsCommands(t *testing.T) {
	t.Setenv("XDG_STATE_HOME", t.TempDir())
	do := func(want int, args ...string) {
		t.Helper()
		var errs bytes.Buffer
		if code := run(world{ctx: context.Background(), out: io.Discard, errs: &errs}, args); code != want {
			t.Fatalf("%s: exit code %d\n%s", args, code, &errs)
		}
	}
	dir := t.TempDir()
	do(exitDone, "run", "quick-check-30m-sea", "--records", dir)
	found, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil || len(found) != 1 {
		t.Fatal(found, err)
	}
	// cut gives the record as it stood so many lines behind the first with a text.
	cut := func(from, to, text string, lines int) {
		t.Helper()
		data, err := os.ReadFile(filepath.Join(from, record.ReadingsFile))
		if err != nil {
			t.Fatal(err)
		}
		end := bytes.Index(data, []byte(text))
		if end < 0 {
			t.Fatalf("no %q in %s", text, from)
		}
		for range lines + 1 {
			end += 1 + bytes.IndexByte(data[end:], '\n')
		}
		about, err := os.ReadFile(filepath.Join(from, record.RunFile))
		if err != nil {
			t.Fatal(err)
		}
		for name, b := range map[string][]byte{record.RunFile: about, record.ReadingsFile: data[:end]} {
			if err := os.MkdirAll(to, 0o777); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(to, name), b, 0o666); err != nil {
				t.Fatal(err)
			}
		}
	}
	behind := []int{0, 3, 4, 6, 12} // lines: before the first step, within it, within the second
	if testing.Short() {
		behind = behind[:1]
	}
	for _, loss := range []string{"hold", "vent"} {
		once := filepath.Join(dir, loss)
		cut(found[0], once, "kind=hold", 400)
		do(exitDone, "resume", once, "--power-loss", loss, "--gap", "3m")
		for _, lines := range behind {
			twice := fmt.Sprint(once, lines)
			cut(once, twice, `text="`+replay.GapText, lines)
			before := different(t, twice)
			do(exitDone, "resume", twice, "--power-loss", loss)
			if after := different(t, twice); before != "" || after != "" {
				t.Errorf("%s, cut off %d lines after it was to go on: %q; gone on with: %q", loss, lines, before, after)
			}
		}
	}
}

// different replays a record and gives the first difference.
func different(t *testing.T, folder string) string {
	t.Helper()
	r, err := record.Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	res, err := replay.Run(r)
	if err != nil {
		t.Fatal(err)
	}
	return res.Difference
}
