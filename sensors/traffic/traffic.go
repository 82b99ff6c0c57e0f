// Package traffic records what goes over the ports and buses of a bench, as a
// text file that a test plays back: a device that misbehaves on a lake's shore
// can be looked at on a desk.
//
// # The file
//
// One transfer a line, after a first line that says what it is:
//
//	proofpot traffic 1
//	1204331 serial /dev/serial/by-id/usb-pot read 705f6261723d332e3231340d0a
//	1301007 serial /dev/serial/by-id/usb-rs485 write 010300020003a40b
//	1350200 serial /dev/serial/by-id/usb-pot fail "unplugged, or the device hung up"
//	1402900 i2c 1 76 write d0 read 60
//	1502900 i2c 1 76 write d0 fail "remote I/O error"
//
// First the time in µs since the recording began, by a clock that never jumps;
// then the port or bus; an I2C address in hexadecimal; bytes in hexadecimal, -
// for none. A name with a space is written with %20. Reads that found nothing
// are left out.
package traffic

import (
	"bufio"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"sync"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"
)

const firstLine = "proofpot traffic 1"

// SerialPort is what is recorded of a serial port. serialport.Port is one.
type SerialPort interface {
	io.ReadWriteCloser
	Flush() error
}

// Recorder writes the file. It may be used by several goroutines. A nil one
// records nothing and hands back what it is given.
type Recorder struct {
	mu    sync.Mutex
	to    io.Writer
	clock func() time.Duration
	err   error
}

// NewRecorder begins a file.
func NewRecorder(to io.Writer, clock func() time.Duration) *Recorder {
	r := &Recorder{to: to, clock: clock}
	_, r.err = fmt.Fprintln(to, firstLine)
	return r
}

// Err gives the first error of the file.
func (r *Recorder) Err() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.err
}

func (r *Recorder) line(format string, args ...any) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.err == nil {
		_, r.err = fmt.Fprintf(r.to, "%d %s\n", r.clock().Microseconds(), fmt.Sprintf(format, args...))
	}
}

func word(name string) string { return strings.ReplaceAll(name, " ", "%20") }

func hexed(b []byte) string {
	if len(b) == 0 {
		return "-"
	}
	return hex.EncodeToString(b)
}

// Port records a serial port under a name.
func (r *Recorder) Port(name string, port SerialPort) SerialPort {
	if r == nil {
		return port
	}
	return &recordedPort{SerialPort: port, r: r, name: word(name)}
}

type recordedPort struct {
	SerialPort
	r    *Recorder
	name string
}

func (p *recordedPort) Read(b []byte) (int, error) {
	n, err := p.SerialPort.Read(b)
	if n > 0 {
		p.r.line("serial %s read %s", p.name, hexed(b[:n]))
	}
	if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
		p.r.line("serial %s fail %q", p.name, err)
	}
	return n, err
}

func (p *recordedPort) Write(b []byte) (int, error) {
	n, err := p.SerialPort.Write(b)
	p.r.line("serial %s write %s", p.name, hexed(b[:n]))
	if err != nil {
		p.r.line("serial %s fail %q", p.name, err)
	}
	return n, err
}

// Bus records an I2C bus under a name.
func (r *Recorder) Bus(name string, bus i2c.Bus) i2c.Bus {
	if r == nil {
		return bus
	}
	return &recordedBus{bus: bus, r: r, name: word(name)}
}

type recordedBus struct {
	bus  i2c.Bus
	r    *Recorder
	name string
}

func (b *recordedBus) String() string                    { return b.bus.String() }
func (b *recordedBus) SetSpeed(f physic.Frequency) error { return b.bus.SetSpeed(f) }

func (b *recordedBus) Tx(addr uint16, w, r []byte) error {
	err := b.bus.Tx(addr, w, r)
	if err != nil {
		b.r.line("i2c %s %02x write %s fail %q", b.name, addr, hexed(w), err)
		return err
	}
	b.r.line("i2c %s %02x write %s read %s", b.name, addr, hexed(w), hexed(r))
	return nil
}

// Transfer is one line of a file.
type Transfer struct {
	At      time.Duration
	Bus     string // "serial" or "i2c"
	Name    string
	Addr    uint16 // i2c
	Written []byte
	Read    []byte
	Fail    string
}

