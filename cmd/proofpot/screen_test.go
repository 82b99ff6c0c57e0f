package main

import (
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
)

// TestARunIsSeenAndStoppedOnATerminal runs the real command on a real
// pseudo-terminal of 80 by 24, notes something and stops it by a key.
func TestARunIsSeenAndStoppedOnATerminal(t *testing.T) {
	dir := t.TempDir()
	program := filepath.Join(dir, "proofpot")
	if out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		t.Fatalf("%s", out)
	}
	c := exec.Command(program, "run", "quick-check-30m-sea", "--pace", "30")
	c.Dir, c.Env = dir, append(os.Environ(), "TERM=xterm-256color")
	tty, err := pty.StartWithSize(c, &pty.Winsize{Rows: 24, Cols: 80})
	if err != nil {
		t.Fatal(err)
	}
	defer tty.Close()
	var mu sync.Mutex
	var seen strings.Builder
	go func() {
		buf := make([]byte, 4096)
		for {
			n, err := tty.Read(buf)
			mu.Lock()
			seen.Write(buf[:n])
			mu.Unlock()
			if err != nil {
				return
			}
		}
	}()
	waits := func(want string) {
		t.Helper()
		for deadline := time.Now().Add(60 * time.Second); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
			mu.Lock()
			found := strings.Contains(seen.String(), want)
			mu.Unlock()
			if found {
				return
			}
		}
		t.Fatalf("%q was not shown:\n%q", want, seen.String())
	}
	waits("UNDER PRESSURE")
	waits("a STOP AND VENT")
	io.WriteString(tty, "n")
	waits("note: ")
	for _, r := range "bubbles" { // a person types one letter after the other
		io.WriteString(tty, string(r))
		time.Sleep(5 * time.Millisecond)
	}
	io.WriteString(tty, "\r")
	waits("p pause")
	time.Sleep(300 * time.Millisecond)
	io.WriteString(tty, "a")
	err = c.Wait()
	if exit, ok := err.(*exec.ExitError); !ok || exit.ExitCode() != exitStopped {
		t.Errorf("ended with %v", err)
	}
	found, _ := filepath.Glob(filepath.Join(dir, "records", "*", "readings.lp"))
	if len(found) != 1 {
		t.Fatalf("records %v", found)
	}
	lines, err := os.ReadFile(found[0])
	if err != nil || !strings.Contains(string(lines), "bubbles") || !strings.Contains(string(lines), "stopped by the operator") {
		t.Errorf("the record holds neither note nor stop (%v)", err)
	}
}
