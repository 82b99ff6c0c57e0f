package rig

import (
	"context"
	"time"
)

// RealClock is the clock of a real bench.
type RealClock struct{ start time.Time }

// NewRealClock starts at zero now.
func NewRealClock() *RealClock { return &RealClock{time.Now()} }

// Now implements Clock.
func (c *RealClock) Now() Instant {
	mono := time.Since(c.start)
	return Instant{Mono: mono, Wall: c.start.Add(mono).UTC()}
}

// WaitUntil implements Clock.
func (c *RealClock) WaitUntil(ctx context.Context, t time.Duration) {
	d := t - time.Since(c.start)
	if d <= 0 {
		return
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-ctx.Done():
	}
}

// SimClock is the clock of a simulated bench: it stands still until it is
// waited for, and then jumps. With a pace it takes its time.
type SimClock struct {
	start time.Time
	now   time.Duration
	// Pace is simulated seconds per real second; 0: as fast as it goes.
	pace float64
}

// NewSimClock starts at zero, which is start by the wall clock.
func NewSimClock(start time.Time, pace float64) *SimClock {
	return &SimClock{start: start.UTC(), pace: pace}
}

// Now implements Clock.
func (c *SimClock) Now() Instant { return Instant{Mono: c.now, Wall: c.start.Add(c.now)} }

// WaitUntil implements Clock.
func (c *SimClock) WaitUntil(ctx context.Context, t time.Duration) {
	if t <= c.now {
		return
	}
	if c.pace > 0 {
		timer := time.NewTimer(time.Duration(float64(t-c.now) / c.pace))
		defer timer.Stop()
		select {
		case <-timer.C:
		case <-ctx.Done():
		}
	}
	c.now = t
}
