//go:build unix

package modbus

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/term"

	"proofpot/sensors"
	"proofpot/sensors/poll"
	"proofpot/sensors/scale"
	"proofpot/sensors/serialport"
)

const systemPython = "/usr/bin/python3" // Debian's packages are this one's

// cable is a serial cable: two pseudo-terminals, what goes into one comes out of
// the other. It gives the paths of its ends.
func cable(t *testing.T) (near, far string) {
	t.Helper()
	var masters, slaves [2]*os.File
	for i := range masters {
		master, slave, err := pty.Open()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := term.MakeRaw(int(slave.Fd())); err != nil {
			t.Fatal(err)
		}
		masters[i], slaves[i] = master, slave
		t.Cleanup(func() { master.Close(); slave.Close() })
	}
	go io.Copy(masters[0], masters[1])
	go io.Copy(masters[1], masters[0])
	return slaves[0].Name(), slaves[1].Name()
}

// startServer starts the independent server. Where it cannot be had, the test is
// skipped, but not where everything must be green.
func startServer(t *testing.T, port string) {
	t.Helper()
	server := exec.Command(systemPython, "testdata/server.py", port, "19200")
	var errs strings.Builder
	server.Stderr = &errs
	out, err := server.StdoutPipe()
	if err == nil {
		err = server.Start()
	}
	said := ""
	if err == nil {
		t.Cleanup(func() { server.Process.Kill(); server.Wait() })
		said, err = bufio.NewReader(out).ReadString('\n')
	}
	if err == nil && said == "ready\n" {
		return
	}
	lines := strings.Split(strings.TrimSpace(errs.String()), "\n")
	why := fmt.Sprintf("Debian's python3-pymodbus and python3-serial-asyncio are needed: %v %s", err, lines[len(lines)-1])
	if os.Getenv("CI") != "" {
		t.Fatal(why)
	}
	t.Skip(why)
}

func TestRegistersOfAnIndependentServerAreRead(t *testing.T) {
	near, far := cable(t)
	startServer(t, far)
	open := func() (Port, error) {
		return serialport.Open(near, serialport.Settings{Baud: 19200, Timeout: 20 * time.Millisecond})
	}
	line := NewLine(open, 19200, 2*time.Second)
	if err := line.Open(); err != nil {
		t.Fatal(err)
	}
	defer line.Close()
	plain := scale.Scale{}
	for _, c := range []struct {
		name    string
		address byte
		fields  []Field
		want    []float64
		status  sensors.Status
		text    string
	}{
		{"a pressure with unit and decimals, a temperature", 1, potFields(), []float64{321.4, 18.4375}, sensors.OK, ""},
		{"32 bits in both orders", 1, []Field{
			{Scale: plain, Function: ReadHolding, Register: 20, Type: Int32, Decimals: 3},
			{Scale: plain, Function: ReadHolding, Register: 22, Type: Uint32, WordOrder: LowFirst}}, []float64{-7654.321, 4023456789}, sensors.OK, ""},
		{"another device of the line", 2, []Field{{Scale: plain, Function: ReadHolding, Register: 100, Type: Float32}}, []float64{3.25}, sensors.OK, ""},
		{"an input register", 2, []Field{{Scale: plain, Function: ReadInput, Register: 0, Type: Int16}}, []float64{-1}, sensors.OK, ""},
		{"a register that is not there", 2, []Field{{Scale: plain, Function: ReadHolding, Register: 5, Type: Int16}}, nil, sensors.NoReading, "exception 2"},
	} {
		device, err := NewDevice(line, c.address, c.fields)
		if err != nil {
			t.Fatal(err)
		}
		results := make([]poll.Result, len(c.fields))
		if err := device.Measure(t.Context(), results); err != nil {
			if s := poll.StatusOf(err); c.status == sensors.OK || s.Kind != c.status || !strings.Contains(s.Text, c.text) {
				t.Errorf("%s: %v", c.name, err)
			}
			continue
		}
		for i, r := range results {
			if c.status != sensors.OK || r.Kind != sensors.OK || math.Abs(r.Value-c.want[i]) > 1e-9*math.Abs(c.want[i]) {
				t.Errorf("%s: %+v, want %v", c.name, r, c.want)
			}
		}
	}
	// Both at once, many times, each answer its own.
	var both sync.WaitGroup
	for address, want := range map[byte]struct{ register, value uint16 }{1: {4, 3214}, 2: {100, 0x4050}} {
		both.Go(func() {
			for range 50 {
				if got, err := line.Read(context.Background(), address, ReadHolding, want.register, 1, nil); err != nil || got[0] != want.value {
					t.Errorf("address %d: %v %v", address, got, err)
				}
			}
		})
	}
	both.Wait()
	quick := NewLine(func() (Port, error) { return nil, os.ErrNotExist }, 19200, 0)
	if _, err := quick.Read(t.Context(), 1, ReadHolding, 0, 1, nil); err == nil {
		t.Error("a port that is not there answers")
	}
	line.timeout = 100 * time.Millisecond
	if _, err := line.Read(t.Context(), 9, ReadHolding, 0, 1, nil); poll.StatusOf(err).Kind != sensors.NoReading {
		t.Errorf("nobody has address 9: %v", err)
	}
}
