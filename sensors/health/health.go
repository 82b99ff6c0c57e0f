// Package health watches the readings of a bench for what only shows over time
// or between two sensors: a value that stands still, jumps, or disagrees with its
// twin. README.md beside it has the rules. It is pure.
package health

import (
	"fmt"
	"math"
	"time"

	"proofpot/sensors"
)

// Figures of the rules.
const (
	staleIntervals = 10
	staleLeast     = 10 * time.Second
	faultyLeast    = 90 * time.Second
	windowValues   = 50
	windowTime     = 20 * time.Second
	stuckShare     = 0.02 // of the stated noise
	endShare       = 0.01 // of the span
	jumpNoises     = 10
	jumps          = 3
	jumpWithin     = time.Minute
	jumpQuiet      = 2 * time.Minute
	twinNoises     = 4
	twinLasts      = 5 * time.Second
	overAfter      = 10 * time.Second
)

// Channel is one quantity of one sensor.
type Channel struct {
	Sensor    string
	Quantity  sensors.Quantity
	Interval  time.Duration // between two values
	Noise     float64       // standard deviation of one reading; 0: not known
	Accuracy  float64       // largest error; 0: not known
	Low, High float64       // its ends; both 0: not known. All in the unit of a reading
}

// Watch watches the channels of a bench. It is for one goroutine.
type Watch struct {
	channels []channel
	twins    [][2]int
}

type channel struct {
	Channel
	heard     time.Duration // of the last reading of any status
	faulty    bool          // that was a fault
	valued    bool
	last      sensors.Reading
	before    float64 // the value before the last
	rate      float64 // 1/s
	spikes    [jumps]time.Duration
	spikeAt   int
	finest    float64 // the finest step seen
	from      time.Duration
	n         int
	squares   float64 // of successive differences
	noise     float64 // of the last window; NaN: none yet
	perSecond float64
	apart     time.Duration // since when it is too far from its twin; -1: it is not
	is        [sensors.Recovered]condition
}

// condition is one thing that may be wrong with a channel.
type condition struct {
	raised  bool
	ours    bool // seen here, and not told by a driver
	since   time.Duration
	lastBad time.Duration
	text    string
}

// New watches channels from now on. Channels of one quantity that could be
// compared are twins.
func New(channels []Channel, now time.Duration) *Watch {
	w := &Watch{}
	for _, c := range channels {
		w.channels = append(w.channels, channel{Channel: c, heard: now, finest: math.Inf(1), noise: math.NaN(), apart: -1})
	}
	for i := range w.channels {
		for j := range i {
			a, b := &w.channels[j], &w.channels[i]
			if a.Quantity == b.Quantity && a.tolerance()*b.tolerance() > 0 {
				w.twins = append(w.twins, [2]int{j, i})
			}
		}
	}
	return w
}

// tolerance is how far a value may be from the truth; 0: not known.
func (c *channel) tolerance() float64 {
	if c.Accuracy > 0 || isPressure(c.Quantity) || c.Quantity.TwoState() || c.Quantity == sensors.ProbeLevel {
		return c.Accuracy
	}
	if c.Quantity == sensors.UnitHumidity || c.Quantity == sensors.RoomHumidity {
		return 4
	}
	return 1
}

// jump is how far a reading must leave its neighbours to be a jump.
func (c *channel) jump() float64 {
	switch {
	case c.Noise > 0:
		return jumpNoises * c.Noise
	case isPressure(c.Quantity):
		return 2e3
	case c.Quantity == sensors.UnitHumidity || c.Quantity == sensors.RoomHumidity:
		return 5
	}
	return 1
}

func isPressure(q sensors.Quantity) bool {
	return q == sensors.ChamberPressure || q == sensors.UnitPressure || q == sensors.RoomPressure
}

