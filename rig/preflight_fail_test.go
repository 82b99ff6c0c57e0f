package rig_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/sensors"
)

// breaking is a simulated bench of which one call fails, or in which somebody gives
// up at one step.
type breaking struct {
	*simbench.Bench
	drives, reads, silences       int
	failDrive, giveUp, failSilent int  // number of the call; 0: none
	blind                         bool // nothing is read
	high                          bool // the chamber reads above its limit
	quit                          context.CancelFunc
	last                          rig.Valves
}

func (b *breaking) Drive(now rig.Instant, want rig.Valves) error {
	b.last = want
	if b.drives++; b.drives == b.failDrive {
		return errors.New("no answer")
	}
	return b.Bench.Drive(now, want)
}

func (b *breaking) Read(now rig.Instant, to []sensors.Reading) []sensors.Reading {
	if b.reads++; b.reads == b.giveUp {
		b.quit()
	}
	from := len(to)
	to = b.Bench.Read(now, to)
	for i := from; b.high && i < len(to); i++ {
		to[i].Value += 1e7
	}
	if b.blind {
		return to[:from]
	}
	return to
}

func (b *breaking) Silence(on bool) error {
	if b.silences++; b.silences == b.failSilent {
		return errors.New("no line")
	}
	return b.Bench.Silence(on)
}

// TestAProofInWhichAnyCallFailsProvesNothing: at each command, each change of the
// heartbeat and each step; and the last that is asked for is the open vent.
func TestAProofInWhichAnyCallFailsProvesNothing(t *testing.T) {
	run := readyRun(t).Run
	p, err := rig.NewPlan(run)
	if err != nil {
		t.Fatal(err)
	}
	start := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
	proofs := map[string]func(context.Context, rig.Devices, rig.Clock) (string, error){
		"vent": func(ctx context.Context, d rig.Devices, c rig.Clock) (string, error) {
			return rig.ProveVent(ctx, d, c, p)
		},
		"watchdog": func(ctx context.Context, d rig.Devices, c rig.Clock) (string, error) {
			return rig.ProveBackstop(ctx, d, c, p, "")
		},
		"watchdog that holds": func(ctx context.Context, d rig.Devices, c rig.Clock) (string, error) {
			return rig.ProveBackstop(ctx, d, c, p, setup.PowerLossHold)
		},
	}
	for name, proof := range proofs {
		try := func(change func(*breaking)) (*breaking, string, error) {
			cfg := simbench.Default(run, 2)
			cfg.Supply.Watchdog = 2 * time.Second
			bench, err := simbench.New(cfg, start)
			if err != nil {
				t.Fatal(err)
			}
			ctx, quit := context.WithCancel(context.Background())
			defer quit()
			b := &breaking{Bench: bench, quit: quit}
			change(b)
			how, err := proof(ctx, b, rig.NewSimClock(start, 0))
			if b.last != (rig.Valves{Vent: true}) {
				t.Errorf("%s: at the end %+v is asked for", name, b.last)
			}
			return b, how, err
		}
		whole, how, err := try(func(*breaking) {})
		if err != nil || how == "" {
			t.Fatalf("%s: %q, %v", name, how, err)
		}
		fails := func(what string, at int, change func(*breaking)) {
			if _, how, err := try(change); err == nil || how != "" {
				t.Errorf("%s, %s %d: %q, %v", name, what, at, how, err)
			}
		}
		for at := 1; at <= whole.drives; at++ {
			fails("command", at, func(b *breaking) { b.failDrive = at })
		}
		for at := 1; at < whole.reads; at++ {
			fails("step", at, func(b *breaking) { b.giveUp = at })
		}
		for at := 1; at <= whole.silences; at++ {
			fails("heartbeat", at, func(b *breaking) { b.failSilent = at })
		}
		fails("no sensor", 0, func(b *breaking) { b.blind = true })
		fails("a puff that is far too much", 0, func(b *breaking) { b.high = true })
	}
}

// readsBack is a bench whose valves are read back: the vent where told, or never so.
type readsBack struct {
	*breaking
	open, stuck bool
}

func (r *readsBack) Drive(now rig.Instant, want rig.Valves) error {
	r.open = want.Vent
	return r.breaking.Drive(now, want)
}

func (r *readsBack) VentOpen() bool { return r.open != r.stuck }

func TestAVentThatIsReadBackIsBelievedWhereNoPressureComes(t *testing.T) {
	run := readyRun(t).Run
	p, err := rig.NewPlan(run)
	if err != nil {
		t.Fatal(err)
	}
	shut, err := simbench.ParseBenchFault("fill valve stuck shut at 0 min")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		stuck    bool
		how, err string
	}{{false, "it reads back open; no pressure came", ""}, {true, "", "was told to shut and reads back open"}} {
		cfg := simbench.Default(run, 2)
		cfg.BenchFaults = append(cfg.BenchFaults, shut)
		start := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
		bench, err := simbench.New(cfg, start)
		if err != nil {
			t.Fatal(err)
		}
		how, err := rig.ProveVent(context.Background(), &readsBack{breaking: &breaking{Bench: bench}, stuck: c.stuck}, rig.NewSimClock(start, 0), p)
		if !strings.Contains(how, c.how) || (how == "") != (c.how == "") || (err == nil) != (c.err == "") || err != nil && !strings.Contains(err.Error(), c.err) {
			t.Errorf("%q, %v; want %q, %q", how, err, c.how, c.err)
		}
	}
}

// TestWhatDoesNotConcernASimulatedBenchIsSaidNotTo: nobody is near it.
func TestWhatDoesNotConcernASimulatedBenchIsSaidNotTo(t *testing.T) {
	b := readyRun(t)
	b.Simulated = true
	for _, c := range rig.Preflight(&b) {
		of := c.ID == "lock" || c.ID == "lock-out" || c.ID == "cautions" || c.ID == "watchdog"
		if of != (c.State == rig.NotApplicable) {
			t.Errorf("%+v", c)
		}
	}
	b = readyRun(t)
	b.Switches = nil
	for _, c := range rig.Preflight(&b) {
		if of := c.ID == "lid" || c.ID == "stop"; of != (c.State == rig.NotApplicable) {
			t.Errorf("%+v", c)
		}
	}
}
