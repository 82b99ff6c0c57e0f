package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"proofpot/sensors/sensortest"
)

// fenced is a block of a page: its language, the name of a file that it is, or
// nothing, and its text.
type fenced struct{ language, file, text string }

// blocks takes the fenced blocks out of a page. A block in a list is indented.
func blocks(page string) []fenced {
	var all []fenced
	var b *fenced
	indent := ""
	for line := range strings.Lines(page) {
		trimmed := strings.TrimLeft(line, " ")
		if rest, ok := strings.CutPrefix(strings.TrimSpace(line), "```"); ok {
			if b != nil {
				all, b = append(all, *b), nil
				continue
			}
			language, file, _ := strings.Cut(rest, " ")
			b, indent = &fenced{language: language, file: file}, line[:len(line)-len(trimmed)]
			continue
		}
		if b != nil {
			b.text += strings.TrimPrefix(line, indent)
		}
	}
	return all
}

// exitMark is how a page says that a command ends with another code than 0, and
// why.
var exitMark = regexp.MustCompile(`\s+# exit (\d).*$`)

// TestEachCommandOnEachPageRuns writes the files that a page shows and goes
// through its commands, in order, in a folder of its own.
func TestEachCommandOnEachPageRuns(t *testing.T) {
	if testing.Short() {
		t.Skip("whole tests are run")
	}
	pages, err := filepath.Glob("docs/*.md")
	if err != nil || len(pages) < 8 {
		t.Fatal(pages, err)
	}
	trip, err := filepath.Abs("../../analysis/register/testdata/lake-week.toml")
	if err != nil {
		t.Fatal(err)
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
			if err := os.Symlink(trip, "lake-week.toml"); err != nil {
				t.Fatal(err)
			}
			all := blocks(string(text))
			typed, onPot := "", potOf(t, all)
			for _, b := range all {
				if b.language == "typed" {
					typed = b.text
				}
				if b.file != "" {
					b.text = strings.ReplaceAll(b.text, potPort, onPot.path)
					if err := os.WriteFile(b.file, []byte(b.text), 0o666); err != nil {
						t.Fatal(err)
					}
				}
			}
			for _, b := range all {
				if b.language != "sh" {
					continue
				}
				for line := range strings.Lines(b.text) {
					if line = strings.TrimSpace(line); line == "" {
						continue
					}
					want := exitDone
					if m := exitMark.FindStringSubmatch(line); m != nil {
						want, _ = strconv.Atoi(m[1])
					}
					command := exitMark.ReplaceAllString(line, "")
					var out bytes.Buffer
					onPot.begin(&out)
					args := words(t, command)
					if args[0] != "proofpot" {
						t.Fatalf("%q is no command of ours", line)
					}
					if code := run(world{ctx: context.Background(), in: strings.NewReader(typed + "\n"), out: &out, errs: onPot}, args[1:]); code != want {
						t.Errorf("%s: exit code %d, want %d\n%s", command, code, want, tail(out.String()))
					}
				}
			}
		})
	}
}

// potPort is the port of a page's pot, potHPa the room's pressure there.
const (
	potPort = "/dev/serial/by-id/usb-pot"
	potHPa  = 978.2
)

// pot is a transducer with a hose for the page that has one: the column stands at
// the height that is typed as the next point. What is said to the person goes on
// to the page's output.
type pot struct {
	mu      sync.Mutex
	path    string
	heights []float64
	asked   int
	out     *bytes.Buffer
}

func potOf(t *testing.T, all []fenced) *pot {
	p := &pot{path: potPort}
	for _, b := range all {
		if b.language == "typed" {
			for _, word := range strings.Fields(b.text) {
				h, err := strconv.ParseFloat(word, 64)
				if err != nil {
					t.Fatal(err)
				}
				p.heights = append(p.heights, h)
			}
		}
	}
	if len(p.heights) == 0 {
		return p
	}
	far, err := sensortest.StartEmulator(sensortest.EmulatorOptions{Link: filepath.Join(t.TempDir(), "pot"), Every: 50 * time.Millisecond,
		Print: func(sensortest.Measured) string { return fmt.Sprintf("p_bar=%.5f", p.bar()) }})
	if err != nil {
		t.Skip("no pseudo-terminal here: ", err)
	}
	t.Cleanup(far.Close)
	p.path = far.Path()
	return p
}

// bar is what the transducer reads: 300 Pa too much, at 9,790 Pa a metre.
func (p *pot) bar() float64 {
	p.mu.Lock()
	defer p.mu.Unlock()
	i := min(max(p.asked-1, 0), len(p.heights)-1)
	return (potHPa*100 + 300 + 9790*p.heights[i]) / 1e5
}

func (p *pot) begin(out *bytes.Buffer) { p.mu.Lock(); defer p.mu.Unlock(); p.out, p.asked = out, 0 }

// Write counts the points that are asked for.
func (p *pot) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.asked += strings.Count(string(b), "point ")
	return p.out.Write(b)
}

func tail(text string) string { return text[max(0, len(text)-1500):] }

// TestThePagesLinksLead looks for each file that a page names.
func TestThePagesLinksLead(t *testing.T) {
	link := regexp.MustCompile(`\]\(([^)#:]+)\)`)
	pages, _ := filepath.Glob("docs/*.md")
	for _, page := range pages {
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range link.FindAllStringSubmatch(string(text), -1) {
			if _, err := os.Stat(filepath.Join("docs", m[1])); err != nil {
				t.Errorf("%s: %v", page, err)
			}
		}
	}
}
