package serialline

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"

	"proofpot/sensors/serialline/textline"
)

// Port is what the driver reads. A Read that finds nothing for a while returns
// os.ErrDeadlineExceeded, or no bytes and no error.
type Port interface {
	io.Reader
	io.Closer
}

// ErrInUse is the error of a port that another process holds.
var ErrInUse = errors.New("is in use by another program")

// readTimeout is how long a Read waits for a byte.
const readTimeout = 100 * time.Millisecond

// Open opens a serial port, 8 data bits, no parity, 1 stop bit, for this process
// alone. The lock is a flock on the device itself: the kernel's exclusive mode
// does not bind root, and a lock on the device needs no file that is left
// behind. Most microcontroller boards start anew when their port is opened.
//
// The error says in one line what is wrong with the port and what would be
// right. It wraps ErrInUse, fs.ErrNotExist or fs.ErrPermission where it is that.
func Open(path string, baud int) (Port, error) {
	if !slices.Contains(textline.Bauds(), baud) {
		return nil, fmt.Errorf("serial port %q: %d is no usual baud rate; 9600 and 115200 are", path, baud)
	}
	// Not waiting for a carrier, and not becoming the process's terminal.
	lock, err := os.OpenFile(path, os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, openError(path, err)
	}
	if err := flock(lock); err != nil {
		lock.Close()
		return nil, openError(path, err)
	}
	port, err := serial.Open(path, &serial.Mode{BaudRate: baud})
	if err != nil {
		lock.Close()
		return nil, openError(path, err)
	}
	if err := errors.Join(port.SetReadTimeout(readTimeout), port.ResetInputBuffer()); err != nil {
		port.Close()
		lock.Close()
		return nil, openError(path, err)
	}
	return &lockedPort{port: port, lock: lock}, nil
}

func flock(f *os.File) error {
	raw, err := f.SyscallConn()
	if err != nil {
		return err
	}
	var locked error
	if err := raw.Control(func(fd uintptr) { locked = unix.Flock(int(fd), unix.LOCK_EX|unix.LOCK_NB) }); err != nil {
		return err
	}
	return locked
}

// lockedPort is an open port with its lock.
type lockedPort struct {
	port serial.Port
	lock *os.File
}

// Read is the library's Read, whose timeout is no bytes and no error, which the
// standard library's readers spin on.
func (p *lockedPort) Read(b []byte) (int, error) {
	if len(b) == 0 {
		return 0, nil // the library takes an empty buffer for a closed port
	}
	n, err := p.port.Read(b)
	if n == 0 && err == nil {
		return 0, os.ErrDeadlineExceeded
	}
	return n, err
}

// Close closes the port and then gives up the lock.
func (p *lockedPort) Close() error { return errors.Join(p.port.Close(), p.lock.Close()) }

// openError says in plain words why a port cannot be opened.
func openError(path string, err error) error {
	var lib *serial.PortError
	errors.As(err, &lib)
	is := func(code serial.PortErrorCode) bool { return lib != nil && lib.Code() == code }
	switch {
	case errors.Is(err, unix.EWOULDBLOCK), errors.Is(err, unix.EBUSY), is(serial.PortBusy):
		return fmt.Errorf("serial port %q %w; end that first", path, ErrInUse)
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, unix.ENXIO), errors.Is(err, unix.ENODEV), is(serial.PortNotFound):
		return fmt.Errorf("serial port %q is not there; plug the device in, or name the right port: %s (%w)",
			path, portsHere(), fs.ErrNotExist)
	case errors.Is(err, fs.ErrPermission), is(serial.PermissionDenied):
		return fmt.Errorf("serial port %q may not be opened by this user; the group that may is often called dialout (%w)",
			path, fs.ErrPermission)
	case errors.Is(err, unix.EISDIR), errors.Is(err, unix.ENOTTY), is(serial.InvalidSerialPort):
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
