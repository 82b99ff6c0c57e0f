package serialport

import (
	"bufio"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"proofpot/sensors/sensortest"
)

func TestAPortThatCannotBeOpenedSaysWhyInOneLine(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	far := startEmulator(t, sensortest.EmulatorOptions{})
	for _, c := range []struct {
		path string
		baud int
		want string
		is   error
	}{
		{filepath.Join(dir, "ttyUSB7"), 9600, "is not there; plug the device in, or name the right port", fs.ErrNotExist},
		{dir, 9600, "is no serial port", nil},
		{file, 9600, "is no serial port", nil},
		{"/dev/null", 9600, "is no serial port", nil},
		{far.Path(), 12345, "12345 is no usual baud rate", nil},
		{far.Path(), 0, "0 is no usual baud rate", nil},
	} {
		port, err := Open(c.path, Settings{Baud: c.baud})
		if err == nil {
			port.Close()
			t.Errorf("%s opens", c.path)
			continue
		}
		if !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") || !strings.Contains(err.Error(), c.path) {
			t.Errorf("%s: %v, want one line with %q", c.path, err, c.want)
		}
		if c.is != nil && !errors.Is(err, c.is) {
			t.Errorf("%v is not %v", err, c.is)
		}
	}
}

func TestAPortIsOpenOnlyOnce(t *testing.T) {
	far := startEmulator(t, sensortest.EmulatorOptions{})
	port := openPort(t, far)
	if second, err := Open(far.Path(), Settings{Baud: 115200}); !errors.Is(err, ErrInUse) {
		if err == nil {
			second.Close()
		}
		t.Errorf("a second time in the same process: %v", err)
	}
	if err := port.Close(); err != nil {
		t.Fatal(err)
	}
	again := openPort(t, far)
	if err := again.Close(); err != nil {
		t.Fatal(err)
	}
}

// TestMain lets the test binary be the other process of the next test.
func TestMain(m *testing.M) {
	if path := os.Getenv("PROOFPOT_TEST_HOLD_PORT"); path != "" {
		if _, err := Open(path, Settings{Baud: 115200}); err != nil {
			os.Stdout.WriteString(err.Error() + "\n")
			os.Exit(1)
		}
		os.Stdout.WriteString("held\n")
		bufio.NewReader(os.Stdin).ReadByte()
		os.Exit(0)
	}
	os.Exit(m.Run())
}

func TestTwoProcessesDoNotOpenTheSamePort(t *testing.T) {
	far := startEmulator(t, sensortest.EmulatorOptions{})
	other := exec.Command(os.Args[0])
	other.Env = append(os.Environ(), "PROOFPOT_TEST_HOLD_PORT="+far.Path())
	in, err := other.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := other.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := other.Start(); err != nil {
		t.Fatal(err)
	}
	if line, _ := bufio.NewReader(out).ReadString('\n'); line != "held\n" {
		t.Fatalf("the other process says %q", line)
	}
	if port, err := Open(far.Path(), Settings{Baud: 115200}); !errors.Is(err, ErrInUse) {
		if err == nil {
			port.Close()
		}
		t.Errorf("while another process holds it: %v", err)
	}
	in.Close()
	if err := other.Wait(); err != nil {
		t.Fatal(err)
	}
	port := openPort(t, far) // the lock goes with the process that held it
	port.Close()
}

func TestATimeoutOfThePortIsAnErrorAndAnEmptyBufferNone(t *testing.T) {
	far := startEmulator(t, sensortest.EmulatorOptions{})
	far.Mute(true)
	port := openPort(t, far)
	defer port.Close()
	buffer := make([]byte, 100)
	for { // what was printed before the silence
		n, err := port.Read(buffer)
		if n == 0 {
			if !errors.Is(err, os.ErrDeadlineExceeded) {
				t.Fatalf("a silent port gives %v", err)
			}
			break
		}
	}
	if n, err := port.Read(nil); n != 0 || err != nil {
		t.Errorf("an empty buffer gives %d, %v", n, err)
	}
}

func TestASettingThatCannotBeIsRefused(t *testing.T) {
	for _, s := range []Settings{{Baud: 9600, Parity: "mark"}, {Baud: 9600, StopBits: 3}, {Baud: -1}} {
		if _, err := Open("/dev/null", s); err == nil || strings.Contains(err.Error(), "is no serial port") {
			t.Errorf("%+v: %v", s, err)
		}
	}
}

func TestWhatAStalledDeviceDoesNotTakeIsThrownAway(t *testing.T) {
	far := startEmulator(t, sensortest.EmulatorOptions{})
	far.Mute(true)
	port := openPort(t, far)
	defer port.Close()
	for range 4000 { // 32 kB: far more than the kernel keeps for a device
		if err := port.Flush(); err != nil {
			t.Fatal(err)
		}
		if n, err := port.Write(make([]byte, 8)); n != 8 || err != nil {
			t.Fatalf("%d bytes written, %v", n, err)
		}
	}
}

func startEmulator(t *testing.T, options sensortest.EmulatorOptions) *sensortest.Emulator {
	t.Helper()
	options.Link = filepath.Join(t.TempDir(), "usb-pot-sensor")
	far, err := sensortest.StartEmulator(options)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(far.Close)
	return far
}

func openPort(t *testing.T, far *sensortest.Emulator) *Port {
	t.Helper()
	port, err := Open(far.Path(), Settings{Baud: 115200})
	if err != nil {
		t.Fatal(err)
	}
	return port
}
