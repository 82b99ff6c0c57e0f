package gpioline_test

import (
	"fmt"
	"sync"
	"syscall"
	"testing"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/gpioline"
	"proofpot/sensors/sensortest"
)

// answer is what the kernel says to one look.
type answer struct {
	bits uint64
	err  error
}

// fakeLine is a line whose chip hangs unless it has an answer.
type fakeLine struct {
	answers chan answer
	release chan struct{}
	once    sync.Once
}

func newFakeLine() *fakeLine {
	return &fakeLine{answers: make(chan answer, 1<<16), release: make(chan struct{})}
}

func (f *fakeLine) Get() (uint64, error) {
	select {
	case a := <-f.answers:
		return a.bits, a.err
	case <-f.release:
		return 0, syscall.EBADF
	}
}

func (f *fakeLine) Close() error { return nil }

func (f *fakeLine) say(bits uint64, times int) {
	for range times {
		f.answers <- answer{bits: bits}
	}
}

// Driver lets a hanging line go before the driver under test is closed.
type Driver struct {
	*gpioline.Driver
	line *fakeLine
}

func (d Driver) Close() error {
	d.line.once.Do(func() { close(d.line.release) })
	return d.Driver.Close()
}

const (
	interval = 20 * time.Millisecond
	look     = time.Millisecond
)

func newDriver(t *testing.T, line *fakeLine, clock *sensortest.Clock, q sensors.Quantity, activeLow bool, again func() (gpioline.Line, error)) *Driver {
	t.Helper()
	d, err := gpioline.New(line, gpioline.Options{Sensor: "w1", Quantity: q, ActiveLow: activeLow,
		Debounce: 2 * look, Interval: interval, Clock: clock.Now, Request: again, LookEvery: look, AskEvery: look})
	if err != nil {
		t.Fatal(err)
	}
	return &Driver{d, line}
}

func TestADigitalLineDoesWhatADriverMust(t *testing.T) {
	sensortest.Suite(t, func(t *testing.T, clock *sensortest.Clock) sensortest.Subject {
		line := newFakeLine()
		back := false
		var mu sync.Mutex
		d := newDriver(t, line, clock, sensors.ProbeWet, true, func() (gpioline.Line, error) {
			mu.Lock()
			defer mu.Unlock()
			if back {
				return line, nil
			}
			return nil, syscall.ENODEV
		})
		return sensortest.Subject{
			Driver: d, Sensor: "w1", Want: map[sensors.Quantity]float64{sensors.ProbeWet: 1}, Silence: gpioline.SilentIntervals * interval,
			Good: func() { line.say(0, 2) },
			Garbled: func() {
				for i := range 1100 {
					line.say(uint64(i&1), 1)
				}
			},
			Gone: func() { line.answers <- answer{err: fmt.Errorf("GPIO line %q: %w", "w1", syscall.ENODEV)} },
			Back: func() { mu.Lock(); back = true; mu.Unlock() },
		}
	})
}

// states waits until so many readings have come and gives them in words.
func states(t *testing.T, d *Driver, clock *sensortest.Clock, n int) (words []string) {
	t.Helper()
	for deadline := time.Now().Add(10 * time.Second); len(words) < n; time.Sleep(time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("only %v", words)
		}
		for _, r := range d.Read(clock.Now(), nil) {
			if r.Status == sensors.OK {
				words = append(words, fmt.Sprint(r.Value))
			} else {
				words = append(words, r.Status.String())
			}
		}
	}
	return words
}

func TestAStopWhoseWireBreaksReadsPressed(t *testing.T) {
	line, clock := newFakeLine(), &sensortest.Clock{}
	d := newDriver(t, line, clock, sensors.StopOpen, false, nil)
	defer d.Close()
	line.say(0, 2) // the closed contact holds the line at ground
	line.say(1, 2) // nothing holds it: the pull-up does
	if got := states(t, d, clock, 2); got[0] != "0" || got[1] != "1" {
		t.Errorf("released, then broken, reads %v", got)
	}
}

func TestALidSwitchThatCannotBeReadIsNeverShut(t *testing.T) {
	line, clock := newFakeLine(), &sensortest.Clock{}
	d := newDriver(t, line, clock, sensors.LidOpen, false, nil)
	defer d.Close()
	line.say(0, 2)
	line.answers <- answer{err: syscall.ENODEV} // bits 0, which would be shut
	if got := states(t, d, clock, 2); got[0] != "0" || got[1] != "disconnected" {
		t.Errorf("shut, then unplugged, reads %v", got)
	}
	clock.Forward(time.Hour)
	for range 20 {
		time.Sleep(look)
		for _, r := range d.Read(clock.Now(), nil) {
			if r.Status == sensors.OK {
				t.Fatalf("an unplugged chip reads %v", r)
			}
		}
	}
}

func TestABouncingContactChangesOnce(t *testing.T) {
	line, clock := newFakeLine(), &sensortest.Clock{}
	d := newDriver(t, line, clock, sensors.FloatOpen, false, nil)
	defer d.Close()
	line.say(0, 2)
	for range 20 {
		line.say(1, 1)
		line.say(0, 1)
	}
	line.say(1, 2)
	if got := states(t, d, clock, 2); fmt.Sprint(got) != "[0 1]" {
		t.Errorf("one change reads %v", got)
	}
}

func TestALineMeasuresTwoStatesOnly(t *testing.T) {
	if _, err := gpioline.New(newFakeLine(), gpioline.Options{Quantity: sensors.ChamberPressure, Interval: interval}); err == nil {
		t.Error("a digital line measures a pressure")
	}
}

func TestACloseThatTheChipHangsOnEnds(t *testing.T) {
	line, clock := newFakeLine(), &sensortest.Clock{}
	d := newDriver(t, line, clock, sensors.LidOpen, false, nil)
	line.say(0, 2)
	states(t, d, clock, 1)
	time.Sleep(10 * look)
	if err := d.Driver.Close(); err == nil {
		t.Error("a line that hangs was closed without a word")
	}
	d.Close()
}
