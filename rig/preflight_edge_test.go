package rig

import (
	"context"
	"strings"
	"testing"
	"time"

	"proofpot/rig/setup"
	"proofpot/sensors"
)

// tried is a pot without noise whose every rate is known, for the trial of a
// watchdog relay.
type tried struct {
	clock             *SimClock
	pa                float64
	perPulse          float64       // Pa that a pulse brings
	leak              float64       // Pa/s that it loses with everything shut
	falls             time.Duration // of the relay without a heartbeat; 0: never
	ventS             float64       // Pa/s through the open vent
	regulated, silent bool
	since, at         time.Duration
	valves            Valves
}

func (c *tried) Drive(now Instant, want Valves) error {
	c.valves = want
	if want.Fill && !c.fallen(now.Mono) && (!c.regulated || want.RegulatePa > c.pa) {
		c.pa += c.perPulse
	}
	return nil
}

func (c *tried) fallen(now time.Duration) bool {
	return c.silent && c.falls > 0 && now-c.since >= c.falls
}

func (c *tried) Silence(on bool) error {
	c.silent, c.since = on, c.clock.Now().Mono
	return nil
}

func (c *tried) Read(now Instant, to []sensors.Reading) []sensors.Reading {
	dt := (now.Mono - c.at).Seconds()
	c.at = now.Mono
	rate := c.leak
	if c.valves.Vent || c.fallen(now.Mono) {
		rate += c.ventS
	}
	c.pa = max(c.pa-rate*dt, room+1500) // its zero is 15 mbar off
	return append(to, reading(c.pa, now.Mono)...)
}

func (*tried) Close() error { return nil }

// TestAWatchdogRelayIsTriedByFigures, each edge of what counts as a puff, as a
// chamber that keeps it, and as a valve without power.
func TestAWatchdogRelayIsTriedByFigures(t *testing.T) {
	for name, c := range map[string]struct {
		pot  tried
		hold bool
		err  string // empty: proved
	}{
		"a good one":                        {tried{perPulse: 1000, falls: 2 * time.Second, ventS: 800}, false, ""},
		"behind a regulator":                {tried{perPulse: 1000, falls: 2 * time.Second, ventS: 800, regulated: true}, false, ""},
		"a puff of 22 mbar in 20 s":         {tried{perPulse: 55.01, falls: 2 * time.Second, ventS: 800}, false, ""},
		"a puff that is just too little":    {tried{perPulse: 54.9, falls: 2 * time.Second, ventS: 800}, false, "no pressure came"},
		"it falls after 14 s":               {tried{perPulse: 1000, falls: 14 * time.Second, ventS: 8000}, false, ""},
		"it falls after 16 s":               {tried{perPulse: 1000, falls: 16 * time.Second, ventS: 8000}, false, "the vent was still shut"},
		"there is none, and a slow leak":    {tried{perPulse: 1000, leak: 250}, false, "the vent was still shut"},
		"a leak of half the puff in 15 s":   {tried{perPulse: 1000, leak: 301, falls: time.Second, ventS: 8000}, false, "leaks so"},
		"a vent as slow as a third in 15 s": {tried{perPulse: 1000, falls: 1, ventS: 230}, false, ""},
		"a vent slower than that":           {tried{perPulse: 1000, falls: 1, ventS: 205}, false, "the vent was still shut"},
		"holds, and lets nothing in":        {tried{perPulse: 1000, falls: 2 * time.Second}, true, ""},
		"holds, and there is none":          {tried{perPulse: 1000}, true, "the fill still let"},
		"holds, and falls too late":         {tried{perPulse: 1000, falls: 12 * time.Second}, true, "the fill still let"},
		"holds, and falls in 7 s":           {tried{perPulse: 1000, falls: 7 * time.Second}, true, ""},
	} {
		p := planned(t, nil) // with a noise of 50 Pa: four of it are 200 Pa
		pot, loss := c.pot, ""
		if c.hold {
			loss = setup.PowerLossHold
		}
		pot.clock, pot.pa = NewSimClock(time.Unix(0, 0), 0), room+1500
		how, err := ProveBackstop(context.Background(), &pot, pot.clock, p, loss)
		if (err == nil) != (c.err == "") || (how == "") != (err != nil) || err != nil && !strings.Contains(err.Error(), c.err) {
			t.Errorf("%s: %q, %v", name, how, err)
		}
		if pot.silent || pot.valves != (Valves{Vent: true}) {
			t.Errorf("%s: left with %+v, silent %v", name, pot.valves, pot.silent)
		}
	}
}
