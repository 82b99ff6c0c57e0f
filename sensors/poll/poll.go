// Package poll turns a part that is asked, over a bus that may be slow or hang,
// into a driver that never waits: one goroutine asks the part at its interval
// and leaves what it got in a mailbox; Read empties the mailbox.
//
// # What can happen
//
// A transfer that fails makes every quantity of the part Disconnected; the part
// is then started anew (reset, identity, calibration, configuration) at its
// interval, twice a second at most, until it answers, which is told as Restarted. An answer that cannot be
// trusted (a checksum that does not agree) is Garbled, one that did not come is
// NoReading, and after five in a row
// the part is started anew. A part that says that it lost its power is
// Restarted at once. Five intervals without a value, a bus that hangs among
// them, make NoReading. A fault that lasts is told once a minute, and the same
// fault within a second is counted. No fault has a value.
//
// Parts on one bus are asked from a goroutine each. Their transfers must not run
// into one another: pass each the same bus, one that lets one transfer through
// at a time (busguard.Bus does).
package poll

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/repeats"
	"proofpot/sensors/scale"
)

// Device is a part on a bus. Its methods are called from one goroutine and may
// block; a wait of theirs ends early when ctx is done.
type Device interface {
	// Start resets the part, checks its identity and configures it. It is called
	// before the first measurement and again after the part was lost.
	Start(ctx context.Context) error
	// Measure measures once and fills in a result for each output, in the order
	// of the driver's fields. An error, see Fault, stands for all of them.
	Measure(ctx context.Context, results []Result) error
}

// Result is what one output gave.
type Result struct {
	Value float64 // in the field's unit; not looked at unless Status is OK
	Status
}

// Status says why there is no value; its zero value is OK.
type Status struct {
	Kind sensors.Status
	Text string
}

// statusError is an error that knows its status.
type statusError struct{ Status }

func (e *statusError) Error() string { return e.Text }

// Fault makes an error that becomes a fault with this status. Every other error
// counts as a transfer that failed: Disconnected.
func Fault(kind sensors.Status, format string, args ...any) error {
	return &statusError{Status{kind, fmt.Sprintf(format, args...)}}
}

// Bad is a result without a value.
func Bad(kind sensors.Status, format string, args ...any) Result {
	return Result{Value: math.NaN(), Status: Status{kind, fmt.Sprintf(format, args...)}}
}

// Wait waits, or returns ctx's error when that ends first.
func Wait(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}

// The driver's habits.
const (
	// SilentIntervals is how many intervals without a value make a silent part.
	SilentIntervals = 5

	restartEvery = 500 * time.Millisecond
	closeWithin  = 2 * time.Second
	mailboxes    = 64
	garbledMost  = 5 // in a row, before the part is started anew
)

// Options is what a driver needs besides its part.
type Options struct {
	Sensor   string               // id in bench.toml
	Fields   []scale.Scale        // one for each output of the part, in its order
	Interval time.Duration        // between two measurements, > 0
	Room     *scale.Room          // for gauge pressures; shared by the drivers of a bench, used by Read alone
	Clock    func() time.Duration // since the start of the run; called from another goroutine
	Closer   func() error         // lets go of what was opened for this part alone; may be nil

	tick  <-chan struct{} // tests: a measurement for each, instead of Interval
	every time.Duration   // tests: between two attempts to start, instead of restartEvery
}

// Driver asks one part.
type Driver struct {
	options Options
	device  Device
	health  []health // one a field
	batch   batch    // reused

	mu     sync.Mutex
	box    []batch // oldest first
	spare  []batch
	lost   int
	closed bool

	stop context.CancelFunc
	done chan struct{}
}

// batch is what one measurement gave.
type batch struct {
	at      time.Duration
	back    string // the part answers again: what to say
	results []Result
}

// New starts to ask device. It does not wait for its first answer.
func New(device Device, options Options) (*Driver, error) {
	if options.Interval <= 0 {
		return nil, fmt.Errorf("sensor %q: interval_s must be above 0", options.Sensor)
	}
	if options.every == 0 {
		options.every = restartEvery
	}
	ctx, stop := context.WithCancel(context.Background())
	d := &Driver{options: options, device: device, stop: stop, done: make(chan struct{})}
	start := options.Clock()
	for i := range options.Fields {
		d.health = append(d.health, health{scale: &options.Fields[i], since: start})
	}
	go d.run(ctx)
	return d, nil
}

