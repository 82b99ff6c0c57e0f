// Package repeats keeps a flood of garbage from becoming a flood of faults: of
// one kind, one is told, and those that follow within a second are counted and
// told together. Nothing is left out of the count.
package repeats

import (
	"fmt"
	"math"
	"time"

	"proofpot/sensors"
)

const (
	// Within is the time in which more faults of the same kind are counted.
	Within = time.Second
	// Lasting is how often a fault that lasts is told again.
	Lasting = time.Minute
)

// Faults are those of one quantity of one sensor.
type Faults struct {
	kinds [sensors.Restarted + 1]kind
}

type kind struct {
	ever  bool
	told  time.Duration
	count int
	last  string
}

// Tell appends a fault, and before it the news of those that were counted; or
// counts it. Its status is one that a driver gives, Restarted at most.
func (f *Faults) Tell(fault sensors.Reading, to []sensors.Reading) []sensors.Reading {
	k := &f.kinds[fault.Status]
	if k.ever && fault.At-k.told < Within {
		k.count++
		k.last = fault.Text
		return to
	}
	to = k.due(fault, fault.At, to)
	k.ever, k.told = true, fault.At
	return append(to, fault)
}

// Due appends the news of faults that were counted, once the time for it has come.
func (f *Faults) Due(sensor string, q sensors.Quantity, now time.Duration, to []sensors.Reading) []sensors.Reading {
	for s := range f.kinds {
		to = f.kinds[s].due(sensors.Fault(sensor, q, sensors.Status(s), now, ""), now, to)
	}
	return to
}

func (k *kind) due(like sensors.Reading, now time.Duration, to []sensors.Reading) []sensors.Reading {
	if k.count == 0 || now-k.told < Within {
		return to
	}
	text := fmt.Sprintf("%d more, the last: %s", k.count, k.last)
	k.count, k.told = 0, now
	return append(to, sensors.Fault(like.Sensor, like.Quantity, like.Status, now, text))
}

// Rounded cuts a duration to about three digits.
func Rounded(d time.Duration) time.Duration {
	digits := math.Floor(math.Log10(math.Max(float64(d), 1))) - 2
	return d.Round(time.Duration(math.Pow(10, math.Max(digits, 0))))
}
