package poll

import (
	"fmt"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/repeats"
	"proofpot/sensors/scale"
)

// health is what is known of one field.
type health struct {
	scale   *scale.Scale
	since   time.Duration  // last value, or start of the waiting for one
	lasting sensors.Status // Disconnected or NoReading while that lasts, else OK
	told    time.Duration  // when it was told last
	faults  repeats.Faults
}

// Read appends what was measured up to now, in order, then the news that
// something due has not come. It never waits.
func (d *Driver) Read(now time.Duration, to []sensors.Reading) []sensors.Reading {
	for d.take(now) {
		at := d.batch.at
		if d.batch.back != "" {
			for i := range d.health {
				d.health[i].lasting, d.health[i].since = sensors.OK, at
				to = append(to, d.fault(&d.health[i], sensors.Restarted, at, d.batch.back))
			}
			continue
		}
		// The barometer first: gauge pressures of the same part are added to it.
		for _, barometer := range []bool{true, false} {
			for i := range d.batch.results {
				if h := &d.health[i]; (h.scale.Quantity == sensors.RoomPressure) == barometer {
					to = d.note(h, at, d.batch.results[i], to)
				}
			}
		}
	}
	if n := d.losses(); n > 0 {
		to = append(to, d.fault(&d.health[0], sensors.NoReading, now, fmt.Sprintf("%d measurements were lost: nobody read them in time", n)))
	}
	for i := range d.health {
		to = d.overdue(&d.health[i], now, to)
	}
	return to
}

func (d *Driver) fault(h *health, s sensors.Status, at time.Duration, text string) sensors.Reading {
	return sensors.Fault(d.options.Sensor, h.scale.Quantity, s, at, text)
}

// note turns one result into readings.
func (d *Driver) note(h *health, at time.Duration, r Result, to []sensors.Reading) []sensors.Reading {
	reading := d.fault(h, r.Kind, at, r.Text)
	if r.Kind == sensors.OK {
		reading = h.scale.Reading(d.options.Sensor, at, r.Value, d.options.Room)
	}
	switch s := reading.Status; {
	case s == sensors.OK:
		h.since, h.lasting = at, sensors.OK
		return append(to, reading)
	case s == sensors.Disconnected:
		if h.lasting == s {
			return to // overdue tells it again once a minute
		}
		h.lasting, h.told = s, at
		return append(to, reading)
	default:
		return h.faults.Tell(reading, to)
	}
}

// overdue appends the news that a field is silent, or its part still gone.
func (d *Driver) overdue(h *health, now time.Duration, to []sensors.Reading) []sensors.Reading {
	to = h.faults.Due(d.options.Sensor, h.scale.Quantity, now, to)
	switch {
	case h.lasting != sensors.OK && now-h.told >= repeats.Lasting:
		h.told = now
		return append(to, d.fault(h, h.lasting, now, fmt.Sprintf("still: no %s for %v", h.scale.Quantity, repeats.Rounded(now-h.since))))
	case h.lasting == sensors.OK && now-h.since > SilentIntervals*d.options.Interval:
		h.lasting, h.told = sensors.NoReading, now
		return append(to, d.fault(h, sensors.NoReading, now, fmt.Sprintf("no %s for %v, due every %v: its bus hangs, or its values were faults",
			h.scale.Quantity, repeats.Rounded(now-h.since), d.options.Interval)))
	}
	return to
}
