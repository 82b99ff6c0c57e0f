package poll

import (
	"context"
	"errors"
	"math"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/repeats"
	"proofpot/sensors/scale"
	"proofpot/sensors/sensortest"
)

// part is a part with a pressure and a temperature whose answers a test sets.
type part struct {
	answer  atomic.Pointer[[2]Result]
	broken  atomic.Pointer[error] // of every transfer
	hang    atomic.Pointer[chan struct{}]
	started atomic.Int32
	hanging atomic.Bool
}

func (p *part) transfer() error {
	if held := p.hang.Load(); held != nil {
		p.hanging.Store(true)
		<-*held
	}
	if err := p.broken.Load(); err != nil {
		return *err
	}
	return nil
}

func (p *part) Start(context.Context) error {
	err := p.transfer()
	if err == nil {
		p.started.Add(1)
	}
	return err
}

func (p *part) Measure(_ context.Context, results []Result) error {
	if err := p.transfer(); err != nil {
		return err
	}
	copy(results, p.answer.Load()[:])
	return nil
}

const interval = 100 * time.Millisecond

// polled is a driver that measures when it is ticked.
func polled(t *testing.T) (*read, *part, *sensortest.Clock, func()) {
	t.Helper()
	p, clock, tick := &part{}, &sensortest.Clock{}, make(chan struct{})
	p.answer.Store(&[2]Result{{Value: 3}, {Value: 12.5}})
	d, err := New(p, Options{
		Sensor: "p1", Interval: interval, Room: scale.NewRoom(100_000, false), Clock: clock.Now, tick: tick, every: time.Millisecond,
		Fields: []scale.Scale{
			{From: "pressure", Quantity: sensors.ChamberPressure, Unit: "bar", Reference: scale.Gauge},
			{From: "temperature", Quantity: sensors.ChamberWater, Unit: "C"},
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.Close() })
	return &read{Driver: d}, p, clock, func() {
		select {
		case tick <- struct{}{}:
		case <-time.After(10 * time.Second):
			t.Error("the part is not asked")
		}
	}
}

// read is what was read and not yet looked at.
type read struct {
	*Driver
	left []sensors.Reading
}

// until reads until something that is wanted was read; what comes after it is
// kept for the next call.
func until(t *testing.T, d *read, clock *sensortest.Clock, wanted func(sensors.Reading) bool) sensors.Reading {
	t.Helper()
	for deadline := time.Now().Add(10 * time.Second); time.Now().Before(deadline); time.Sleep(time.Millisecond) {
		for d.left = d.Read(clock.Now(), d.left); len(d.left) > 0; {
			r := d.left[0]
			d.left = d.left[1:]
			if (r.Status == sensors.OK) == math.IsNaN(r.Value) {
				t.Fatalf("a fault with a value, or none without: %+v", r)
			}
			if wanted(r) {
				return r
			}
		}
	}
	t.Fatal("what is wanted was not read")
	return sensors.Reading{}
}

func is(q sensors.Quantity, s sensors.Status) func(sensors.Reading) bool {
	return func(r sensors.Reading) bool { return r.Quantity == q && r.Status == s }
}

func TestABusThatHangsIsToldForEveryQuantityAndHangsNobody(t *testing.T) {
	d, p, clock, tick := polled(t)
	if r := until(t, d, clock, is(sensors.ChamberPressure, sensors.OK)); r.Value != 400_000 {
		t.Fatalf("3 bar above 100000 Pa reads %+v", r)
	}
	held := make(chan struct{})
	defer close(held)
	p.hang.Store(&held)
	tick()
	for !p.hanging.Load() {
		time.Sleep(time.Millisecond)
	}
	clock.Forward(SilentIntervals*interval + time.Millisecond)
	silent := map[sensors.Quantity]bool{}
	until(t, d, clock, func(r sensors.Reading) bool {
		if r.Status == sensors.NoReading {
			silent[r.Quantity] = true
		}
		return len(silent) == 2
	})
	if err := d.Close(); err == nil || !strings.Contains(err.Error(), "hangs") {
		t.Errorf("a driver whose bus hangs closes with %v", err)
	}
}

// A wet probe whose wire is open must not hide that the pressure beside it on
// the same converter has fallen silent.
func TestAnOpenWireOnOneChannelDoesNotHideTheSilenceOfAnother(t *testing.T) {
	d, p, clock, tick := polled(t)
	until(t, d, clock, is(sensors.ChamberPressure, sensors.OK))
	p.answer.Store(&[2]Result{{Value: 3}, Bad(sensors.Disconnected, "open wire")})
	tick()
	until(t, d, clock, is(sensors.ChamberWater, sensors.Disconnected))
	clock.Forward(SilentIntervals*interval + time.Millisecond)
	until(t, d, clock, is(sensors.ChamberPressure, sensors.NoReading))
}

func TestALostPartIsStartedAnewAndSaysSo(t *testing.T) {
	d, p, clock, tick := polled(t)
	until(t, d, clock, is(sensors.ChamberWater, sensors.OK))
	lost := errors.New("no acknowledge")
	p.broken.Store(&lost)
	tick()
	if r := until(t, d, clock, is(sensors.ChamberWater, sensors.Disconnected)); r.Text != "no acknowledge" {
		t.Errorf("%+v", r)
	}
	p.broken.Store(nil)
	until(t, d, clock, is(sensors.ChamberPressure, sensors.Restarted))
	until(t, d, clock, is(sensors.ChamberPressure, sensors.OK))
	if n := p.started.Load(); n < 2 {
		t.Errorf("started %d times", n)
	}
}

func TestFiveGarbledAnswersInARowStartThePartAnew(t *testing.T) {
	d, p, clock, tick := polled(t)
	until(t, d, clock, is(sensors.ChamberWater, sensors.OK))
	garbled := Fault(sensors.Garbled, "checksum 12, want 34")
	p.broken.Store(&garbled)
	for n := 1; n < garbledMost; n++ {
		tick()
		clock.Forward(repeats.Within)
		until(t, d, clock, is(sensors.ChamberPressure, sensors.Garbled))
	}
	if n := p.started.Load(); n != 1 {
		t.Fatalf("started %d times after %d garbled answers", n, garbledMost-1)
	}
	tick()
	clock.Forward(repeats.Within)
	until(t, d, clock, is(sensors.ChamberPressure, sensors.Garbled))
	p.broken.Store(nil)
	until(t, d, clock, is(sensors.ChamberPressure, sensors.OK))
	if n := p.started.Load(); n != 2 {
		t.Errorf("started %d times", n)
	}
}

func TestMeasurementsThatNobodyReadsAreCountedAndTheNewestStay(t *testing.T) {
	d, p, clock, tick := polled(t)
	for range mailboxes + 9 {
		tick()
	}
	p.answer.Store(&[2]Result{{Value: 4}, {Value: 12.5}})
	tick()
	tick() // its taking shows that the one before is in the mailbox
	var last float64
	var told bool
	for _, r := range d.Read(clock.Now(), nil) {
		if r.Quantity == sensors.ChamberPressure && r.Status == sensors.OK {
			last = r.Value
		}
		told = told || r.Status == sensors.NoReading && strings.Contains(r.Text, "measurements were lost")
	}
	if last != 500_000 || !told {
		t.Errorf("the newest value reads %v; losses told: %v", last, told)
	}
}
