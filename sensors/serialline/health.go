package serialline

import (
	"fmt"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/repeats"
	"proofpot/sensors/serialline/textline"
)

// health is what is known of one quantity of the device.
type health struct {
	quantity sensors.Quantity
	from     string
	limit    time.Duration  // of silence
	since    time.Duration  // last value, or start of the waiting for one
	lasting  sensors.Status // Disconnected or NoReading while that lasts, else OK
	told     time.Duration  // when it was told last
	faults   repeats.Faults
}

// tell starts a fault that lasts.
func (d *Driver) tell(h *health, s sensors.Status, at time.Duration, text string) sensors.Reading {
	h.lasting, h.told = s, at
	return sensors.Fault(d.options.Line.Sensor, h.quantity, s, at, text)
}

// note looks at the readings of a line, from base on, and drops faults that
// repeat within repeats.Within.
func (d *Driver) note(base int, to []sensors.Reading) []sensors.Reading {
	keep := to[:base]
	d.said = append(d.said[:0], to[base:]...) // one fault may become two
	for _, r := range d.said {
		h := d.of(r.Quantity)
		if r.Status == sensors.OK {
			h.since, h.lasting = r.At, sensors.OK
			keep = append(keep, r)
			continue
		}
		keep = h.faults.Tell(r, keep)
	}
	return keep
}

// overdue appends the news that a quantity is silent, or its port still gone.
func (d *Driver) overdue(h *health, now time.Duration, to []sensors.Reading) []sensors.Reading {
	to = h.faults.Due(d.options.Line.Sensor, h.quantity, now, to)
	if h.lasting != sensors.OK && now-h.told >= repeats.Lasting {
		return append(to, d.tell(h, h.lasting, now, fmt.Sprintf("still: no %s for %v", h.quantity, repeats.Rounded(now-h.since))))
	}
	if !d.gone && h.lasting != sensors.NoReading && now-h.since > h.limit {
		text := fmt.Sprintf("no %s for %v; %s was due every %v", h.quantity, repeats.Rounded(now-h.since), h.from, h.limit/SilentIntervals)
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
