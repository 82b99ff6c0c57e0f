package main

import (
	"errors"
	"fmt"
	"runtime/debug"
	"text/tabwriter"

	"proofpot/cmd/proofpot/sbom"
)

// release is the version that a release is built with, by the linker's -X.
var release string

type versionCmd struct {
	Licences bool `help:"List the modules it is built of, with their licences."`
	SBOM     bool `name:"sbom" help:"Print the bill of materials, CycloneDX as JSON."`
}

// Help is shown by proofpot version --help.
func (versionCmd) Help() string {
	return `Says which version this is, of which commit, for which system it was built, and of what.

Example: proofpot version --licences`
}

// Run prints the version.
func (c *versionCmd) Run(w *world) error {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		if c.Licences || c.SBOM {
			return errors.New("this build does not say what it is built of; build it with go build")
		}
		_, err := fmt.Fprintln(w.out, "proofpot "+version())
		return err
	}
	if c.SBOM {
		bill, err := sbom.CycloneDX(info, version(), "MIT")
		if err == nil {
			_, err = w.out.Write(bill)
		}
		return err
	}
	set := map[string]string{}
	for _, s := range info.Settings {
		set[s.Key] = s.Value
	}
	fmt.Fprintf(w.out, "proofpot %s\n", version())
	if commit := set["vcs.revision"]; commit != "" {
		if set["vcs.modified"] == "true" {
			commit += ", changed since"
		}
		fmt.Fprintf(w.out, "commit %s, %s\n", commit, set["vcs.time"])
	}
	arm := set["GOARM"]
	if arm != "" {
		arm = " v" + arm
	}
	fmt.Fprintf(w.out, "built with %s for %s %s%s, of %d modules\n", info.GoVersion, set["GOOS"], set["GOARCH"], arm, len(info.Deps))
	if !c.Licences {
		return nil
	}
	t := tabwriter.NewWriter(w.out, 0, 0, 2, ' ', 0)
	for _, p := range sbom.Parts(info) {
		fmt.Fprintf(t, "%s\t%s\t%s\n", p.Module, p.Version, p.Licence)
	}
	return t.Flush()
}

// version is the release's, or the module's, with the commit where the build
// knows it.
func version() string {
	if release != "" {
		return release
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	v := info.Main.Version
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && len(s.Value) >= 12 && v == "(devel)" {
			v = s.Value[:12]
		}
	}
	if v == "(devel)" || v == "" {
		return "development"
	}
	return v
}
