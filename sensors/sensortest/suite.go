// Package sensortest checks sensor drivers. Suite says what every driver must
// do, whatever its bus; Emulator is a serial device to try one against.
package sensortest

import (
	"bytes"
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"proofpot/sensors"
)

// Driver is what every driver offers to the rig.
type Driver interface {
	// Read appends what has arrived up to now, since the start of the run. It
	// never waits.
	Read(now time.Duration, to []sensors.Reading) []sensors.Reading
	Close() error
}

// Subject is one driver with a device that the suite can disturb. Its clock is
// the suite's: the times given to Read, and the one that the driver asks.
type Subject struct {
	Driver Driver
	Sensor string
	Want   map[sensors.Quantity]float64 // what Good makes the driver read
	Within map[sensors.Quantity]float64 // tolerance; absent: exact to 1e-9 of the value

	Good       func() // the device measures Want once
	Garbled    func() // what arrives cannot be read; nil where a bus cannot do that
	OutOfRange func() // every quantity is outside its range; nil where that cannot be
	Gone       func() // the port, bus or wire is lost; nil where the driver cannot tell
	Back       func() // it returns; nil where it cannot
	Silence    time.Duration
}

// Clock is the time of a run that a test sets.
type Clock struct{ now atomic.Int64 }

// Now is the time.
func (c *Clock) Now() time.Duration { return time.Duration(c.now.Load()) }

// Forward moves the clock.
func (c *Clock) Forward(d time.Duration) { c.now.Add(int64(d)) }

// patience is how long, in real time, the suite waits for what a driver has to
// say; a slow machine with a race detector needs some of it.
const patience = 10 * time.Second

// Suite runs every check on a fresh subject of its own.
func Suite(t *testing.T, fresh func(t *testing.T, clock *Clock) Subject) {
	each := func(name string, check func(t *testing.T, s *session)) {
		t.Run(name, func(t *testing.T) {
			clock := &Clock{}
			s := &session{t: t, clock: clock, Subject: fresh(t, clock)}
			t.Cleanup(func() { s.Driver.Close() })
			check(t, s)
		})
	}
	each("every quantity is read right", func(t *testing.T, s *session) { s.good() })
	each("readings are appended", func(t *testing.T, s *session) {
		mark := sensors.Reading{Sensor: "mark"}
		s.Good()
		for deadline := time.Now().Add(patience); time.Now().Before(deadline); time.Sleep(time.Millisecond) {
			got := s.Driver.Read(s.clock.Now(), []sensors.Reading{mark})
			if got[0] != mark {
				t.Fatalf("the first reading was overwritten by %+v", got[0])
			}
			if len(got) > 1 {
				return
			}
		}
		t.Fatal("nothing was appended")
	})
	each("silence is a fault of every quantity, never no change", func(t *testing.T, s *session) {
		s.good()
		s.clock.Forward(s.Silence + time.Millisecond)
		s.all(sensors.NoReading)
		s.good()
	})
	each("a silence that lasts is not told at every call", func(t *testing.T, s *session) {
		s.clock.Forward(s.Silence + time.Millisecond)
		s.all(sensors.NoReading)
		for range 100 {
			s.clock.Forward(time.Millisecond)
			if got := s.read(); len(got) > 0 {
				t.Fatalf("told again after %v: %+v", s.clock.Now(), got[0])
			}
		}
	})
	each("what cannot be read gives a fault and no value", func(t *testing.T, s *session) {
		if s.Garbled == nil {
			return
		}
		s.good()
		s.Garbled()
		s.any(sensors.Garbled)
		s.clock.Forward(2 * time.Second)
		s.good()
	})
	each("a value out of range is a fault, not a clamped value", func(t *testing.T, s *session) {
		if s.OutOfRange == nil {
			return
		}
		s.good()
		s.OutOfRange()
		s.all(sensors.OutOfRange)
		s.clock.Forward(2 * time.Second)
		s.good()
	})
	each("a lost device is a fault of every quantity, and returns", func(t *testing.T, s *session) {
		if s.Gone == nil {
			return
		}
		s.good()
		s.Gone()
		s.all(sensors.Disconnected)
		if s.Back == nil {
			return
		}
		s.clock.Forward(2 * time.Second)
		s.Back()
		s.good()
	})
	each("closing twice, and reading after it, is harmless", func(t *testing.T, s *session) {
		s.good()
		before := s.goroutines()
		if err := s.Driver.Close(); err != nil {
			t.Fatalf("first close: %v", err)
		}
		if err := s.Driver.Close(); err != nil {
			t.Fatalf("second close: %v", err)
		}
		for deadline := time.Now().Add(patience); before > 0 && s.goroutines() >= before; time.Sleep(time.Millisecond) {
			if time.Now().After(deadline) {
				t.Fatal("a goroutine of the driver still runs after it was closed")
			}
		}
		for range 3 {
			s.clock.Forward(s.Silence + time.Millisecond)
			for _, r := range s.read() {
				if r.Status == sensors.OK {
					t.Fatalf("a closed driver reads %+v", r)
				}
			}
		}
	})
}

