package sbom

import (
	"bytes"
	"encoding/json"
	"os/exec"
	"runtime/debug"
	"strings"
	"testing"
)

// TestEveryModuleOfTheCommandHasItsLicence asks go what the command is built of,
// on each system that it is built for.
func TestEveryModuleOfTheCommandHasItsLicence(t *testing.T) {
	for _, system := range []string{"linux", "darwin", "windows"} {
		list := exec.Command("go", "list", "-deps", "-f", "{{with .Module}}{{.Path}}{{end}}", "proofpot/cmd/proofpot")
		list.Env = append(list.Environ(), "GOOS="+system, "CGO_ENABLED=0")
		out, err := list.Output()
		if err != nil {
			t.Fatal(err)
		}
		seen := map[string]bool{"proofpot": true}
		for _, module := range strings.Fields(string(out)) {
			if !seen[module] && Licence(module) == "" {
				t.Errorf("%s: %s is not in licences.tsv", system, module)
			}
			seen[module] = true
		}
	}
}

func TestABillOfMaterialsIsCycloneDXAndTheSameEachTime(t *testing.T) {
	info := &debug.BuildInfo{GoVersion: "go1.26", Main: debug.Module{Path: "proofpot"}, Deps: []*debug.Module{
		{Path: "rsc.io/qr", Version: "v0.2.0", Sum: "h1:x"}, {Path: "aead.dev/minisign", Version: "v0.3.0"}, {Path: "example.org/unknown", Version: "v1.0.0"}}}
	one, err := CycloneDX(info, "1.2", "MIT")
	if err != nil {
		t.Fatal(err)
	}
	two, _ := CycloneDX(info, "1.2", "MIT")
	if !bytes.Equal(one, two) {
		t.Error("the same build gave two bills")
	}
	var read struct {
		BOMFormat, SpecVersion string
		Components             []struct {
			PURL     string
			Licenses []struct{ Expression string }
		}
	}
	if err := json.Unmarshal(one, &read); err != nil {
		t.Fatal(err)
	}
	if read.BOMFormat != "CycloneDX" || len(read.Components) != 3 || read.Components[2].PURL != "pkg:golang/rsc.io/qr@v0.2.0" {
		t.Errorf("%+v", read)
	}
	if got := read.Components[2].Licenses[0].Expression; got != "BSD-3-Clause" {
		t.Errorf("licence %q", got)
	}
	if len(read.Components[1].Licenses) != 0 {
		t.Error("a licence was guessed")
	}
}
