//go:build unix

package fileline

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// next reads until something comes, or the port says that it is lost.
func next(t *testing.T, p *Port) (string, error) {
	t.Helper()
	b := make([]byte, 100)
	for deadline := time.Now().Add(10 * time.Second); time.Now().Before(deadline); {
		n, err := p.Read(b)
		if n > 0 || err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			return string(b[:n]), err
		}
	}
	t.Fatal("nothing came")
	return "", nil
}

func write(t *testing.T, path, text string, flag int) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_WRONLY|flag, 0o644)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := f.WriteString(text); err != nil {
		t.Fatal(err)
	}
}

func TestAGrowingFileIsReadFromItsEndOn(t *testing.T) {
	path := filepath.Join(t.TempDir(), "logger.lp")
	write(t, path, "the past\n", os.O_CREATE)
	p, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	write(t, path, "now\n", os.O_APPEND)
	if got, err := next(t, p); got != "now\n" || err != nil {
		t.Errorf("%q %v", got, err)
	}
	write(t, path, "new\n", os.O_TRUNC)
	if _, err := next(t, p); !errors.Is(err, ErrReplaced) {
		t.Errorf("a file that was cut: %v", err)
	}
	other, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	os.Rename(path, path+".1")
	if _, err := next(t, other); !errors.Is(err, ErrReplaced) {
		t.Errorf("a file that was taken away: %v", err)
	}
}

func TestAPipeWaitsForItsWriterAndTheNextOne(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pipe")
	if err := unix.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	p, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	if _, err := p.Read(make([]byte, 9)); !errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("without a writer: %v", err)
	}
	for _, text := range []string{"one\n", "two\n"} {
		write(t, path, text, 0)
		if got, err := next(t, p); got != text || err != nil {
			t.Errorf("%q %v", got, err)
		}
	}
}

func TestWhatIsNoFileOrPipeIsRefused(t *testing.T) {
	for path, want := range map[string]string{t.TempDir(): "neither a file nor a pipe", "/dev/null": "neither a file nor a pipe", "/no/such": "is not there"} {
		if _, err := Open(path); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", path, err)
		}
	}
}
