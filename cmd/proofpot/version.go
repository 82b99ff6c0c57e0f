package main

import (
	"fmt"
	"runtime/debug"
)

type versionCmd struct{}

// Run prints the version.
func (versionCmd) Run(w *world) error {
	_, err := fmt.Fprintln(w.out, "proofpot "+version())
	return err
}

// version is the module's, with the commit where the build knows it.
func version() string {
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
