package serialline

import (
	"fmt"
	"math"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/serialline/textline"
)

const (
	// repeatFault is how often a fault that lasts is told again.
	repeatFault = time.Minute
	// sameFault is the time within which more faults of the same kind are
	// counted instead of told, so that a flood of garbage does not become a
	// flood of faults.
	sameFault = time.Second
)

// health is what is known of one quantity of the device.
type health struct {
	quantity sensors.Quantity
	from     string
	limit    time.Duration  // of silence
	since    time.Duration  // last value, or start of the waiting for one
	lasting  sensors.Status // Disconnected or NoReading while that lasts, else OK
	told     time.Duration  // when it was told last
	repeats  [sensors.Restarted + 1]repeats
}

// repeats counts faults of one kind that follow each other closely.
type repeats struct {
	told  time.Duration
	ever  bool
	count int
	last  string
}

// tell starts a fault that lasts.
func (d *Driver) tell(h *health, s sensors.Status, at time.Duration, text string) sensors.Reading {
	h.lasting, h.told = s, at
	return sensors.Fault(d.options.Line.Sensor, h.quantity, s, at, text)
}

// note looks at the readings of a line, from base on, and drops faults that
// repeat within sameFault.
func (d *Driver) note(base int, to []sensors.Reading) []sensors.Reading {
	keep := to[:base]
	for _, r := range to[base:] {
		h := d.of(r.Quantity)
		if r.Status == sensors.OK {
			h.since, h.lasting = r.At, sensors.OK
			keep = append(keep, r)
			continue
		}
		if c := &h.repeats[r.Status]; c.ever && r.At-c.told < sameFault {
			c.count++
			c.last = r.Text
			continue
		}
		keep = d.more(h, r.Status, r.At, keep)
		c := &h.repeats[r.Status]
		c.ever, c.told = true, r.At
		keep = append(keep, r)
	}
	return keep
}

// more tells of faults that were counted, once the time for it has come.
func (d *Driver) more(h *health, s sensors.Status, now time.Duration, to []sensors.Reading) []sensors.Reading {
	c := &h.repeats[s]
	if c.count == 0 || now-c.told < sameFault {
		return to
	}
	text := fmt.Sprintf("%d more, the last: %s", c.count, c.last)
	c.count, c.told = 0, now
	return append(to, sensors.Fault(d.options.Line.Sensor, h.quantity, s, now, text))
}

// overdue appends the news that a quantity is silent, or its port still gone.
func (d *Driver) overdue(h *health, now time.Duration, to []sensors.Reading) []sensors.Reading {
	for s := range h.repeats {
		to = d.more(h, sensors.Status(s), now, to)
	}
	if h.lasting != sensors.OK && now-h.told >= repeatFault {
		return append(to, d.tell(h, h.lasting, now, fmt.Sprintf("still: no %s for %v", h.quantity, rounded(now-h.since))))
	}
	if !d.gone && h.lasting != sensors.NoReading && now-h.since > h.limit {
		text := fmt.Sprintf("no %s for %v; %s was due every %v", h.quantity, rounded(now-h.since), h.from, h.limit/SilentIntervals)
		if len(d.lastLine) > 0 {
			text += "; the last line was " + textline.Shorten(d.lastLine)
		}
		return append(to, d.tell(h, sensors.NoReading, now, text))
	}
	return to
}

func (d *Driver) of(q sensors.Quantity) *health {
	for i := range d.health {
		if d.health[i].quantity == q {
			return &d.health[i]
		}
	}
	panic(fmt.Sprintf("reading of %v, which no field measures", q)) // the parser reads fields only
}

// rounded cuts a duration to about three digits.
func rounded(d time.Duration) time.Duration {
	digits := math.Floor(math.Log10(math.Max(float64(d), 1))) - 2
	return d.Round(time.Duration(math.Pow(10, math.Max(digits, 0))))
}