// Step takes in the readings from base on, and appends what is raised and what
// is over.
func (w *Watch) Step(now time.Duration, readings []sensors.Reading, base int) []sensors.Reading {
	for i, end := base, len(readings); i < end; i++ {
		r := readings[i]
		c := w.find(r.Sensor, r.Quantity)
		if c == nil {
			continue
		}
		c.heard, c.faulty = now, r.Status != sensors.OK
		if r.Status != sensors.OK {
			if r.Status != sensors.Restarted && r.Status < sensors.Recovered {
				c.bad(r.Status, now, r.Text)
			}
			continue
		}
		readings = c.take(now, r, readings)
	}
	for i := range w.channels {
		c := &w.channels[i]
		limit := max(staleLeast, staleIntervals*c.Interval)
		if c.faulty { // a driver tells a fault that lasts once a minute
			limit = max(limit, faultyLeast)
		}
		if silence := now - c.heard; silence > limit && !c.lasts(sensors.Stale, now) {
			readings = c.raise(sensors.Stale, now, readings, "neither a value nor a fault for %v", silence.Round(time.Second))
		}
	}
	for _, t := range w.twins {
		readings = w.compare(t[0], t[1], now, readings)
	}
	for i := range w.channels {
		readings = w.channels[i].over(now, readings)
	}
	return readings
}

func (w *Watch) find(sensor string, q sensors.Quantity) *channel {
	for i := range w.channels {
		if c := &w.channels[i]; c.Quantity == q && c.Sensor == sensor {
			return c
		}
	}
	return nil
}

// take looks at a value.
func (c *channel) take(now time.Duration, r sensors.Reading, to []sensors.Reading) []sensors.Reading {
	if !c.valued {
		c.valued, c.last, c.before, c.from = true, r, r.Value, r.At
		return to
	}
	step, dt := r.Value-c.last.Value, (r.At - c.last.At).Seconds()
	if c.Quantity.TwoState() {
		c.last = r
		return to
	}
	if step != 0 {
		c.finest = min(c.finest, math.Abs(step))
	}
	if dt > 0 {
		c.rate = step / dt
	}
	left := c.last.Value - c.before // the last value left the one before it, and this one came back
	if far := c.jump(); math.Abs(left) > far && math.Abs(step) > far && left*step < 0 && math.Abs(r.Value-c.before) < far {
		c.spikes[c.spikeAt] = now
		c.spikeAt = (c.spikeAt + 1) % jumps
		if oldest := c.spikes[c.spikeAt]; oldest > 0 && now-oldest < jumpWithin {
			to = c.raise(sensors.Jumping, now, to, "%d readings within %v left their neighbours by more than %.3g %s",
				jumps, (now - oldest).Round(time.Second), far, c.Quantity.Unit())
		}
	}
	c.before, c.last = c.last.Value, r
	c.n++
	c.squares += step * step
	if c.n < windowValues || r.At-c.from < windowTime {
		return to
	}
	c.noise = math.Sqrt(c.squares / float64(2*c.n))
	c.perSecond = float64(c.n) / (r.At - c.from).Seconds()
	c.n, c.squares, c.from = 0, 0, r.At
	if c.Noise <= 0 || c.noise >= stuckShare*c.Noise || c.finest >= c.Noise {
		return to
	}
	if end := endShare * (c.High - c.Low); end > 0 && (r.Value > c.High-end || r.Value < c.Low+end) {
		return c.raise(sensors.Saturated, now, to, "stands still at %.6g %s, at the end of its range", r.Value, c.Quantity.Unit())
	}
	return c.raise(sensors.Stuck, now, to, "stands still at %.6g %s: it scatters by %.3g, and %.3g is its noise", r.Value, c.Quantity.Unit(), c.noise, c.Noise)
}

// compare looks at two sensors of one quantity.
func (w *Watch) compare(i, j int, now time.Duration, to []sensors.Reading) []sensors.Reading {
	a, b := &w.channels[i], &w.channels[j]
	if !a.valued || !b.valued || now-a.last.At > 3*a.Interval || now-b.last.At > 3*b.Interval {
		b.apart = -1
		return to
	}
	skew := math.Abs((a.last.At - b.last.At).Seconds()) + (a.Interval + b.Interval).Seconds()
	allowed := a.tolerance() + b.tolerance() + twinNoises*math.Hypot(a.Noise, b.Noise) + skew*max(math.Abs(a.rate), math.Abs(b.rate))
	apart := math.Abs(a.last.Value - b.last.Value)
	if apart <= allowed {
		b.apart = -1
		return to
	}
	if b.apart < 0 {
		b.apart = now
	}
	if now-b.apart < twinLasts {
		return to
	}
	for _, c := range []*channel{a, b} {
		if c.lasts(sensors.Disagrees, now) {
			continue
		}
		other := a
		if c == a {
			other = b
		}
		to = c.raise(sensors.Disagrees, now, to, "reads %.6g %s and sensor %s reads %.6g; %.3g apart can be",
			c.last.Value, c.Quantity.Unit(), other.Sensor, other.last.Value, allowed)
	}
	return to
}

