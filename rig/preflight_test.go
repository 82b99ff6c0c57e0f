package rig_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/sensors"
)

// readyRun is a sheet that may be run, and everything about it known.
func readyRun(t *testing.T) rig.Before {
	t.Helper()
	run := setup.Run{Format: 1, Unit: simbench.BuiltInUnit(), Bench: simbench.BuiltInBench()}
	var err error
	if run.Profile, err = profiles.Load("proof-10m-sea"); err != nil {
		t.Fatal(err)
	}
	run.Unit.SealedPa, run.Bench.Heartbeat = run.Bench.RoomPa, &setup.Heartbeat{Chip: "gpiochip0", Line: "GPIO22"}
	p, err := rig.NewPlan(run)
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)
	b := rig.Before{Run: run, Plan: p, Held: true, Acknowledged: true, Now: now, Built: now.AddDate(0, -1, 0), LastRecord: now.Add(-time.Hour),
		FreeBytes: 1e12, FreeKnown: true, VentHow: "it let out 9000 Pa", BackstopHow: "its heartbeat stopped",
		Surveyed: &rig.Surveyed{ChamberPa: run.Bench.RoomPa, RoomPa: run.Bench.RoomPa, RoomFrom: "barometer"}}
	b.Switches = []rig.SwitchProof{
		{Sensor: "lid", Quantity: sensors.LidOpen, Known: true, Operated: now.Add(-time.Hour)},
		{Sensor: "stop", Quantity: sensors.StopOpen, Known: true, Operated: now.Add(-11 * time.Hour)},
	}
	for _, s := range run.Bench.Sensors {
		b.Surveyed.Readings = append(b.Surveyed.Readings, sensors.Reading{Sensor: s.ID, Value: 1})
	}
	return b
}

func TestEverythingTickedIsClear(t *testing.T) {
	b := readyRun(t)
	checks := rig.Preflight(&b)
	for _, c := range checks {
		if c.State != rig.Ticked {
			t.Errorf("%+v", c)
		}
		if c.ID == "" || c.Text == "" {
			t.Errorf("a check without a name: %+v", c)
		}
	}
	if !rig.Clear(checks) || len(checks) != 13 {
		t.Errorf("%d checks, clear %v", len(checks), rig.Clear(checks))
	}
}

func TestEachThingThatIsNotSoHoldsTheRunAndSaysWhy(t *testing.T) {
	now := readyRun(t).Now
	for _, c := range []struct {
		id    string
		state rig.CheckState
		why   string
		harm  func(*rig.Before)
	}{
		{"rating", rig.Failed, "relief_bar_gauge) is not given", func(b *rig.Before) { b.Run.Bench.ReliefPa = 0 }},
		{"target", rig.Failed, "of at most", func(b *rig.Before) { p := *b.Plan; p.LimitPa = p.RoomPa + 1e5; b.Plan = &p }},
		{"target", rig.Waiting, "no plan", func(b *rig.Before) { b.Plan = nil }},
		{"consistent", rig.Failed, "too deep", func(b *rig.Before) { b.Err = errors.New("too deep") }},
		{"lock", rig.Failed, "process 17", func(b *rig.Before) { b.Held, b.HeldBy = false, "process 17 has it" }},
		{"lock-out", rig.Failed, "over-pressure", func(b *rig.Before) { b.LockedOut = "over-pressure" }},
		{"cautions", rig.Waiting, "read them", func(b *rig.Before) { b.Acknowledged = false }},
		{"clock", rig.Failed, "1 January 2025", func(b *rig.Before) {
			b.Now, b.Built, b.LastRecord = time.Date(1970, 1, 1, 0, 0, 9, 0, time.UTC), time.Time{}, time.Time{}
		}},
		{"clock", rig.Failed, "this program was built", func(b *rig.Before) { b.Built = now.Add(time.Hour) }},
		{"clock", rig.Failed, "the end of the last record", func(b *rig.Before) { b.LastRecord = now.Add(2 * time.Minute) }},
		{"disk", rig.Failed, "MB wanted", func(b *rig.Before) { b.FreeBytes = 1e6 }},
		{"disk", rig.Waiting, "not known", func(b *rig.Before) { b.FreeKnown = false }},
		{"sensors", rig.Failed, `sensor "p1" gave nothing`, func(b *rig.Before) { b.Surveyed.Readings = b.Surveyed.Readings[1:] }},
		{"sensors", rig.Failed, "is the vent really open", func(b *rig.Before) { b.SurveyEr = errors.New("is the vent really open?") }},
		{"sensors", rig.Waiting, "not read yet", func(b *rig.Before) { b.Surveyed = nil }},
		{"lid", rig.Failed, "says that it is open", func(b *rig.Before) { b.Switches[0].Open = true }},
		{"lid", rig.Waiting, "operate it once", func(b *rig.Before) { b.Switches[0].Operated = time.Time{} }},
		{"stop", rig.Waiting, "operate it once", func(b *rig.Before) { b.Switches[1].Operated = now.Add(-13 * time.Hour) }},
		{"stop", rig.Waiting, "operate it once", func(b *rig.Before) { b.Switches[1].Operated = now.Add(13 * time.Hour) }},
		{"stop", rig.Waiting, "has said nothing yet", func(b *rig.Before) { b.Switches[1].Known = false }},
		{"watchdog", rig.Waiting, "is tried near the end", func(b *rig.Before) { b.BackstopHow = "" }},
		{"watchdog", rig.Failed, "still shut", func(b *rig.Before) { b.BackstopErr = errors.New("the vent was still shut") }},
		{"watchdog", rig.Failed, "no watchdog relay", func(b *rig.Before) { b.Run.Bench.Heartbeat = nil }},
		{"vent", rig.Failed, "stuck", func(b *rig.Before) { b.VentErr = errors.New("stuck") }},
		{"vent", rig.Waiting, "comes last", func(b *rig.Before) { b.VentHow = "" }},
	} {
		b := readyRun(t)
		c.harm(&b)
		checks := rig.Preflight(&b)
		found := false
		for _, got := range checks {
			if got.ID == c.id {
				found = true
				if got.State != c.state || !strings.Contains(got.Why, c.why) {
					t.Errorf("%s: %s, %q; want %s with %q", c.id, got.State, got.Why, c.state, c.why)
				}
			}
		}
		if !found || rig.Clear(checks) {
			t.Errorf("%s (%s): found %v, clear %v", c.id, c.why, found, rig.Clear(checks))
		}
	}
}

