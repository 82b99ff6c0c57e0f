package benchstate

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"
)

func open(t *testing.T) Dir {
	t.Helper()
	d, err := Open(t.TempDir(), "pot-1")
	if err != nil {
		t.Fatal(err)
	}
	return d
}

var noon = time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)

func TestALockOutIsRememberedUntilItIsTakenAway(t *testing.T) {
	d := open(t)
	s, err := d.Load()
	if err != nil || s.Lockout != nil || s.Running != nil {
		t.Fatalf("a new bench has %+v, %v", s, err)
	}
	want := State{Format: 1, Lockout: &Lockout{At: noon, Reason: "pressure above what is allowed", Record: "records/x"},
		Running: &Running{Since: noon, Record: "records/x"}, LastRecord: noon,
		Operated: map[string]time.Time{"lid": noon.Add(-time.Hour)}, FreeGas: &FreeGas{At: noon, SPerBar: 57.5}}
	if err := d.Save(want); err != nil {
		t.Fatal(err)
	}
	if s, err = d.Load(); err != nil || !reflect.DeepEqual(s, want) {
		t.Errorf("comes back as %+v, %v", s, err)
	}
	if err := d.Update(func(s *State) { s.Lockout = nil }); err != nil {
		t.Fatal(err)
	}
	if s, _ = d.Load(); s.Lockout != nil || s.Running == nil {
		t.Errorf("left %+v", s)
	}
}

func TestAStateThatCannotBeReadIsNeverNotLockedOut(t *testing.T) {
	d := open(t)
	for _, text := range []string{"lockout = 3", "format = 2", "[lockut]\n", "\x00\x00\x00"} {
		if err := os.WriteFile(d.Path(stateFile), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		if _, err := d.Load(); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q is read: %v", text, err)
		}
		if err := d.Update(func(*State) {}); err == nil {
			t.Errorf("%q is overwritten", text)
		}
	}
}

func TestASecondControllerIsToldWhoHasTheBench(t *testing.T) {
	d := open(t)
	l, err := d.Lock("pot-1", "run", noon)
	if err != nil {
		t.Fatal(err)
	}
	_, err = d.Lock("pot-1", "blank", noon)
	var held *HeldError
	if !errors.As(err, &held) || held.Holder.PID != os.Getpid() || held.Holder.Verb != "run" || !held.Holder.Since.Equal(noon) {
		t.Fatalf("%v", err)
	}
	if want := "proofpot run, since 2026-03-14T12:00:00Z"; !strings.Contains(err.Error(), want) {
		t.Errorf("%q does not say %q", err, want)
	}
	if err := l.Release(); err != nil {
		t.Fatal(err)
	}
	if l, err = d.Lock("pot-1", "blank", noon); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(d.Path(lockFile), 0); err != nil {
		t.Fatal(err)
	}
	if _, err := d.Lock("pot-1", "run", noon); !errors.As(err, &held) || !strings.Contains(err.Error(), "another process") {
		t.Errorf("a lock that does not say whose: %v", err)
	}
	l.Release()
}

func TestTheStateLiesWhereTheSpecificationPutsIt(t *testing.T) {
	abs := t.TempDir()
	for _, c := range []struct{ xdg, home, want string }{
		{abs, "/h", filepath.Join(abs, "proofpot")},
		{"", "/h", filepath.FromSlash("/h/.local/state/proofpot")},
		{"relative", "/h", filepath.FromSlash("/h/.local/state/proofpot")},
		{"", "", ""},
	} {
		got, err := DefaultBase(func(name string) string { return map[string]string{"XDG_STATE_HOME": c.xdg, "HOME": c.home}[name] })
		if got != c.want || (err == nil) != (c.want != "") {
			t.Errorf("%+v: %q, %v", c, got, err)
		}
	}
}