// bad notes what is wrong, and says whether that is news.
func (c *channel) bad(s sensors.Status, now time.Duration, text string) (news bool) {
	k := &c.is[s]
	news = !k.raised
	if news {
		k.raised, k.since, k.text = true, now, text
	}
	k.lastBad = now
	return news
}

// lasts says whether something is raised already, and notes that it still is.
func (c *channel) lasts(s sensors.Status, now time.Duration) bool {
	if c.is[s].raised {
		c.is[s].lastBad = now
	}
	return c.is[s].raised
}

func (c *channel) raise(s sensors.Status, now time.Duration, to []sensors.Reading, format string, args ...any) []sensors.Reading {
	if c.lasts(s, now) {
		return to
	}
	text := fmt.Sprintf(format, args...)
	c.bad(s, now, text)
	c.is[s].ours = true
	return append(to, sensors.Fault(c.Sensor, c.Quantity, s, now, text))
}

// over says what is over. What a driver told and was over at once is no news.
func (c *channel) over(now time.Duration, to []sensors.Reading) []sensors.Reading {
	for s := range c.is {
		k := &c.is[s]
		if !k.raised {
			continue
		}
		status := sensors.Status(s)
		quiet := overAfter
		switch status {
		case sensors.Jumping:
			quiet = jumpQuiet
		case sensors.Stuck, sensors.Saturated:
			if !c.noisy(now, k.lastBad) {
				continue
			}
		case sensors.Stale, sensors.Disagrees:
		default:
			if c.last.At <= k.lastBad || now-c.last.At > max(overAfter, 3*c.Interval) {
				continue // no value since
			}
		}
		if now-k.lastBad < quiet {
			continue
		}
		lasted := k.lastBad - k.since
		ours := k.ours
		k.raised, k.ours = false, false
		if lasted > 0 || ours {
			to = append(to, sensors.Fault(c.Sensor, c.Quantity, sensors.Recovered, now,
				fmt.Sprintf("%s of sensor %s: no longer %s, after %v", c.Quantity, c.Sensor, status, (now-k.since).Round(time.Second))))
		}
	}
	return to
}

// noisy says whether a window that ended after a time showed noise again.
func (c *channel) noisy(now, after time.Duration) bool {
	return c.from > after && c.noise >= stuckShare*c.Noise && now-c.last.At < overAfter
}

// Look is what is known of a channel.
type Look struct {
	Channel
	Last      sensors.Reading // the last with a value; its Status is NoReading before the first
	Noise     float64         // standard deviation over the last window, from successive differences; NaN: no window yet
	PerSecond float64         // values; 0: no window yet
	Wrong     sensors.Status  // the gravest that is wrong, or OK
	Text      string
}

// Looks gives what is known of each channel.
func (w *Watch) Looks() []Look {
	all := make([]Look, 0, len(w.channels))
	for i := range w.channels {
		c := &w.channels[i]
		l := Look{Channel: c.Channel, Last: c.last, Noise: c.noise, PerSecond: c.perSecond}
		if !c.valued {
			l.Last = sensors.Fault(c.Sensor, c.Quantity, sensors.NoReading, 0, "no value yet")
		}
		for s := range c.is {
			if k := &c.is[s]; k.raised && (l.Wrong == sensors.OK || k.lastBad >= c.is[l.Wrong].lastBad) {
				l.Wrong, l.Text = sensors.Status(s), k.text
			}
		}
		all = append(all, l)
	}
	return all
}
