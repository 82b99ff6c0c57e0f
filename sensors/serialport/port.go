// Package serialport opens a serial port for this process alone and reads and
// writes it without the traps of ports:
//
//   - a read that finds nothing in time is an error, os.ErrDeadlineExceeded;
//   - a port that another process holds is ErrInUse, for root as well;
//   - a device that was unplugged ends a read, and the error says so (Why);
//   - what a stalled device did not take is thrown away before the next request
//     (Flush), so that a write of a few bytes does not wait for ever.
package serialport

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	"go.bug.st/serial"
)

// ErrInUse is the error of a port that another process holds.
var ErrInUse = errors.New("is in use by another program")

// Bauds lists the rates of a serial port, in 1/s. Ports take any number without
// a word, and then nothing that arrives can be read.
func Bauds() []int {
	return []int{1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400, 460800, 921600, 1000000}
}

// The parities of a serial port.
const (
	ParityNone = "none"
	ParityEven = "even"
	ParityOdd  = "odd"
)

// Parities lists the words for a parity.
func Parities() []string { return []string{ParityNone, ParityEven, ParityOdd} }

// Settings is how a port is set: 8 data bits, and these.
type Settings struct {
	Baud     int           // 1/s, see Bauds
	Parity   string        // see Parities; empty: none
	StopBits int           // 1 or 2; 0: 1
	Timeout  time.Duration // how long a read waits for a byte; 0: 100 ms
}

const readTimeout = 100 * time.Millisecond

func (s Settings) mode() (*serial.Mode, error) {
	m := &serial.Mode{BaudRate: s.Baud}
	if !slices.Contains(Bauds(), s.Baud) {
		return nil, fmt.Errorf("%d is no usual baud rate; 9600 and 115200 are", s.Baud)
	}
	switch s.Parity {
	case "", ParityNone:
	case ParityEven:
		m.Parity = serial.EvenParity
	case ParityOdd:
		m.Parity = serial.OddParity
	default:
		return nil, fmt.Errorf("%q is no parity; use %s", s.Parity, strings.Join(Parities(), ", "))
	}
	switch s.StopBits {
	case 0, 1:
	case 2:
		m.StopBits = serial.TwoStopBits
	default:
		return nil, fmt.Errorf("%d is no number of stop bits; use 1 or 2", s.StopBits)
	}
	return m, nil
}

// Open opens a serial port for this process alone. The lock is a flock on the
// device itself: the kernel's exclusive mode does not bind root, and a lock on
// the device needs no file that is left behind. Most microcontroller boards
// start anew when their port is opened.
//
// The error says in one line what is wrong with the port and what would be
// right. It wraps ErrInUse, fs.ErrNotExist or fs.ErrPermission where it is that.
func Open(path string, settings Settings) (*Port, error) {
	mode, err := settings.mode()
	if err != nil {
		return nil, fmt.Errorf("serial port %q: %w", path, err)
	}
	timeout := settings.Timeout
	if timeout == 0 {
		timeout = readTimeout
	}
	lock, err := hold(path)
	if err != nil {
		return nil, openError(path, err)
	}
	port, err := serial.Open(path, mode)
	if err != nil {
		lock.Close()
		return nil, openError(path, err)
	}
	if err := errors.Join(port.SetReadTimeout(timeout), port.ResetInputBuffer()); err != nil {
		port.Close()
		lock.Close()
		return nil, openError(path, err)
	}
	return &Port{port: port, lock: lock}, nil
}

// Port is an open port with its lock.
type Port struct {
	port serial.Port
	lock io.Closer
}

// Read is the library's Read, whose timeout is no bytes and no error, which the
// standard library's readers spin on.
func (p *Port) Read(b []byte) (int, error) {
	if len(b) == 0 {
		return 0, nil // the library takes an empty buffer for a closed port
	}
	n, err := p.port.Read(b)
	if n == 0 && err == nil {
		return 0, os.ErrDeadlineExceeded
	}
	return n, err
}

// Write writes all of b or gives an error. A device that stalls makes it wait
// for ever, and Close does not end that: write short requests only, after Flush.
func (p *Port) Write(b []byte) (int, error) {
	n, err := p.port.Write(b)
	if err == nil && n < len(b) { // the library's answer when the other side goes away
		err = io.ErrShortWrite
	}
	return n, err
}

// Flush throws away what has come and was not read, and what was written and
// was not taken.
func (p *Port) Flush() error {
	return errors.Join(p.port.ResetOutputBuffer(), p.port.ResetInputBuffer())
}

// Close closes the port and then gives up the lock.
func (p *Port) Close() error { return errors.Join(p.port.Close(), p.lock.Close()) }

// Why says what the error of a lost port means. The library calls an unplugged
// port closed, the same as one that we closed.
func Why(err error) string {
	var lib *serial.PortError
	if errors.As(err, &lib) && lib.Code() == serial.PortClosed || errors.Is(err, syscall.EIO) || errors.Is(err, io.EOF) {
		return "unplugged, or the device hung up"
	}
	return err.Error()
}

// openError says in plain words why a port cannot be opened.
func openError(path string, err error) error {
	var lib *serial.PortError
	errors.As(err, &lib)
	is := func(code serial.PortErrorCode) bool { return lib != nil && lib.Code() == code }
	switch {
	case errors.Is(err, syscall.EWOULDBLOCK), errors.Is(err, syscall.EBUSY), is(serial.PortBusy):
		return fmt.Errorf("serial port %q %w; end that first", path, ErrInUse)
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ENXIO), errors.Is(err, syscall.ENODEV), is(serial.PortNotFound):
		return fmt.Errorf("serial port %q is not there; plug the device in, or name the right port: %s (%w)",
			path, portsHere(), fs.ErrNotExist)
	case errors.Is(err, fs.ErrPermission), is(serial.PermissionDenied):
		return fmt.Errorf("serial port %q may not be opened by this user; the group that may is often called dialout (%w)",
			path, fs.ErrPermission)
	case errors.Is(err, syscall.EISDIR), errors.Is(err, syscall.ENOTTY), is(serial.InvalidSerialPort):
		return fmt.Errorf("%q is no serial port; name the right one: %s", path, portsHere())
	}
	return fmt.Errorf("serial port %q cannot be opened: %w", path, err)
}

// portsHere lists the serial ports by the names that stay with a device,
// without opening any: opening one restarts the device behind it.
func portsHere() string {
	for _, pattern := range []string{"/dev/serial/by-id/*", "/dev/tty[UA][SC]*[0-9]"} {
		if found, _ := filepath.Glob(pattern); len(found) > 0 {
			return "there is " + strings.Join(found[:min(len(found), 4)], ", ")
		}
	}
	return "no USB serial port is plugged in"
}
