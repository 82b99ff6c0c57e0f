package serialline

import (
	"errors"
	"io"
	"os"
	"sync"
	"time"
)

// fakePort is a port whose far end is the test. A send returns once the driver
// has come back for more, so that what was sent has been stamped.
type fakePort struct {
	incoming chan []byte
	asked    chan struct{}
	broken   chan error
	once     sync.Once
	closed   chan struct{}
	empty    bool // a timeout is (0, nil), as the library has it, not an error
}

func newFakePort() *fakePort {
	return &fakePort{incoming: make(chan []byte), asked: make(chan struct{}), broken: make(chan error, 1), closed: make(chan struct{})}
}

func (p *fakePort) Read(b []byte) (int, error) {
	for {
		select {
		case text := <-p.incoming:
			return copy(b, text), nil
		case p.asked <- struct{}{}:
		case err := <-p.broken:
			return 0, err
		case <-p.closed:
			return 0, io.ErrClosedPipe
		case <-time.After(20 * time.Millisecond):
			if p.empty {
				return 0, nil
			}
			return 0, os.ErrDeadlineExceeded
		}
	}
}

func (p *fakePort) Close() error {
	p.once.Do(func() { close(p.closed) })
	return nil
}

func (p *fakePort) send(text string) {
	for len(text) > 0 {
		n := min(len(text), 4096)
		p.incoming <- []byte(text[:n])
		text = text[n:]
	}
	<-p.asked
}

// fakeCable is a port name behind which ports come and go.
type fakeCable struct {
	mu   sync.Mutex
	port *fakePort
}

func (c *fakeCable) open() (Port, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.port == nil {
		return nil, errors.New("not there")
	}
	return c.port, nil
}

func (c *fakeCable) plug() *fakePort {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.port = newFakePort()
	return c.port
}

func (c *fakeCable) unplug(err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.port.broken <- err
	c.port = nil
}
