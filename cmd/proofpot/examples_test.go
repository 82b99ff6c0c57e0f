package main

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
	"github.com/rogpeppe/go-internal/txtar"

	"proofpot/cmd/proofpot/manual"
)

// ends are the examples that end with another code than 0, or that are only
// parsed, and why.
var ends = map[string]struct {
	code int
	only string // parsed only, because
}{
	"run":        {code: exitNo},
	"trip":       {code: exitNo},
	"doctor":     {code: exitNo}, // its port is not there
	"serve":      {only: "it goes on until it is ended"},
	"preflight":  {only: "a bench with its sensors is needed: testdata/script/preflight.txtar"},
	"blank":      {only: "as preflight, for hours: testdata/script/characterise.txtar"},
	"known-leak": {only: "as blank"},
	"resume":     {only: "a run that was cut off is needed: testdata/script/resume.txtar"},
	"sensors":    {only: "as preflight: sensors_test.go"},
	"merge":      {only: "a logger's file is needed: merge_test.go"},
	"calibrate":  {only: "a person or a reference is needed"},
	"forward":    {only: "a server is needed"},
}

// sandbox makes a folder in which the examples may run, and goes there.
func sandbox(t *testing.T) func(args ...string) (int, string) {
	var files []txtar.File
	for _, script := range []string{"compare", "characterise", "register", "setup"} {
		a, err := txtar.ParseFile("testdata/script/" + script + ".txtar")
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, a.Files...)
	}
	bench, err := os.ReadFile("../../rig/setup/testdata/hand-serial.toml")
	if err != nil {
		t.Fatal(err)
	}
	trip, err := os.ReadFile("../../analysis/register/testdata/lake-week.toml")
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	t.Setenv("XDG_STATE_HOME", t.TempDir())
	for _, f := range files {
		if err := os.MkdirAll(filepath.Dir(f.Name), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(f.Name, f.Data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for name, data := range map[string][]byte{"can.csv": nil, "bench.toml": bench, "lake-week.toml": trip} {
		if err := os.WriteFile(name, data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for from, to := range map[string]string{"hand.txt": "answers.txt", "dives.uddf": "week.uddf"} {
		if err := os.Rename(from, to); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir("stick", 0o777); err != nil {
		t.Fatal(err)
	}
	return func(args ...string) (int, string) {
		var out bytes.Buffer
		code := run(world{ctx: context.Background(), in: strings.NewReader(""), out: &out, errs: &out}, args)
		return code, out.String()
	}
}

// model is the command line as a person gets it.
func model(t *testing.T) *kong.Kong {
	t.Helper()
	var c commands
	parser, err := kong.New(&c, kong.Name("proofpot"), kong.Vars(helpVars()))
	if err != nil {
		t.Fatal(err)
	}
	withExamples(parser.Model.Node)
	return parser
}

// words parts a line as a shell does, single quotes and all.
func words(t *testing.T, line string) []string {
	t.Helper()
	out, err := exec.Command("sh", "-c", `for w in `+line+`; do printf '%s\n' "$w"; done`).Output()
	if err != nil {
		t.Fatal(line, err)
	}
	return strings.Split(strings.TrimRight(string(out), "\n"), "\n")
}

// TestTheExampleInEachVerbsHelpRuns runs them in the order in which the verbs
// stand, but for those that need what others make.
func TestTheExampleInEachVerbsHelpRuns(t *testing.T) {
	if testing.Short() {
		t.Skip("it goes through a season")
	}
	parser := model(t)
	do := sandbox(t)
	if code, out := do("run", "proof-10m-fresh", "--unit", "kp-01.toml", "--records", "made"); code != exitDone {
		t.Fatal(code, out)
	}
	made, _ := filepath.Glob("made/*")
	if err := os.Mkdir("records", 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(made[0], "records/20260314T081502Z-KP-01"); err != nil {
		t.Fatal(err)
	}
	for i, at := range []string{"13.4", "16.4", "19.4", "16.4", "22.4", "25.4", "28.4"} {
		n := string(rune('1' + i))
		do("run", "steps.toml", "--records", "records", "--unit", "kp-0"+n+".toml", "--seed", n, "--unit-fault", "seep at "+at+" m, 60 ml/h")
	}
	order := []string{"unit close", "unit tests", "unit dive", "unit dives", "unit log", "key new"}
	leaves := parser.Model.Leaves(true)
	place := func(n *kong.Node) int {
		if i := slices.Index(order, strings.TrimPrefix(n.Path(), "proofpot ")); i >= 0 {
			return i
		}
		return len(order)
	}
	slices.SortStableFunc(leaves, func(a, b *kong.Node) int { return place(a) - place(b) })
	for _, n := range leaves {
		path := strings.TrimPrefix(n.Path(), "proofpot ")
		_, found := manual.Examples(n.Detail)
		if len(found) == 0 {
			t.Errorf("proofpot %s --help has no example", path)
		}
		for _, e := range found {
			args := words(t, e)[1:]
			verb := ends[path]
			if verb.only != "" || path == "stiffness" && (slices.Contains(args, "--cup") || slices.Contains(args, "--from")) { // stiffness_test.go runs the latter
				for _, a := range args { // a record that another verb would have made
					if strings.HasPrefix(a, "records/") && os.Mkdir(a, 0o777) == nil {
						defer os.Remove(a)
					}
				}
				if _, err := model(t).Parse(args); err != nil {
					t.Errorf("%s: %v", e, err)
				}
				continue
			}
			if path == "stiffness" {
				verb.code = exitDone
			}
			code, out := do(args...)
			if path == "unit show" && code == exitNo { // the clock says whether it was opened before the simulated test or after
				code = exitDone
			}
			if code != verb.code {
				t.Errorf("%s: exit code %d, want %d\n%s", e, code, verb.code, out)
			}
		}
	}
}
