// Package typed takes readings that a person types: of a dial gauge beside the
// pot, of a thermometer in the room. He is asked every interval and may type at
// any time.
//
// Such a reading has the time at which it was typed. Its uncertainty is half a
// division of the scale (a reader with good will, at a gauge that he faces;
// common practice, no source), besides the error of the gauge itself. It comes too
// seldom to guard a pot: a bench needs a transducer for that, and the typed one is
// a witness beside it. The record notes each as typed, with the text and the
// uncertainty.
package typed

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/scale"
)

// Options is what a driver needs.
type Options struct {
	Sensor   string        // id in bench.toml
	Scale    scale.Scale   // what the number means
	Division float64       // of the scale, in Scale.Unit, > 0
	Interval time.Duration // at which a reading is asked for, > 0
	Room     *scale.Room   // for gauge pressures
	Clock    func() time.Duration
}

// Driver keeps what was typed until it is read. Enter may be called from another
// goroutine than the rest.
type Driver struct {
	options Options
	last    time.Duration // asked or typed
	told    time.Duration // a silence

	mu     sync.Mutex
	queue  []entry
	typed  time.Duration
	closed bool
}

type entry struct {
	at     time.Duration
	number float64
}

// New makes the driver of a gauge. The first reading is asked for at once.
func New(options Options) (*Driver, error) {
	if !(options.Division > 0) || math.IsInf(options.Division, 0) {
		return nil, fmt.Errorf("division: %g is no division of a scale; it must be above 0", options.Division)
	}
	if options.Interval <= 0 {
		return nil, fmt.Errorf("interval_s: must be above 0")
	}
	now := options.Clock()
	return &Driver{options: options, last: now - options.Interval, told: now, typed: now - options.Interval}, nil
}

// Sensor is the sensor's id.
func (d *Driver) Sensor() string { return d.options.Sensor }

// Enter takes what a person typed, "3.2" or "3,2", and gives the note for the
// record. The error is one line for him.
func (d *Driver) Enter(text string) (note string, err error) {
	o := &d.options
	number, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(text), ",", ".", 1), 64)
	if err != nil || math.IsNaN(number) || math.IsInf(number, 0) {
		return "", fmt.Errorf("%s: %q is no number; type what the scale shows, in %s", o.Sensor, text, d.unit())
	}
	if (o.Scale.Low != 0 || o.Scale.High != 0) && (number < o.Scale.Low || number > o.Scale.High) {
		return "", fmt.Errorf("%s: the scale goes from %g to %g %s; %g was typed", o.Sensor, o.Scale.Low, o.Scale.High, d.unit(), number)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	at := o.Clock()
	d.queue = append(d.queue, entry{at, number})
	d.typed = at
	return fmt.Sprintf("typed: %s shows %g %s, to half a division of %g", o.Sensor, number, d.unit(), o.Division), nil
}

func (d *Driver) unit() string {
	return strings.TrimSpace(d.options.Scale.Unit + " " + d.options.Scale.Reference)
}

// Due says what to ask for, where it is time to; once each interval.
func (d *Driver) Due(now time.Duration) (ask string, due bool) {
	d.mu.Lock()
	d.last = max(d.last, d.typed)
	d.mu.Unlock()
	if now-d.last < d.options.Interval {
		return "", false
	}
	d.last = now
	return fmt.Sprintf("read gauge %s and type what it shows, in %s: \"%s 3.2\" and Enter", d.options.Sensor, d.unit(), d.options.Sensor), true
}

// Read appends what was typed up to now, and a fault after two intervals without.
func (d *Driver) Read(now time.Duration, to []sensors.Reading) []sensors.Reading {
	o := &d.options
	d.mu.Lock()
	defer d.mu.Unlock()
	n := 0
	for n < len(d.queue) && d.queue[n].at <= now && !d.closed {
		to = append(to, o.Scale.Reading(o.Sensor, d.queue[n].at, d.queue[n].number, o.Room))
		n++
	}
	d.queue = append(d.queue[:0], d.queue[n:]...)
	if silent := now - max(d.typed, d.told); silent > 2*o.Interval {
		d.told = now
		to = append(to, sensors.Fault(o.Sensor, o.Scale.Quantity, sensors.NoReading, now,
			fmt.Sprintf("nobody has typed a reading for %v", (now-d.typed).Round(time.Second))))
	}
	return to
}

// Close ends it.
func (d *Driver) Close() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.closed, d.queue = true, nil
	return nil
}
