package sensortest

import (
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// notDrivers are the folders below sensors that read no sensor of their own.
var notDrivers = map[string]string{
	"busguard":    "one transfer at a time on a bus that is shared",
	"calibration": "arithmetic",
	"discover":    "looks for ports, buses and chips",
	"gpiochip":    "lines, for gpioline",
	"health":      "looks at the readings of all drivers",
	"kerneltest":  "scripts",
	"poll":        "asks every part on a bus; runs in the suites of those",
	"repeats":     "counts faults",
	"scale":       "arithmetic",
	"sensortest":  "the suite",
	"serialport":  "ports, for serialline and modbus",
	"sht":         "what sht3x and sht4x share",
	"tca9548a":    "a multiplexer",
	"traffic":     "records what goes over a bus",
}

// elsewhere is where the suite runs over the parts of a folder that only names
// them.
var elsewhere = map[string]string{"ms5803": "ms58xx", "ms5837": "ms58xx", "sht3x": "sht", "sht4x": "sht"}

func TestEveryDriverRunsTheSuite(t *testing.T) {
	ran := map[string]bool{}
	tests, err := filepath.Glob("../*/*_test.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range tests {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(text), "sensortest.Suite(t") {
			continue
		}
		ran[filepath.Base(filepath.Dir(path))] = true
		file, err := parser.ParseFile(token.NewFileSet(), path, text, parser.ImportsOnly)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range file.Imports {
			if name, ours := strings.CutPrefix(strings.Trim(i.Path.Value, `"`), "proofpot/sensors/"); ours && elsewhere[name] == filepath.Base(filepath.Dir(path)) {
				ran[name] = true
			}
		}
	}
	folders, err := os.ReadDir("..")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range folders {
		name := f.Name()
		if !f.IsDir() || notDrivers[name] != "" {
			continue
		}
		if !ran[name] {
			t.Errorf("no test runs the suite over sensors/%s; if it reads no sensor, say so in notDrivers", name)
		}
	}
}
