package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestABenchThatAPersonGuardsGoesOnWithHim: without a watchdog relay nobody may be
// away while its fill can open, after a power cut either.
func TestABenchThatAPersonGuardsGoesOnWithHim(t *testing.T) {
	text, err := os.ReadFile("../../rig/setup/testdata/valves-serial.toml")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	attended := strings.Replace(string(text), "medium =", "attended = true\nmedium =", 1)
	for name, c := range map[string]struct{ bench, why string }{
		"attended":       {strings.Replace(attended, "pulse_text", "# pulse_text", 1), "waits for the person who stays at the supply's cock"},
		"its own pulses": {string(text), "the records of this page are in"}, // the next thing that is looked at
	} {
		file := filepath.Join(dir, "bench.toml")
		if err := os.WriteFile(file, []byte(c.bench), 0o600); err != nil {
			t.Fatal(err)
		}
		cmd := &serveCmd{Bench: file, Records: filepath.Join(dir, "records"), stateFlag: stateFlag{State: filepath.Join(dir, "state")}}
		held, err := cmd.take("pot-3", "run")
		if err != nil {
			t.Fatal(err)
		}
		if err := held.begin(filepath.Join(dir, "elsewhere", "r"), file); err != nil {
			t.Fatal(err)
		}
		if err := held.release(); err != nil {
			t.Fatal(err)
		}
		if err := (&pageBench{cmd: cmd}).goOnAlone(nil); err == nil || !strings.Contains(err.Error(), c.why) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
