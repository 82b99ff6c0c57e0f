package traffic

import (
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"sync"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/onewire"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
)

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

// OneWire records a 1-Wire bus under a name.
func (r *Recorder) OneWire(name string, bus onewire.Bus) onewire.Bus {
	if r == nil {
		return bus
	}
	return &recordedOneWire{Bus: bus, r: r, name: word(name)}
}

type recordedOneWire struct {
	onewire.Bus
	r    *Recorder
	name string
}

func (b *recordedOneWire) Tx(w, r []byte, pull onewire.Pullup) error {
	err := b.Bus.Tx(w, r, pull)
	b.r.exchange("onewire", b.name, w, r, err)
	return err
}

// SPI records a connection on SPI under a name.
func (r *Recorder) SPI(name string, conn spi.Conn) spi.Conn {
	if r == nil {
		return conn
	}
	return &recordedSPI{Conn: conn, r: r, name: word(name)}
}

type recordedSPI struct {
	spi.Conn
	r    *Recorder
	name string
}

func (c *recordedSPI) Tx(w, r []byte) error {
	err := c.Conn.Tx(w, r)
	c.r.exchange("spi", c.name, w, r, err)
	return err
}

func (r *Recorder) exchange(bus, name string, written, read []byte, err error) {
	if err != nil {
		r.line("%s %s write %s fail %q", bus, name, hexed(written), err)
		return
	}
	r.line("%s %s write %s read %s", bus, name, hexed(written), hexed(read))
}

// Files records what is read of the kernel's files, whole.
func (r *Recorder) Files(files fs.FS) fs.FS {
	if r == nil {
		return files
	}
	return recordedFiles{files, r}
}

type recordedFiles struct {
	fs.FS
	r *Recorder
}

// ReadFile implements fs.ReadFileFS.
func (f recordedFiles) ReadFile(name string) ([]byte, error) {
	text, err := fs.ReadFile(f.FS, name)
	if err != nil {
		f.r.line("file %s fail %q", word(name), err)
		return nil, err
	}
	f.r.line("file %s read %s", word(name), hexed(text))
	return text, nil
}