func TestASwitchIsProvedByShutOpenShutAndByNothingLess(t *testing.T) {
	wall := time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		seen   string // o open, s shut, x no value
		proved bool
	}{{"s", false}, {"so", false}, {"os", false}, {"sos", true}, {"soos", true}, {"oos", false}, {"soxs", false}, {"xsos", true}, {"sosx", true}} {
		p := rig.SwitchProof{Sensor: "l1", Quantity: sensors.LidOpen}
		p.See(&sensors.Reading{Sensor: "other", Quantity: sensors.LidOpen, Value: 1}, wall)
		for _, r := range c.seen {
			reading := sensors.Reading{Sensor: "l1", Quantity: sensors.LidOpen}
			switch r {
			case 'o':
				reading.Value = 1
			case 'x':
				reading.Status = sensors.Disconnected
			}
			p.See(&reading, wall)
		}
		if p.Operated.IsZero() == c.proved {
			t.Errorf("%s: proved %v", c.seen, !c.proved)
		}
	}
}

// broken is a simulated bench with a fault; "" for none.
func broken(t *testing.T, cfg simbench.Config, fault string, start time.Time) *simbench.Bench {
	t.Helper()
	if fault != "" {
		f, err := simbench.ParseBenchFault(fault)
		if err != nil {
			t.Fatal(err)
		}
		cfg.BenchFaults = append(cfg.BenchFaults, f)
	}
	bench, err := simbench.New(cfg, start)
	if err != nil {
		t.Fatal(err)
	}
	return bench
}

func TestTheVentIsProvedByLettingAPuffOut(t *testing.T) {
	for _, c := range []struct{ fault, how, err string }{
		{"", "it let out", ""},
		{"vent valve stuck shut", "", "are still there after"},
		{"fill valve stuck shut at 0 min", "", "no pressure came within"},
		{"drive fails at 0 min", "", "no answer from the relays"},
	} {
		run := readyRun(t).Run
		start := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
		bench := broken(t, simbench.Default(run, 1), c.fault, start)
		p, err := rig.NewPlan(run)
		if err != nil {
			t.Fatal(err)
		}
		how, err := rig.ProveVent(context.Background(), bench, rig.NewSimClock(start, 0), p)
		t.Logf("%q: %s, %v", c.fault, how, err)
		if !strings.Contains(how, c.how) || (how == "") != (c.how == "") || (err == nil) != (c.err == "") || err != nil && !strings.Contains(err.Error(), c.err) {
			t.Errorf("%q: %q, %v", c.fault, how, err)
		}
	}
}

