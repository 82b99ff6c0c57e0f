package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// layers says what each part may import of this module. It is the picture in
// DEVELOPERS.md, held true.
var layers = []struct {
	part    string
	imports []string
}{
	{"proofpot/profiles", []string{"proofpot/profiles"}},
	{"proofpot/sensors", []string{"proofpot/sensors"}},
	{"proofpot/rig/setup", []string{"proofpot/rig/setup", "proofpot/profiles", "proofpot/sensors"}},
	{"proofpot/rig/record", []string{"proofpot/rig/record", "proofpot/rig/setup", "proofpot/profiles", "proofpot/sensors"}},
	{"proofpot/rig", []string{"proofpot/rig", "proofpot/profiles", "proofpot/sensors"}},
	{"proofpot/analysis", []string{"proofpot/analysis", "proofpot/profiles", "proofpot/sensors", "proofpot/rig/setup", "proofpot/rig/record"}},
	{"proofpot/cmd", []string{"proofpot"}},
}

func below(path, part string) bool { return path == part || strings.HasPrefix(path, part+"/") }

func TestEachLayerImportsOnlyWhatItMay(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", "{{.ImportPath}}|{{.Doc}}|{{join .Imports \" \"}}", "proofpot/...").Output()
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(strings.TrimSpace(string(out))) {
		cells := strings.SplitN(strings.TrimSpace(line), "|", 3)
		path, doc, imports := cells[0], cells[1], strings.Fields(cells[2])
		if doc == "" {
			t.Errorf("%s has no package comment", path)
		}
		for _, l := range layers {
			if !below(path, l.part) {
				continue
			}
			for _, imp := range imports {
				if !below(imp, "proofpot") {
					continue
				}
				allowed := false
				for _, a := range l.imports {
					allowed = allowed || below(imp, a)
				}
				if !allowed {
					t.Errorf("%s imports %s, which its layer may not", path, imp)
				}
			}
			break
		}
	}
}

// pure are the packages that know no clock, no goroutine, no device and no file.
var pure = []string{"proofpot/analysis", "proofpot/profiles/water", "proofpot/rig/simbench"}

func TestTheCoreTouchesNoDevice(t *testing.T) {
	for _, path := range pure {
		out, err := exec.Command("go", "list", "-f", "{{join .Imports \" \"}}", path).Output()
		if err != nil {
			t.Fatal(err)
		}
		for _, imp := range strings.Fields(string(out)) {
			if imp == "os" || imp == "net" || strings.HasPrefix(imp, "go.bug.st/") || imp == "os/exec" {
				t.Errorf("%s imports %s", path, imp)
			}
		}
	}
}

// TestTheReadmesLinksLead looks for each file that a README names.
func TestTheReadmesLinksLead(t *testing.T) {
	link := regexp.MustCompile(`\]\(([^)#:]+)\)`)
	for _, name := range []string{"README.md", "DEVELOPERS.md", "analysis/README.md", "profiles/README.md", "rig/record/README.md"} {
		text, err := os.ReadFile(filepath.Join("../..", name))
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range link.FindAllStringSubmatch(string(text), -1) {
			if _, err := os.Stat(filepath.Join("../..", filepath.Dir(name), m[1])); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
}
