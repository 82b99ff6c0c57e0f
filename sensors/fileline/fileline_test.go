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

	"proofpot/sensors"
	"proofpot/sensors/scale"
	"proofpot/sensors/sensortest"
	"proofpot/sensors/serialline"
	"proofpot/sensors/serialline/textline"
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

func TestAFileDoesWhatADriverMust(t *testing.T) {
	const interval = 200 * time.Millisecond
	sensortest.Suite(t, func(t *testing.T, clock *sensortest.Clock) sensortest.Subject {
		path := filepath.Join(t.TempDir(), "logger.lp")
		write(t, path, "", os.O_CREATE)
		open := func() (serialline.Port, error) {
			port, err := Open(path)
			if err != nil {
				return nil, err
			}
			port.wait = time.Millisecond // what is on its way is soon read
			return port, nil
		}
		port, err := open()
		if err != nil {
			t.Fatal(err)
		}
		driver, err := serialline.New(port, serialline.Options{
			Line: textline.Config{Sensor: "log", Main: sensors.ChamberPressure, Shape: textline.KeyValue, Fields: []textline.Field{
				{From: "p", Quantity: sensors.ChamberPressure, Unit: "bar", Reference: scale.Absolute, High: 10},
				{From: "t", Quantity: sensors.ChamberWater, Unit: "C", High: 50},
			}},
			Interval: interval, Room: scale.NewRoom(0, false), Clock: clock.Now,
			Reopen: open, Every: time.Millisecond,
		})
		if err != nil {
			t.Fatal(err)
		}
		line := func(text string) func() { return func() { write(t, path, text, os.O_APPEND) } }
		line("the first line of a port is dropped\n")()
		return sensortest.Subject{
			Driver: driver, Sensor: "log", Silence: serialline.SilentIntervals * interval,
			Want: map[sensors.Quantity]float64{sensors.ChamberPressure: 321400, sensors.ChamberWater: 18.5},
			Good: line("p=3.214 t=18.5\n"), Garbled: line("p=3.2x4 t=18.5\n"), OutOfRange: line("p=11 t=51\n"),
			Gone: func() { os.Rename(path, path+".1") },
			Back: func() { write(t, path, "", os.O_CREATE) },
		}
	})
}

func TestWhatIsNoFileOrPipeIsRefused(t *testing.T) {
	for path, want := range map[string]string{t.TempDir(): "neither a file nor a pipe", "/dev/null": "neither a file nor a pipe", "/no/such": "is not there"} {
		if _, err := Open(path); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", path, err)
		}
	}
}
