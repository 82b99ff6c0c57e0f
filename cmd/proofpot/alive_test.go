package main

import (
	"net"
	"path/filepath"
	"testing"
	"time"
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
