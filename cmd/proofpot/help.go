package main

import (
	"os"
	"strings"

	"golang.org/x/term"

	"proofpot/profiles"
	"proofpot/rig/simbench"
)

// helpVars fills the help texts with what the other packages know.
func helpVars() map[string]string {
	var unit, bench []string
	for _, k := range simbench.UnitFaultKinds() {
		unit = append(unit, `"`+k.Example+`"`)
	}
	for _, k := range simbench.BenchFaultKinds() {
		bench = append(bench, `"`+k.Example+`"`)
	}
	return map[string]string{
		"waters":      strings.Join(profiles.WaterModels(), ", "),
		"unitFaults":  strings.Join(unit, "; "),
		"benchFaults": strings.Join(bench, "; "),
	}
}

func isTerminal(f *os.File) bool { return term.IsTerminal(int(f.Fd())) }

// columns is the width of a terminal; 80 where it does not say.
func columns(f *os.File) int {
	if n, _, err := term.GetSize(int(f.Fd())); err == nil && n > 0 {
		return n
	}
	return 80
}