// session is one check at work.
type session struct {
	Subject
	t     *testing.T
	clock *Clock
	last  time.Duration
}

// goroutines counts those that run a method of the driver.
func (s *session) goroutines() int {
	_, name, _ := strings.Cut(fmt.Sprintf("%T", s.Driver), ".")
	stacks := make([]byte, 1<<20)
	return bytes.Count(stacks[:runtime.Stack(stacks, true)], []byte("(*"+name+").run("))
}

// read reads once and checks what holds for every reading there is.
func (s *session) read() []sensors.Reading {
	s.t.Helper()
	now := s.clock.Now()
	started := time.Now()
	got := s.Driver.Read(now, nil)
	if took := time.Since(started); took > 250*time.Millisecond {
		s.t.Errorf("a read took %v; it must never wait", took)
	}
	for _, r := range got {
		switch {
		case r.Sensor != s.Sensor:
			s.t.Fatalf("reading of sensor %q, want %q", r.Sensor, s.Sensor)
		case r.Status == sensors.OK && (math.IsNaN(r.Value) || math.IsInf(r.Value, 0)):
			s.t.Fatalf("a reading that is OK without a value: %+v", r)
		case r.Status != sensors.OK && !math.IsNaN(r.Value):
			s.t.Fatalf("a fault with a value: %+v", r)
		case r.Status != sensors.OK && r.Text == "":
			s.t.Fatalf("a fault that does not say what happened: %+v", r)
		case r.At > now || r.At < s.last:
			s.t.Fatalf("a reading at %v, after one at %v, read at %v", r.At, s.last, now)
		}
		if _, measured := s.Want[r.Quantity]; !measured {
			s.t.Fatalf("reading of %v, which this device does not measure", r.Quantity)
		}
		s.last = r.At
	}
	return got
}

// good makes the device measure until every quantity was read, and right.
func (s *session) good() {
	s.t.Helper()
	missing := map[sensors.Quantity]bool{}
	for q := range s.Want {
		missing[q] = true
	}
	s.until("a good value of every quantity", s.Good, func(r sensors.Reading) bool {
		if r.Status != sensors.OK {
			return false
		}
		within := s.Within[r.Quantity]
		if within == 0 {
			within = 1e-9 * math.Abs(s.Want[r.Quantity])
		}
		if math.Abs(r.Value-s.Want[r.Quantity]) > within {
			s.t.Fatalf("%v reads %v, want %v ± %v", r.Quantity, r.Value, s.Want[r.Quantity], within)
		}
		delete(missing, r.Quantity)
		return len(missing) == 0
	})
	// What is still on its way would be taken for news of later.
	for quiet := 0; quiet < 10; time.Sleep(2 * time.Millisecond) {
		quiet++
		if len(s.read()) > 0 {
			quiet = 0
		}
	}
}

// all waits for a status of every quantity, any for one of any.
func (s *session) all(status sensors.Status) {
	s.t.Helper()
	missing := map[sensors.Quantity]bool{}
	for q := range s.Want {
		missing[q] = true
	}
	s.until(fmt.Sprintf("%v of every quantity", status), nil, func(r sensors.Reading) bool {
		s.noValue(r)
		if r.Status == status {
			delete(missing, r.Quantity)
		}
		return len(missing) == 0
	})
}

func (s *session) any(status sensors.Status) {
	s.t.Helper()
	s.until(fmt.Sprintf("a %v", status), nil, func(r sensors.Reading) bool {
		s.noValue(r)
		return r.Status == status
	})
}

func (s *session) noValue(r sensors.Reading) {
	s.t.Helper()
	if r.Status == sensors.OK {
		s.t.Fatalf("a value where there is none: %+v", r)
	}
}

// until reads, repeating what it is given to do, until seen says that it has
// seen enough.
func (s *session) until(what string, repeat func(), seen func(sensors.Reading) bool) {
	s.t.Helper()
	var all []sensors.Reading
	for deadline := time.Now().Add(patience); time.Now().Before(deadline); time.Sleep(2 * time.Millisecond) {
		if repeat != nil {
			s.clock.Forward(time.Millisecond)
			repeat()
		}
		got := s.read()
		all = append(all, got...)
		if slices.ContainsFunc(got, seen) {
			return
		}
	}
	s.t.Fatalf("no %s within %v; read was %+v", what, patience, all)
}
