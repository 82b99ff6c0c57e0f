package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"proofpot/cmd/proofpot/manual"
)

// has looks for a program that a test needs; in CI it must be there.
func has(t *testing.T, name string) bool {
	t.Helper()
	if _, err := exec.LookPath(name); err == nil {
		return true
	}
	if os.Getenv("CI") != "" {
		t.Errorf("%s is not there", name)
	}
	return false
}

func TestShellsCompleteVerbsFlagsAndWords(t *testing.T) {
	app := model(t).Model.Node
	dir := t.TempDir()
	for _, shell := range manual.Shells {
		if err := os.WriteFile(filepath.Join(dir, shell), []byte(manual.Completion(app, shell)), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	ask := map[string]func(line string) []string{
		"bash": func(line string) []string {
			return []string{"-c", `source ` + dir + `/bash; line="$1"; COMP_WORDS=($line); [[ $line == *" " ]] && COMP_WORDS+=(""); COMP_CWORD=$((${#COMP_WORDS[@]}-1)); _proofpot; printf '%s\n' "${COMPREPLY[@]}"`, "bash", line}
		},
		"fish": func(line string) []string {
			return []string{"--no-config", "-c", `source ` + dir + `/fish; complete -C "` + line + `"`}
		},
	}
	for shell, command := range ask {
		if !has(t, shell) {
			continue
		}
		for line, want := range map[string]string{
			"proofpot ver": "verify version", "proofpot unit c": "close", "proofpot unit close --reg": "--register",
			"proofpot rating x --family w": "weibull", "proofpot completion ": "",
		} {
			out, err := exec.Command(shell, command(line)...).CombinedOutput()
			if err != nil {
				t.Fatalf("%s: %v\n%s", shell, err, out)
			}
			for _, word := range strings.Fields(want) {
				if !strings.Contains("\n"+string(out), "\n"+word) {
					t.Errorf("%s: %q gave %q, want %s", shell, line, out, word)
				}
			}
		}
	}
	if has(t, "zsh") {
		if out, err := exec.Command("zsh", "-n", filepath.Join(dir, "zsh")).CombinedOutput(); err != nil {
			t.Errorf("zsh: %v\n%s", err, out)
		}
	}
}

func TestManPagesAreWithoutWarnings(t *testing.T) {
	if !has(t, "groff") {
		return
	}
	dir := t.TempDir()
	pages := manual.Pages(model(t).Model.Node, "proofpot 1")
	for _, p := range pages {
		file := filepath.Join(dir, p.Name)
		if err := os.WriteFile(file, []byte(p.Text), 0o666); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("groff", "-man", "-Tutf8", "-Kutf8", "-ww", "-z", file).CombinedOutput()
		if err != nil || strings.Contains(string(out), "warning") {
			t.Errorf("%s: %v\n%s", p.Name, err, out)
		}
	}
	if len(pages) < 20 {
		t.Errorf("%d pages", len(pages))
	}
}
