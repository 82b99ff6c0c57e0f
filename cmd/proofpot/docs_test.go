package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

var (
	shellBlock = regexp.MustCompile("(?s)```sh\n(.*?)```")
	exitMark   = regexp.MustCompile(`\s+# exit (\d)$`)
)

// TestEveryCommandOfEveryPageRuns runs what stands in the pages' sh blocks, in
// order, in one folder a page. A command ends with exit code 0, or with the one
// that "# exit N" beside it says.
func TestEveryCommandOfEveryPageRuns(t *testing.T) {
	if testing.Short() {
		t.Skip("the pages run whole seasons: not with -short")
	}
	pages, err := filepath.Glob("docs/*.md")
	if err != nil || len(pages) == 0 {
		t.Fatalf("pages %v, %v", pages, err)
	}
	for _, page := range pages {
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		t.Run(filepath.Base(page), func(t *testing.T) {
			t.Chdir(t.TempDir())
			t.Setenv("XDG_STATE_HOME", t.TempDir())
			t.Setenv("XDG_CONFIG_HOME", t.TempDir())
			n := 0
			for _, block := range shellBlock.FindAllSubmatch(text, -1) {
				for line := range strings.Lines(string(block[1])) {
					line = strings.TrimSpace(line)
					want := exitDone
					if m := exitMark.FindStringSubmatch(line); m != nil {
						want, _ = strconv.Atoi(m[1])
						line = exitMark.ReplaceAllString(line, "")
					}
					args, ours := strings.CutPrefix(line, "proofpot ")
					if !ours {
						t.Fatalf("%s: a page's commands are proofpot's: %s", page, line)
					}
					var out, errs bytes.Buffer
					w := world{ctx: context.Background(), in: strings.NewReader(""), out: &out, errs: &errs}
					if code := run(w, words(t, args)); code != want {
						t.Fatalf("%s\nexit code %d, want %d\n%s%s", line, code, want, out.String(), errs.String())
					}
					n++
				}
			}
			if n == 0 {
				t.Errorf("%s has no command", page)
			}
		})
	}
}
