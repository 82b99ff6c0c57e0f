package main

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"proofpot": main, "benchtop": benchtop})
}

// TestScripts runs the real command as a user would. Besides the usual
// commands a script has `exits N command…`, which wants that exit code, and
// `findrecord DIR VAR`, which names the one record in a folder.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(env *testscript.Env) error {
			env.Setenv("XDG_STATE_HOME", filepath.Join(env.WorkDir, "state"))
			unit, err := filepath.Abs("package/proofpot.service")
			env.Setenv("UNIT", unit)
			return err
		},
		Condition: func(cond string) (bool, error) {
			return cond == "slow" && os.Getenv("PROOFPOT_SLOW") != "" || cond == "ci" && os.Getenv("CI") != "", nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"findrecord": func(ts *testscript.TestScript, neg bool, args []string) {
				found, err := filepath.Glob(filepath.Join(ts.MkAbs(args[0]), "*"))
				ts.Check(err)
				if len(found) != 1 {
					ts.Fatalf("%d records in %s, want one", len(found), args[0])
				}
				ts.Setenv(args[1], found[0])
			},
			"exits": func(ts *testscript.TestScript, neg bool, args []string) {
				want, err := strconv.Atoi(args[0])
				ts.Check(err)
				got := 0
				if err := ts.Exec(args[1], args[2:]...); err != nil {
					var exit *exec.ExitError
					if !errors.As(err, &exit) {
						ts.Fatalf("%v", err)
					}
					got = exit.ExitCode()
				}
				if got != want {
					ts.Fatalf("exit code %d, want %d", got, want)
				}
			},
		},
	})
}