// run asks the part until the driver is closed.
func (d *Driver) run(ctx context.Context) {
	defer close(d.done)
	results := make([]Result, len(d.options.Fields))
	started, lostAt, lost, garbled := false, time.Duration(0), false, 0
	next := time.Now()
	for ctx.Err() == nil {
		var err error
		if !started {
			if err = d.device.Start(ctx); err == nil {
				started, garbled = true, 0
				if lost {
					now := d.options.Clock()
					d.put(batch{at: now, back: fmt.Sprintf("it answers again, started anew after %v", repeats.Rounded(now-lostAt))})
					lost = false
				}
			}
		}
		if err == nil {
			clear(results)
			err = d.device.Measure(ctx, results)
		}
		if ctx.Err() != nil {
			return
		}
		now := d.options.Clock()
		var known *statusError
		switch {
		case err == nil:
			garbled = 0
			d.put(batch{at: now, results: results})
		case errors.As(err, &known) && started:
			d.put(d.all(now, known.Status, results))
			garbled++
			if (known.Kind == sensors.Garbled || known.Kind == sensors.NoReading) && garbled < garbledMost || known.Kind == sensors.OutOfRange {
				break
			}
			started = false
		default:
			status := Status{sensors.Disconnected, err.Error()}
			if known != nil {
				status = known.Status
			}
			d.put(d.all(now, status, results))
			if !lost {
				lostAt, lost = now, true
			}
			started = false
		}
		next = next.Add(d.options.Interval)
		if behind := time.Since(next); behind > 0 {
			next = next.Add(behind) // go on from here, not in a burst
		}
		d.rest(ctx, started, next)
	}
}

// rest waits for the next measurement or the next attempt to start.
func (d *Driver) rest(ctx context.Context, started bool, next time.Time) {
	wait := time.Until(next)
	if !started {
		wait = max(wait, d.options.every)
	} else if d.options.tick != nil {
		select {
		case <-ctx.Done():
		case <-d.options.tick:
		}
		return
	}
	_ = Wait(ctx, wait) // the caller looks at ctx
}

// all is a batch with the same status for every field.
func (d *Driver) all(at time.Duration, s Status, results []Result) batch {
	for i := range results {
		results[i] = Result{Value: math.NaN(), Status: s}
	}
	return batch{at: at, results: results}
}

// put leaves a copy of b in the mailbox. Where nobody reads, the oldest gives
// way and is counted.
func (d *Driver) put(b batch) {
	d.mu.Lock()
	defer d.mu.Unlock()
	var slot batch
	switch {
	case len(d.box) == mailboxes:
		slot = d.box[0]
		d.box = append(d.box[:0], d.box[1:]...)
		d.lost++
	case len(d.spare) > 0:
		slot = d.spare[len(d.spare)-1]
		d.spare = d.spare[:len(d.spare)-1]
	}
	slot.at, slot.back = b.at, b.back
	slot.results = append(slot.results[:0], b.results...)
	d.box = append(d.box, slot)
}

// take moves the oldest batch that is not later than now into d.batch.
func (d *Driver) take(now time.Duration) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	if len(d.box) == 0 || d.box[0].at > now {
		return false
	}
	d.spare = append(d.spare, d.batch)
	d.batch = d.box[0]
	d.box = append(d.box[:0], d.box[1:]...)
	return true
}

// losses gives how many batches gave way since the last call.
func (d *Driver) losses() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	n := d.lost
	d.lost = 0
	return n
}

// Close stops asking and lets go of the part. A bus that hangs is left behind
// after two seconds, with an error. It may be called again.
func (d *Driver) Close() error {
	d.mu.Lock()
	if d.closed {
		d.mu.Unlock()
		return nil
	}
	d.closed = true
	d.mu.Unlock()
	d.stop()
	select {
	case <-d.done:
	case <-time.After(closeWithin):
		return fmt.Errorf("sensor %q: its bus hangs and is left as it is", d.options.Sensor)
	}
	if d.options.Closer != nil {
		return d.options.Closer()
	}
	return nil
}
