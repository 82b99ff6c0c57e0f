package main

import (
	"bufio"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestTheRecordedSessionsAreWholeAndInRealTime reads the terminal sessions of
// the README: asciicast v2 (docs.asciinema.org/manual/asciicast/v2), one header
// and then [seconds, "o", text] a line, made on a pseudo-terminal of 100 columns
// by a run at --pace 1, what came within a second gathered.
func TestTheRecordedSessionsAreWholeAndInRealTime(t *testing.T) {
	for name, said := range map[string][]string{
		"valves.cast":  {"proofpot run check-10m-fresh.toml --pace 1", "stage 1, depth", "vented; the vent stands open", "PASS: KP-01"},
		"by-hand.cast": {"--by-hand --pace 1", "simulated-hand-pot", ">>> Shut the vent and pump up", ">>> Open the vent fully", "vented; the vent stands open", "PASS: KP-01"},
	} {
		f, err := os.Open(filepath.Join("testdata", "sessions", name))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		lines := bufio.NewScanner(f)
		lines.Buffer(nil, 1<<20)
		lines.Scan()
		var header struct {
			Version, Width, Height int
			Title                  string
		}
		if err := json.Unmarshal(lines.Bytes(), &header); err != nil || header.Version != 2 || header.Width != 100 || header.Title == "" {
			t.Errorf("%s: header %+v, %v", name, header, err)
		}
		var text strings.Builder
		last := 0.0
		for n := 2; lines.Scan(); n++ {
			var event [3]any
			if err := json.Unmarshal(lines.Bytes(), &event); err != nil {
				t.Fatalf("%s:%d: %v", name, n, err)
			}
			at, ok := event[0].(float64)
			out, is := event[2].(string)
			if !ok || !is || event[1] != "o" || at < last {
				t.Fatalf("%s:%d: %v", name, n, event)
			}
			last = at
			text.WriteString(out)
		}
		for _, s := range said {
			if !strings.Contains(text.String(), s) {
				t.Errorf("%s does not say %q", name, s)
			}
		}
		if last < 9*60 { // the profile's holds alone take 7.5 min
			t.Errorf("%s: %.0f s are no real time", name, last)
		}
	}
}
