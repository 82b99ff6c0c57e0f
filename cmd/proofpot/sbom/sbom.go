// Package sbom says what a built command is made of: its modules with their
// licences, and as a bill of materials in CycloneDX 1.6, an open format
// (ECMA-424).
package sbom

import (
	_ "embed"
	"encoding/json"
	"runtime/debug"
	"slices"
	"strings"
)

//go:embed licences.tsv
var table string

// Licence is the SPDX expression of a module's licence, as its licence file has
// it; empty for a module that the table does not know.
func Licence(module string) string {
	for line := range strings.Lines(table) {
		if name, text, ok := strings.Cut(strings.TrimSpace(line), "\t"); ok && name == module {
			return text
		}
	}
	return ""
}

// Part is a module in the command.
type Part struct{ Module, Version, Sum, Licence string }

// Parts lists the modules of a build by name.
func Parts(info *debug.BuildInfo) []Part {
	var all []Part
	for _, m := range info.Deps {
		if m.Replace != nil {
			m = m.Replace
		}
		all = append(all, Part{m.Path, m.Version, m.Sum, Licence(m.Path)})
	}
	slices.SortFunc(all, func(a, b Part) int { return strings.Compare(a.Module, b.Module) })
	return all
}

type document struct {
	Format      string      `json:"bomFormat"`
	SpecVersion string      `json:"specVersion"`
	Version     int         `json:"version"`
	Metadata    metadata    `json:"metadata"`
	Components  []component `json:"components"`
}

type metadata struct {
	Component component `json:"component"`
}

type component struct {
	Type       string     `json:"type"`
	Ref        string     `json:"bom-ref"`
	Name       string     `json:"name"`
	Version    string     `json:"version,omitempty"`
	PURL       string     `json:"purl,omitempty"`
	Licences   []licence  `json:"licenses,omitempty"`
	Properties []property `json:"properties,omitempty"`
}

type licence struct {
	Expression string `json:"expression"`
}

type property struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

// CycloneDX is the bill of materials of a build. The same build gives the same
// bytes: it carries no time and no serial number.
func CycloneDX(info *debug.BuildInfo, version, licenceOfAll string) ([]byte, error) {
	d := document{Format: "CycloneDX", SpecVersion: "1.6", Version: 1, Components: []component{}}
	d.Metadata.Component = component{Type: "application", Ref: info.Main.Path, Name: info.Main.Path, Version: version,
		Licences: []licence{{licenceOfAll}}, Properties: []property{{"go:version", info.GoVersion}}}
	for _, s := range info.Settings {
		switch s.Key {
		case "GOOS", "GOARCH", "GOARM", "CGO_ENABLED", "vcs.revision":
			d.Metadata.Component.Properties = append(d.Metadata.Component.Properties, property{"go:" + s.Key, s.Value})
		}
	}
	for _, p := range Parts(info) {
		purl := "pkg:golang/" + p.Module + "@" + p.Version
		c := component{Type: "library", Ref: purl, Name: p.Module, Version: p.Version, PURL: purl}
		if p.Licence != "" {
			c.Licences = []licence{{p.Licence}}
		}
		if p.Sum != "" { // of the whole module, not of a file: go.sum's h1
			c.Properties = []property{{"go:sum", p.Sum}}
		}
		d.Components = append(d.Components, c)
	}
	data, err := json.MarshalIndent(d, "", "  ")
	return append(data, '\n'), err
}
