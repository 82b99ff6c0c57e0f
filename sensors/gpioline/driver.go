package gpioline

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"proofpot/sensors"
)

// The driver's habits.
const (
	// SilentIntervals is how many intervals without an answer make a silent line.
	SilentIntervals = 5
	// DefaultDebounce is for contacts and electrodes; contacts bounce for a few
	// ms, from memory.
	DefaultDebounce = 50 * time.Millisecond

	lookEvery   = 10 * time.Millisecond  // real time
	restWithin  = time.Second            // real time
	askEvery    = 500 * time.Millisecond // real time
	closeWithin = 2 * time.Second        // real time
	repeatFault = time.Minute
	queueLength = 256
)

// Line is one digital line that is held. gpiochip.Lines is one.
type Line interface {
	Get() (uint64, error)
	Close() error
}

// Options is what a driver needs besides its line.
type Options struct {
	Sensor    string           // id in bench.toml
	Quantity  sensors.Quantity // one of two states
	ActiveLow bool             // a low level is wet, open or pressed
	Debounce  time.Duration    // 0: DefaultDebounce
	Interval  time.Duration    // between two readings of a state that stays, > 0
	Clock     func() time.Duration
	Request   func() (Line, error) // asks for the line again after it was lost; nil: it stays lost
	LookEvery time.Duration        // real time between two looks; 0: 10 ms
	AskEvery  time.Duration        // real time between two requests; 0: half a second
}

// Driver reads one line.
type Driver struct {
	options Options
	quit    chan struct{}
	done    chan struct{}

	mu     sync.Mutex
	closed bool
	queue  []sensors.Reading
	heard  time.Duration // when the line last answered, or failed to
	told   time.Duration // when a silence was told
	silent bool
}

// New starts to read a line.
func New(line Line, options Options) (*Driver, error) {
	if !options.Quantity.TwoState() {
		return nil, fmt.Errorf("a digital line cannot measure %s", options.Quantity)
	}
	if options.Interval <= 0 {
		return nil, errors.New("interval_s: must be above 0")
	}
	if options.Debounce == 0 {
		options.Debounce = DefaultDebounce
	}
	if options.LookEvery == 0 {
		options.LookEvery = lookEvery
	}
	if options.AskEvery == 0 {
		options.AskEvery = askEvery
	}
	d := &Driver{options: options, quit: make(chan struct{}), done: make(chan struct{}), heard: options.Clock()}
	go d.run(line)
	return d, nil
}

// Read appends the state of the line: at each change, every interval, and a
// fault where it is not known. It never waits.
func (d *Driver) Read(now time.Duration, to []sensors.Reading) []sensors.Reading {
	d.mu.Lock()
	defer d.mu.Unlock()
	n := 0
	for n < len(d.queue) && d.queue[n].At <= now {
		n++
	}
	to = append(to, d.queue[:n]...)
	d.queue = append(d.queue[:0], d.queue[n:]...)
	if silence := now - d.heard; silence > SilentIntervals*d.options.Interval && (!d.silent || now-d.told >= repeatFault) {
		d.silent, d.told = true, now
		to = append(to, sensors.Fault(d.options.Sensor, d.options.Quantity, sensors.NoReading, now,
			fmt.Sprintf("the line has not answered for %v", silence.Round(time.Millisecond))))
	}
	return to
}

// Close gives the line back. It may be called again.
func (d *Driver) Close() error {
	d.mu.Lock()
	if d.closed {
		d.mu.Unlock()
		return nil
	}
	d.closed = true
	close(d.quit)
	d.mu.Unlock()
	select {
	case <-d.done:
		return nil
	case <-time.After(closeWithin):
		return fmt.Errorf("the line of sensor %q does not answer and is not given back", d.options.Sensor)
	}
}

// put queues a reading. When nobody reads, the oldest gives way.
func (d *Driver) put(r sensors.Reading) {
	r.Sensor, r.Quantity = d.options.Sensor, d.options.Quantity
	d.mu.Lock()
	defer d.mu.Unlock()
	if len(d.queue) == queueLength {
		d.queue = append(d.queue[:0], d.queue[1:]...)
	}
	d.queue = append(d.queue, r)
}

// answered notes that the line answered or failed: it does not hang.
func (d *Driver) answered() time.Duration {
	at := d.options.Clock()
	d.mu.Lock()
	defer d.mu.Unlock()
	d.heard, d.silent = at, false
	return at
}

func (d *Driver) fault(s sensors.Status, at time.Duration, text string) {
	d.put(sensors.Fault("", 0, s, at, text))
}

// run looks at the line until the driver is closed, and asks for it again
// whenever it is lost.
func (d *Driver) run(line Line) {
	defer close(d.done)
	o := &d.options
	looks := debounce{need: max(1, int((o.Debounce+o.LookEvery-1)/o.LookEvery)), limit: max(2, int(restWithin/o.LookEvery))}
	var lost error
	var lostAt, toldAt time.Duration
	var asked time.Time
	fluttering, stated := false, false
	ticker := time.NewTicker(o.LookEvery)
	defer ticker.Stop()
	for {
		select {
		case <-d.quit:
			if line != nil {
				_ = line.Close() // it was only read
			}
			return
		case <-ticker.C:
		}
		if line == nil {
			if o.Request != nil && time.Since(asked) >= o.AskEvery {
				asked = time.Now()
				if again, err := o.Request(); err == nil {
					line = again
					continue
				}
			}
			if at := d.answered(); at-toldAt >= repeatFault {
				toldAt = at
				d.fault(sensors.Disconnected, at, fmt.Sprintf("still, for %v: %v", (at-lostAt).Round(time.Second), lost))
			}
			continue
		}
		bits, err := line.Get()
		at := d.answered()
		if err != nil {
			if lost == nil {
				lostAt, toldAt = at, at
				d.fault(sensors.Disconnected, at, err.Error())
			}
			lost = err
			looks.forget()
			fluttering, stated = false, false
			_ = line.Close() // it is lost already
			line, asked = nil, time.Now()
			continue
		}
		lost = nil
		changed := looks.look(bits&1 != 0)
		if looks.flutters() {
			if !fluttering || at-toldAt >= repeatFault {
				fluttering, toldAt = true, at
				d.fault(sensors.Garbled, at, "the line finds no rest: a loose contact, or an input that nothing holds")
			}
			continue
		}
		fluttering = fluttering && looks.restless > 0
		if looks.known && looks.restless == 0 && (changed || !stated || at-toldAt >= o.Interval) {
			stated, toldAt = true, at
			value := 0.0
			if looks.level != o.ActiveLow {
				value = 1
			}
			d.put(sensors.Reading{Value: value, At: at})
		}
	}
}