// TestTheWatchdogRelayIsSeenToTakeTheValvesPower: its heartbeat is stopped, and
// only a bench whose valves lose their power by that goes on.
func TestTheWatchdogRelayIsSeenToTakeTheValvesPower(t *testing.T) {
	for _, c := range []struct {
		name     string
		relay    time.Duration // in which it falls; 0: there is none
		loss     string
		fault    string
		how, err string
	}{
		{"it falls", 2 * time.Second, "", "", "the vent was letting the puff out", ""},
		{"it falls late", 6 * time.Second, "", "", "the vent was letting the puff out", ""},
		{"there is none", 0, "", "", "", "the vent was still shut: the watchdog relay does not take"},
		{"a bench that holds", 2 * time.Second, setup.PowerLossHold, "", "the fill let nothing in any more", ""},
		{"a bench that holds, and there is none", 0, setup.PowerLossHold, "", "", "the fill still let"},
		{"a vent that is stuck", 2 * time.Second, "", "vent valve stuck shut", "", "the vent was still shut"},
		{"a supply that is shut", 2 * time.Second, "", "fill valve stuck shut at 0 min", "", "is the supply open?"},
		{"a vent that passes", 2 * time.Second, "", "vent valve stuck open", "", "no pressure came within"},
		{"a chamber that leaks", 0, "", "bench leaks, 60000 ml/h", "", "on a chamber that leaks so"},
		{"relays that do not answer", 2 * time.Second, "", "drive fails at 0 min", "", "no answer from the relays"},
	} {
		run := readyRun(t).Run
		cfg := simbench.Default(run, 2)
		cfg.Supply.Watchdog = c.relay
		start := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
		bench := broken(t, cfg, c.fault, start)
		p, err := rig.NewPlan(run)
		if err != nil {
			t.Fatal(err)
		}
		clock := rig.NewSimClock(start, 0)
		how, err := rig.ProveBackstop(context.Background(), bench, clock, p, c.loss)
		t.Logf("%s: %s, %v, after %s", c.name, how, err, clock.Now().Mono)
		if !strings.Contains(how, c.how) || (how == "") != (c.how == "") || (err == nil) != (c.err == "") || err != nil && !strings.Contains(err.Error(), c.err) {
			t.Errorf("%s: %q, %v", c.name, how, err)
		}
		if c.err == "" { // the relay has picked up again: the vent is proved next
			if how, err := rig.ProveVent(context.Background(), bench, clock, p); err != nil || !strings.Contains(how, "it let out") {
				t.Errorf("%s: and then the vent: %q, %v", c.name, how, err)
			}
		}
	}
	run := readyRun(t).Run
	p, err := rig.NewPlan(run)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := rig.ProveBackstop(context.Background(), noBeat{}, rig.NewSimClock(time.Time{}, 0), p, ""); !errors.Is(err, rig.ErrDevice) {
		t.Errorf("a bench whose heartbeat cannot be stopped: %v", err)
	}
}

// noBeat is a bench that has no heartbeat to stop.
type noBeat struct{ rig.Devices }

// TestWithoutAWatchdogRelayThereIsAnotherWayOrNoRun: the check by name, and the
// lower limit of a bench on which a person shuts the supply.
func TestWithoutAWatchdogRelayThereIsAnotherWayOrNoRun(t *testing.T) {
	fill := setup.Valve{ID: setup.FillValve, PulseText: "PULSE 1 {ms}\r\n"}
	for name, c := range map[string]struct {
		bench func(*setup.Bench)
		state rig.CheckState
		why   string
	}{
		"a board that ends its pulses": {func(b *setup.Bench) { b.Valves = []setup.Valve{fill} }, rig.Ticked, "ends each opening"},
		"a person":                     {func(b *setup.Bench) { b.Attended = true }, rig.Ticked, "a person at the supply's cock"},
		"nobody":                       {func(*setup.Bench) {}, rig.Failed, "attended = true"},
		"by hand":                      {func(b *setup.Bench) { b.HandOperated = true }, rig.NotApplicable, "stands still"},
	} {
		b := readyRun(t)
		b.Run.Bench.Heartbeat = nil
		c.bench(&b.Run.Bench)
		for _, got := range rig.Preflight(&b) {
			if got.ID == "watchdog" && (got.State != c.state || !strings.Contains(got.Why, c.why)) {
				t.Errorf("%s: %+v", name, got)
			}
		}
	}
	run := readyRun(t).Run
	with, err := rig.NewPlan(run)
	if err != nil {
		t.Fatal(err)
	}
	run.Bench.Heartbeat, run.Bench.Attended = nil, true
	lower, err := rig.NewPlan(run)
	if err != nil {
		t.Fatal(err)
	}
	fastest := 0.0
	for _, l := range lower.Legs {
		fastest = max(fastest, l.RatePaS)
	}
	if got, want := with.LimitPa-lower.LimitPa, 30*fastest; got < want-1e-6 || got > want+1e-6 || want < 1e4 {
		t.Errorf("the limit lies %.0f Pa lower, want %.0f Pa", got, want)
	}
	deepest := 0.0
	for _, l := range lower.Legs {
		deepest = max(deepest, l.TargetPa)
	}
	run.Bench.ReliefPa = run.Bench.RoomPa + (deepest-run.Bench.RoomPa)*1.05/0.9
	run.Bench.RatedPa = run.Bench.ReliefPa
	if _, err := rig.NewPlan(run); err == nil || !strings.Contains(err.Error(), "a person needs 30s to shut the supply") {
		t.Errorf("a target just below the limit of a bench without a watchdog relay: %v", err)
	}
	run.Bench.Attended, run.Bench.Heartbeat = false, &setup.Heartbeat{}
	if _, err := rig.NewPlan(run); err != nil {
		t.Errorf("with one: %v", err)
	}
}
