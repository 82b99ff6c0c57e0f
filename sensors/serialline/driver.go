package serialline

import (
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/scale"
	"proofpot/sensors/serialline/textline"
	"proofpot/sensors/serialport"
)

// The driver's habits.
const (
	// SilentIntervals is how many expected intervals without a value make a
	// silent sensor.
	SilentIntervals = 5

	queueLength = 4096                   // lines
	reopenEvery = 500 * time.Millisecond // real time
	closeWithin = 2 * time.Second        // real time; a driver of the kernel may hang in close
	idleReads   = 10 * time.Millisecond  // rest after a Read that returned nothing at once
)

// Port is what the driver reads; serialport.Port is one. A Read that finds
// nothing for a while returns os.ErrDeadlineExceeded, or no bytes and no error.
type Port interface {
	io.Reader
	io.Closer
}

// Options is what a driver needs besides its port.
type Options struct {
	Line     textline.Config
	Interval time.Duration        // expected between two values, > 0
	Room     *scale.Room          // for gauge pressures; shared by the devices of a bench
	Clock    func() time.Duration // since the start of the run; called from another goroutine
	Reopen   func() (Port, error) // opens the port again after it was lost; nil: it stays lost
	Every    time.Duration        // between two attempts to reopen, real time; 0: half a second
}

// Driver reads one device. One goroutine reads the port; everything else runs in
// the caller's.
type Driver struct {
	options  Options
	parser   *textline.Parser
	queue    *queue
	health   []health // one a field
	gone     bool
	event    event // reused
	lastLine []byte
	said     []sensors.Reading // reused

	mu     sync.Mutex
	port   Port // nil while lost
	closed bool
	quit   chan struct{}
	done   chan struct{}
}

// New starts to read port. The first partial line is dropped.
func New(port Port, options Options) (*Driver, error) {
	parser, err := textline.NewParser(options.Line, options.Room)
	if err != nil {
		return nil, err
	}
	if options.Interval <= 0 {
		return nil, &textline.ConfigError{Key: "interval_s", Text: "must be above 0"}
	}
	if options.Every == 0 {
		options.Every = reopenEvery
	}
	d := &Driver{
		options: options, parser: parser, queue: newQueue(queueLength),
		port: port, quit: make(chan struct{}), done: make(chan struct{}),
	}
	start := options.Clock()
	for _, f := range options.Line.Fields {
		interval := f.Interval
		if interval == 0 {
			interval = options.Interval
		}
		d.health = append(d.health, health{quantity: f.Quantity, from: f.From, limit: SilentIntervals * interval, since: start})
	}
	go d.run(port)
	return d, nil
}

// Read appends what arrived up to now: readings and faults in order of their
// arrival, then the news that something due has not come. It never waits.
//
// News about the port (Disconnected, and Restarted when it is back) and about
// silence (NoReading) comes once for each quantity, and again every minute while
// it lasts; news about a line (Garbled, Restarted, lines lost) for the main
// quantity. More of the same within a second is counted and told together.
func (d *Driver) Read(now time.Duration, to []sensors.Reading) []sensors.Reading {
	for d.queue.take(now, &d.event) {
		e := &d.event
		switch e.kind {
		case gone:
			d.gone, d.lastLine = true, d.lastLine[:0]
			for i := range d.health {
				to = append(to, d.tell(&d.health[i], sensors.Disconnected, e.at, string(e.text)))
			}
			continue
		case back:
			d.gone = false
			d.parser.Restart()
			for i := range d.health {
				d.health[i].since = e.at
				to = append(to, sensors.Fault(d.options.Line.Sensor, d.health[i].quantity, sensors.Restarted, e.at, string(e.text)))
			}
			continue
		}
		d.gone = false // also where the news that the port is back gave way to newer lines
		d.lastLine = append(d.lastLine[:0], e.text...)
		base := len(to)
		if e.kind == tooLong {
			to = append(to, d.parser.TooLong(e.at, e.text))
		} else {
			to = d.parser.Line(e.at, e.text, to)
		}
		to = d.note(base, to)
	}
	if n := d.queue.losses(); n > 0 {
		to = append(to, sensors.Fault(d.options.Line.Sensor, d.options.Line.Main, sensors.NoReading, now,
			fmt.Sprintf("%d lines were lost: they came faster than they were read", n)))
	}
	for i := range d.health {
		to = d.overdue(&d.health[i], now, to)
	}
	return to
}

// Close stops reading and lets go of the port. It may be called again.
func (d *Driver) Close() error {
	d.mu.Lock()
	if d.closed {
		d.mu.Unlock()
		return nil
	}
	d.closed = true
	close(d.quit)
	port := d.port
	d.port = nil
	d.mu.Unlock()
	var err error
	if port != nil {
		err = letGo(port)
	}
	select {
	case <-d.done:
	case <-time.After(closeWithin):
		err = errors.Join(err, fmt.Errorf("serial port of %q: its reader does not end", d.options.Line.Sensor))
	}
	return err
}

// run reads the port until the driver is closed, and opens it again whenever it
// is lost.
func (d *Driver) run(port Port) {
	defer close(d.done)
	var split textline.Splitter
	clock := d.options.Clock
	for returned := false; ; returned = true {
		var lost time.Duration
		if returned {
			lost = clock()
			if port = d.reopen(); port == nil {
				return
			}
			split.Reset()
		}
		err := d.drain(port, &split, returned, lost)
		d.mu.Lock()
		if d.closed {
			d.mu.Unlock()
			return
		}
		d.port = nil
		d.mu.Unlock()
		d.queue.put(gone, clock(), fmt.Appendf(nil, "the port is gone: %s", serialport.Why(err)))
		// Close before the port is looked for: while it is held, the kernel
		// gives the device another name when it is plugged in again.
		_ = letGo(port) // it is lost already
	}
}

// drain reads a port until it fails. The first bytes of a port that was lost
// are the news that it is back: a port that opens but says nothing is not.
func (d *Driver) drain(port Port, split *textline.Splitter, returned bool, lost time.Duration) error {
	buffer := make([]byte, 4096)
	for {
		started := time.Now()
		n, err := port.Read(buffer)
		at := d.options.Clock()
		if n > 0 {
			if returned {
				d.queue.put(back, at, fmt.Appendf(nil, "the port is back after %v", (at-lost).Round(time.Millisecond)))
				returned = false
			}
			split.Feed(buffer[:n], func(line []byte, long bool) {
				k := aLine
				if long {
					k = tooLong
				}
				d.queue.put(k, at, line)
			})
		}
		if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			return err
		}
		if n == 0 && time.Since(started) < time.Millisecond {
			time.Sleep(idleReads)
		}
		select {
		case <-d.quit:
			return os.ErrClosed
		default:
		}
	}
}

// reopen tries to open the port until it can, or the driver is closed: nil.
func (d *Driver) reopen() Port {
	if d.options.Reopen == nil {
		<-d.quit
		return nil
	}
	for {
		select {
		case <-d.quit:
			return nil
		case <-time.After(d.options.Every):
		}
		port, err := d.options.Reopen()
		if err != nil {
			continue // told by Disconnected as long as it lasts
		}
		d.mu.Lock()
		if d.closed {
			d.mu.Unlock()
			_ = letGo(port) // nothing was read from it
			return nil
		}
		d.port = port
		d.mu.Unlock()
		return port
	}
}

// letGo closes a port, but does not wait for ever.
func letGo(port Port) error {
	done := make(chan error, 1)
	go func() { done <- port.Close() }()
	select {
	case err := <-done:
		return err
	case <-time.After(closeWithin):
		return errors.New("serial port does not close")
	}
}