// Load reads a file. The error names the line.
func Load(from io.Reader) ([]Transfer, error) {
	s := bufio.NewScanner(from)
	s.Buffer(nil, 1<<20)
	var all []Transfer
	for n := 1; s.Scan(); n++ {
		if n == 1 {
			if s.Text() != firstLine {
				return nil, fmt.Errorf("line 1: %q is no traffic; %q must stand there", s.Text(), firstLine)
			}
			continue
		}
		t, err := parse(s.Text())
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
		all = append(all, t)
	}
	return all, s.Err()
}

func parse(line string) (t Transfer, err error) {
	words := strings.SplitN(line, " ", 4)
	if len(words) < 4 {
		return t, errors.New("a transfer has a time, a bus, its name and what was done")
	}
	us, err := strconv.ParseInt(words[0], 10, 64)
	if err != nil || us < 0 || us > int64(1<<62)/1000 {
		return t, fmt.Errorf("%q is no time in µs", words[0])
	}
	t.At, t.Bus, t.Name = time.Duration(us)*time.Microsecond, words[1], strings.ReplaceAll(words[2], "%20", " ")
	rest := words[3]
	switch t.Bus {
	case "serial":
	case "i2c":
		addr, after, _ := strings.Cut(rest, " ")
		n, err := strconv.ParseUint(addr, 16, 10)
		if err != nil {
			return t, fmt.Errorf("%q is no I2C address", addr)
		}
		t.Addr, rest = uint16(n), after
	default:
		return t, fmt.Errorf("%q is no bus; serial and i2c are", t.Bus)
	}
	for rest != "" {
		verb, after, _ := strings.Cut(rest, " ")
		if verb == "fail" {
			t.Fail, err = strconv.Unquote(after)
			return t, err
		}
		text, next, _ := strings.Cut(after, " ")
		var b []byte
		if text != "-" {
			if b, err = hex.DecodeString(text); err != nil {
				return t, err
			}
		}
		switch verb {
		case "read":
			t.Read = b
		case "write":
			t.Written = b
		default:
			return t, fmt.Errorf("%q is nothing that a transfer does; read, write and fail are", verb)
		}
		rest = next
	}
	return t, nil
}

// I2C gives the transfers of an I2C bus that went well, for i2ctest.Playback.
func I2C(all []Transfer, name string) []i2ctest.IO {
	var ops []i2ctest.IO
	for _, t := range all {
		if t.Bus == "i2c" && t.Name == name && t.Fail == "" {
			ops = append(ops, i2ctest.IO{Addr: t.Addr, W: t.Written, R: t.Read})
		}
	}
	return ops
}

// Player is a serial port that does again what a recorded one did.
type Player struct {
	mu    sync.Mutex
	todo  []Transfer
	reach func(at time.Duration)
}

// Play makes the player of a port. reach, which may be nil, is called with the
// time of each read before it is given.
func Play(all []Transfer, name string, reach func(at time.Duration)) *Player {
	p := &Player{reach: reach}
	for _, t := range all {
		if t.Bus == "serial" && t.Name == name {
			p.todo = append(p.todo, t)
		}
	}
	return p
}

// Read gives the next bytes that were read; what was written between is waited
// for. After the last it finds nothing.
func (p *Player) Read(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.todo) == 0 || p.todo[0].Written != nil {
		return 0, os.ErrDeadlineExceeded
	}
	t := &p.todo[0]
	if p.reach != nil {
		p.reach(t.At)
	}
	if t.Fail != "" {
		p.todo = p.todo[1:]
		return 0, errors.New(t.Fail)
	}
	n := copy(b, t.Read)
	if t.Read = t.Read[n:]; len(t.Read) == 0 {
		p.todo = p.todo[1:]
	}
	return n, nil
}

// Write expects what was written, after all that was read before it.
func (p *Player) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.todo) == 0 || string(p.todo[0].Written) != string(b) {
		return 0, fmt.Errorf("% x is written; that is not what was recorded", b)
	}
	p.todo = p.todo[1:]
	return len(b), nil
}

// Left is how many transfers have not been played.
func (p *Player) Left() int { p.mu.Lock(); defer p.mu.Unlock(); return len(p.todo) }

// Flush does nothing.
func (p *Player) Flush() error { return nil }

// Close does nothing.
func (p *Player) Close() error { return nil }
