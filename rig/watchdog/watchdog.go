package watchdog

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"strconv"
	"strings"
	"time"
)

// Kernel is the machine's watchdog. From Open on, a process that stops calling
// Alive has its machine started anew.
type Kernel struct{ device io.WriteCloser }

// OpenKernel arms the watchdog of a device, "/dev/watchdog".
func OpenKernel(device string) (*Kernel, error) {
	f, err := os.OpenFile(device, os.O_WRONLY, 0)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("watchdog %q is not there; this machine has none, or its driver is not loaded (%w)", device, fs.ErrNotExist)
	case errors.Is(err, fs.ErrPermission):
		return nil, fmt.Errorf("watchdog %q may not be opened by this user (%w)", device, fs.ErrPermission)
	case err != nil:
		return nil, fmt.Errorf("watchdog: %w; another program may feed it, systemd by RuntimeWatchdogSec", err)
	}
	return &Kernel{f}, nil
}

// Alive is a sign of life.
func (k *Kernel) Alive() error {
	if _, err := k.device.Write([]byte{0}); err != nil {
		return fmt.Errorf("watchdog: %w", err)
	}
	return nil
}

// Close disarms it: the run has ended as it should.
func (k *Kernel) Close() error {
	_, err := k.device.Write([]byte("V"))
	if err = errors.Join(err, k.device.Close()); err != nil {
		return fmt.Errorf("watchdog: %w; the machine may start anew soon", err)
	}
	return nil
}

// Service is systemd's side of a service of Type=notify with WatchdogSec.
type Service struct {
	conn  net.Conn
	every time.Duration // 0: no watchdog is asked for
	last  time.Time
}

// OpenService connects to the service manager, where there is one: environ is
// asked for the variables, and pid is this process. Without a service manager it
// gives nil, and all its methods do nothing.
func OpenService(environ func(string) string, pid int) (*Service, error) {
	socket := environ("NOTIFY_SOCKET")
	if socket == "" {
		return nil, nil
	}
	if strings.HasPrefix(socket, "@") { // of the abstract name space
		socket = "\x00" + socket[1:]
	}
	conn, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: socket, Net: "unixgram"})
	if err != nil {
		return nil, fmt.Errorf("NOTIFY_SOCKET: %w", err)
	}
	s := &Service{conn: conn}
	if usec := environ("WATCHDOG_USEC"); usec != "" {
		n, err := strconv.ParseInt(usec, 10, 64)
		if err != nil || n <= 0 {
			conn.Close()
			return nil, fmt.Errorf("WATCHDOG_USEC is %q, not a number of microseconds", usec)
		}
		if who := environ("WATCHDOG_PID"); who == "" || who == strconv.Itoa(pid) {
			s.every = time.Duration(n) * time.Microsecond / 3 // sd_watchdog_enabled(3): half of it, better less
		}
	}
	return s, s.say("READY=1")
}

// sendTime bounds a datagram: the loop does not wait for a service manager.
const sendTime = 5 * time.Millisecond

func (s *Service) say(text string) error {
	if err := s.conn.SetWriteDeadline(time.Now().Add(sendTime)); err != nil {
		return err
	}
	if _, err := s.conn.Write([]byte(text)); err != nil {
		return fmt.Errorf("service manager: %w", err)
	}
	return nil
}

// Alive is a sign of life with a line on what is going on, sent when it is due.
func (s *Service) Alive(now time.Time) error {
	if s == nil || s.every == 0 || now.Sub(s.last) < s.every {
		return nil
	}
	s.last = now
	return s.say("WATCHDOG=1")
}

// Close says that the service ends as it should.
func (s *Service) Close() error {
	if s == nil {
		return nil
	}
	return errors.Join(s.say("STOPPING=1"), s.conn.Close())
}
