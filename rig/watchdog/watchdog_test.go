package watchdog

import (
	"bytes"
	"errors"
	"io/fs"
	"net"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

type device struct {
	bytes.Buffer
	fail   error
	closed bool
}

func (d *device) Write(b []byte) (int, error) {
	if d.fail != nil {
		return 0, d.fail
	}
	return d.Buffer.Write(b)
}
func (d *device) Close() error { d.closed = true; return nil }

func TestTheKernelsWatchdogIsFedAndDisarmedAtTheEnd(t *testing.T) {
	d := &device{}
	k := &Kernel{d}
	for range 3 {
		if err := k.Alive(); err != nil {
			t.Fatal(err)
		}
	}
	if err := k.Close(); err != nil || d.String() != "\x00\x00\x00V" || !d.closed {
		t.Errorf("wrote %q, closed %v, %v", d.String(), d.closed, err)
	}
	gone := errors.New("no such device")
	k = &Kernel{&device{fail: gone}}
	if err := k.Alive(); !errors.Is(err, gone) {
		t.Error(err)
	}
	if err := k.Close(); !errors.Is(err, gone) {
		t.Error(err)
	}
	if _, err := OpenKernel(filepath.Join(t.TempDir(), "watchdog")); !errors.Is(err, fs.ErrNotExist) || strings.Contains(err.Error(), "\n") {
		t.Error(err)
	}
}

// manager is a service manager's socket.
func manager(t *testing.T) (string, func() string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "notify")
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return path, func() string {
		var b [256]byte
		if err := conn.SetReadDeadline(time.Now().Add(5 * time.Second)); err != nil {
			t.Fatal(err)
		}
		n, err := conn.Read(b[:])
		if err != nil {
			t.Fatal(err)
		}
		return string(b[:n])
	}
}

func environ(pairs ...string) func(string) string {
	return func(name string) string {
		if i := slices.Index(pairs, name); i >= 0 {
			return pairs[i+1]
		}
		return ""
	}
}

func TestSystemdHearsOfTheStartOfEachThirdOfItsTimeAndOfTheEnd(t *testing.T) {
	path, said := manager(t)
	s, err := OpenService(environ("NOTIFY_SOCKET", path, "WATCHDOG_USEC", "3000000", "WATCHDOG_PID", "17"), 17)
	if err != nil {
		t.Fatal(err)
	}
	if got := said(); got != "READY=1" {
		t.Errorf("said %q", got)
	}
	start := time.Now()
	for i := range 5 { // at 0, 0.5, 1, 1.5, 2 s: three are due
		if err := s.Alive(start.Add(time.Duration(i) * 500 * time.Millisecond)); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"WATCHDOG=1", "WATCHDOG=1", "WATCHDOG=1", "STOPPING=1"} {
		if got := said(); got != want {
			t.Errorf("said %q, want %q", got, want)
		}
	}
}

func TestWithoutAServiceManagerNothingIsSaidAndAWrongOneIsAnError(t *testing.T) {
	s, err := OpenService(environ(), 1)
	if s != nil || err != nil || s.Alive(time.Now()) != nil || s.Close() != nil {
		t.Errorf("%v, %v", s, err)
	}
	if _, err := OpenService(environ("NOTIFY_SOCKET", filepath.Join(t.TempDir(), "none")), 1); err == nil {
		t.Error("a missing socket is taken")
	}
	path, _ := manager(t)
	if _, err := OpenService(environ("NOTIFY_SOCKET", path, "WATCHDOG_USEC", "soon"), 1); err == nil || !strings.Contains(err.Error(), `"soon"`) {
		t.Error(err)
	}
	other, err := OpenService(environ("NOTIFY_SOCKET", path, "WATCHDOG_USEC", "3", "WATCHDOG_PID", "2"), 1)
	if err != nil || other.every != 0 {
		t.Errorf("a watchdog for another process: %+v, %v", other, err)
	}
}
