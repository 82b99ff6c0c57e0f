package main

import (
	"context"
	"io"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"proofpot/cmd/proofpot/page"
)

// TestAHungLoopIsNotSaidToLive listens as a service manager does.
func TestAHungLoopIsNotSaidToLive(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notify")
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	heard := func() string {
		b := make([]byte, 64)
		_ = conn.SetReadDeadline(time.Now().Add(50 * time.Millisecond))
		n, _ := conn.Read(b)
		return string(b[:n])
	}
	t.Setenv("NOTIFY_SOCKET", path)
	t.Setenv("WATCHDOG_USEC", "3000000")
	t.Setenv("WATCHDOG_PID", "")
	a, err := openAlive()
	if err != nil {
		t.Fatal(err)
	}
	if got := heard(); got != "READY=1" {
		t.Fatalf("heard %q", got)
	}
	now := time.Now()
	for _, c := range []struct {
		what string
		do   func()
		want string
	}{
		{"nothing runs", func() {}, "WATCHDOG=1"},
		{"a step", func() { a.step(now) }, "WATCHDOG=1"},
		{"no step for long", func() { a.step(now.Add(-time.Minute)) }, ""},
		{"the run has ended", a.end, "WATCHDOG=1"},
	} {
		now = now.Add(5 * time.Second)
		c.do()
		if err := a.tick(now); err != nil {
			t.Fatal(err)
		}
		if got := heard(); got != c.want {
			t.Errorf("%s: heard %q, want %q", c.what, got, c.want)
		}
	}
	var none *alive // without a manager
	none.step(now)
	none.end()
	none.goOn(nil)
}

// TestARunFromThePageTellsTheManagerOfEachStep: the loop of a run that a page
// watches is the one that the service manager must hear of.
func TestARunFromThePageTellsTheManagerOfEachStep(t *testing.T) {
	a := &alive{}
	w := &world{ctx: context.Background(), in: strings.NewReader(""), out: io.Discard, errs: io.Discard, alive: a, console: page.NewConsole()}
	r := &runCmd{Records: t.TempDir(), simFlags: simFlags{Seed: 1}}
	r.Profile = "quick-check-30m-sea"
	sheet, err := r.sheet()
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() {
		_, _, err := r.perform(w, sheet, "serve")
		done <- err
	}()
	heard := false
	for running := true; running; {
		select {
		case err := <-done:
			if err != nil {
				t.Fatal(err)
			}
			running = false
		default:
			heard = heard || a.last.Load() != 0
		}
	}
	if !heard || a.last.Load() != 0 {
		t.Errorf("steps heard of: %t; at the end %d", heard, a.last.Load())
	}
}
