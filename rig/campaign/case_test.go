package campaign

import (
	"context"
	"errors"
	"fmt"
	"hash"
	"hash/fnv"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"time"

	"proofpot/profiles"
	"proofpot/rig"
	"proofpot/rig/record"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/sensors"
)

// Faults of the world around the bench, beside those of the simulated bench.
const (
	diskFull    = "disk full"
	killed      = "killed process"
	clockAhead  = "clock jumps ahead"
	clockBehind = "clock jumps back"
	aborted     = "operator stops"
)

// scenario is one run with one thing wrong. All of it follows from its seed.
type scenario struct {
	profile string
	byHand  bool
	whole   bool   // the profile's own times, not the short ones
	stage   string // kind of stage, and phase in it
	fault   string // kind
	from    time.Duration
	bench   uint64 // seed of the bench's own figures
	seed    uint64
}

func (s scenario) String() string {
	how := "valves"
	if s.byHand {
		how = "by hand"
	}
	return fmt.Sprintf("%s, %s, %s, %s at %s, seed %d", s.profile, how, s.stage, s.fault, s.from, s.seed)
}

// outcome is what came of it.
type outcome struct {
	overPa   float64       // highest true pressure above the limit; negative: below it
	perStep  float64       // Pa that one period of the supply brings
	limitPa  float64       // gauge
	toSafe   time.Duration // from the decision to end until both valves were told so
	noticed  time.Duration // from the fault's beginning until the run was ended by it; −1: it was not
	stopped  rig.Stop
	unsafe   string // what was unsafe, in words
	lost     int    // readings that the core saw and the record has not, but for those a kill or a full disk takes
	taken    int    // readings that a kill or a full disk took with it
	refused  string // why a run that was killed did not go on
	commands uint64 // hash of all commands
	simS     float64
}

// clock is a simulated clock whose wall time may jump, and which may wake up late.
type clock struct {
	*rig.SimClock
	at, by time.Duration
	late   *rand.Rand // nil: on the dot
}

func (c clock) WaitUntil(ctx context.Context, t time.Duration) {
	if c.late != nil {
		t += time.Duration(c.late.ExpFloat64() * float64(2*time.Millisecond))
		if c.late.IntN(500) == 0 { // and now and then by whole steps
			t += time.Duration(c.late.IntN(900)) * time.Millisecond
		}
	}
	c.SimClock.WaitUntil(ctx, t)
}

func (c clock) Now() rig.Instant {
	n := c.SimClock.Now()
	if c.by != 0 && n.Mono >= c.at {
		n.Wall = n.Wall.Add(c.by)
	}
	return n
}

// Longest times of a shortened profile, s: longer than any protection looks back
// at, but for those that count in parts of the whole.
const (
	shortHoldS   = 120
	shortSettleS = 60
	shortCycles  = 2
)

// shorten leaves a profile its stages, depths and ramps, and takes from its waits.
func shorten(p *profiles.Profile) {
	for i := range p.Stages {
		s := &p.Stages[i]
		s.HoldS, s.SettleS, s.SettleMaxS = min(s.HoldS, shortHoldS), min(s.SettleS, shortSettleS), min(s.SettleMaxS, 4*shortSettleS)
		s.LowHoldS, s.Cycles = min(s.LowHoldS, shortSettleS), min(s.Cycles, shortCycles)
		for j := range s.Pauses {
			s.Pauses[j].HoldS = min(s.Pauses[j].HoldS, shortSettleS)
		}
	}
}

// sheet is the built-in bench with all that protects.
func sheet(sc *scenario) (setup.Run, error) {
	p, err := profiles.Load(sc.profile)
	if err != nil {
		return setup.Run{}, err
	}
	if !sc.whole {
		shorten(&p)
	}
	run := setup.Run{Format: setup.RunFormat, Profile: p, Bench: simbench.BuiltInBench(), Unit: simbench.BuiltInUnit()}
	run.Bench.HandOperated = sc.byHand
	// Just strong enough, so that the limit lies close above the deepest target.
	seen, err := rig.Foresee(run)
	if err != nil {
		return run, err
	}
	if gauge := seen.PeakPa - run.Bench.RoomPa; gauge > 0.5e5 && !slices.ContainsFunc(p.Stages, func(s profiles.Stage) bool { return s.Kind == profiles.KindSearch }) {
		more := 1.02
		if sc.byHand {
			more = 1.1 // a hand pumps further beyond a target than that
		}
		run.Bench.ReliefPa = run.Bench.RoomPa + more*gauge/0.9
		run.Bench.RatedPa = run.Bench.ReliefPa + 0.1*gauge
	}
	add := func(id string, q sensors.Quantity) {
		run.Bench.Sensors = append(run.Bench.Sensors, setup.Sensor{ID: id, Measures: q.String(), NoisePa: 40, AccuracyPa: 300, Driver: simbench.Driver})
	}
	add("p2", sensors.ChamberPressure)
	add("lid", sensors.LidOpen)
	add("stop", sensors.StopOpen)
	add("float", sensors.FloatOpen)
	return run, nil
}

// regulated tells whether the bench has a regulator that follows.
func (s *scenario) regulated() bool { return strings.HasPrefix(s.fault, "regulator") }

// trial is a scenario under way.
type trial struct {
	scenario
	roll  *rand.Rand
	run   setup.Run
	plan  *rig.Plan
	bench *simbench.Bench
	clock clock
	start time.Time
	file  *file
	hash  hash.Hash64

	out    outcome
	saw    int // readings of the chamber's pressure
	ended  time.Duration
	before float64
	stand  rig.Valves // as they were told last
	kill   bool       // at its time
}

// play runs a scenario.
func play(sc scenario) outcome {
	t := &trial{scenario: sc, roll: rand.New(rand.NewPCG(sc.seed, 11)), hash: fnv.New64a(), ended: -1,
		start: time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC), out: outcome{noticed: -1}}
	err := t.prepare()
	switch {
	case err != nil:
	case sc.fault == killed:
		err = t.playKilled()
	default:
		err = t.playOut()
	}
	if err != nil {
		t.out.unsafe = err.Error()
		return t.out
	}
	t.judge()
	return t.out
}

// What shuts a fill that stands open when nobody drives it any more, by the
// environment's PROOFPOT_BACKSTOP: the watchdog relay, which a bench file is asked
// for; relays that end each pulse by themselves; or nothing, as on a bench where a
// person has to.
const (
	withRelay   = ""
	withPulses  = "pulses"
	withNothing = "none"
	relayFalls  = 2 * time.Second
)

var backstop = os.Getenv("PROOFPOT_BACKSTOP")

// worstWithin is how long a process that is killed in a ramp may wait for the worst
// moment, with the fill open.
const worstWithin = time.Minute

// prepare builds the bench with what is wrong.
func (t *trial) prepare() (err error) {
	if t.run, err = sheet(&t.scenario); err != nil {
		return err
	}
	if t.plan, err = rig.NewPlan(t.run); err != nil {
		return err
	}
	t.out.limitPa = t.plan.LimitPa - t.plan.RoomPa
	cfg := simbench.Default(t.run, t.scenario.bench)
	switch backstop {
	case withNothing:
	case withPulses:
		cfg.Supply.OwnPulses = true
	default:
		cfg.Supply.Watchdog = relayFalls
	}
	t.clock = clock{SimClock: rig.NewSimClock(t.start, 0), at: t.from}
	switch t.fault {
	case "", diskFull, aborted:
	case killed:
		t.kill = true
		t.clock.late = rand.New(rand.NewPCG(t.seed, 13))
	case clockAhead:
		t.clock.by = time.Duration(t.roll.IntN(48)) * time.Hour
	case clockBehind:
		t.clock.by = -time.Duration(t.roll.IntN(48)) * time.Hour
	default:
		f, err := benchFault(t.scenario, t.roll)
		if err != nil {
			return err
		}
		if f.At >= 0 {
			cfg.BenchFaults = append(cfg.BenchFaults, f)
		}
		if t.regulated() {
			cfg.Supply.Regulator, t.plan.Regulator = true, true
			cfg.Supply.FillSonic *= 20 // no needle behind a regulator
		}
	}
	t.bench, err = simbench.New(cfg, t.start)
	return err
}

// loop is a loop over the trial's bench.
func (t *trial) loop(to rig.Recorder) *rig.Loop {
	return &rig.Loop{Plan: t.plan, Devices: t.bench, Clock: t.clock, Recorder: to, SyncEvery: time.Hour, Observe: t.see,
		Operator: func() rig.Operator {
			now := t.clock.SimClock.Now().Mono
			return rig.Operator{Ready: t.bench.Answered(), Abort: t.fault == aborted && now >= t.from}
		}}
}

// playOut runs it to its end.
func (t *trial) playOut() error {
	t.file = newFile()
	w := record.NewWriter(t.file, t.start)
	w.Wait = true
	w.Run(0, "start", "campaign")
	var to rig.Recorder = w
	if t.fault == diskFull {
		to = prompt{w}
	}
	err := t.loop(to).Run(context.Background())
	_ = w.Close() // a full disk fails here again
	h := <-t.file.held
	if err != nil && !errors.Is(err, rig.ErrDevice) {
		return err
	}
	if h.broken != "" {
		t.out.unsafe = h.broken
	}
	if t.out.lost = t.saw - h.pressures; t.fault == diskFull {
		t.out.lost, t.out.taken = 0, t.out.lost
	}
	return nil
}

// see looks at each step.
func (t *trial) see(now rig.Instant, s *rig.State, o *rig.Output, rs []sensors.Reading) {
	for i := range rs {
		if rs[i].Quantity == sensors.ChamberPressure && rs[i].Status == sensors.OK {
			t.saw++
		}
	}
	truth := t.bench.Truth()
	if t.before > 0 {
		t.out.perStep = max(t.out.perStep, truth.ChamberPa-t.before)
	}
	t.before, t.stand = truth.ChamberPa, o.Valves
	fmt.Fprintf(t.hash, "%d%v%v%d%v;", now.Mono, o.Valves, s.Phase, s.Leg, o.Prompt)
	if s.Stopped != rig.NotStopped && t.ended < 0 {
		t.ended = now.Mono
		if t.out.stopped = s.Stopped; t.fault != "" && now.Mono >= t.from {
			t.out.noticed = now.Mono - t.from
		}
	}
	safe := o.Valves.Vent && !o.Valves.Fill
	if t.byHand {
		safe = o.Prompt.Kind == rig.VentAll || o.Prompt.Kind == rig.LetIn || s.Phase == rig.Done
	}
	if t.ended >= 0 && !safe {
		t.out.toSafe = now.Mono - t.ended + t.plan.Period
	}
	if o.OpenSafe && truth.ChamberPa-truth.RoomPa > 5e3 {
		t.out.unsafe = fmt.Sprintf("said to be safe to open at %.0f Pa gauge", truth.ChamberPa-truth.RoomPa)
	}
	if o.Valves.Fill && o.Valves.Vent {
		t.out.unsafe = "fill and vent open together"
	}
	if now.Mono < t.from {
		return
	}
	if t.fault == diskFull && t.file.most == 0 {
		t.file.fill(t.roll.IntN(4096))
	}
	if t.kill && (t.byHand || o.Valves.Fill || s.Phase != rig.Ramp || now.Mono > t.from+worstWithin) {
		t.kill = false
		panic(errKilled)
	}
}

// judge looks at the whole.
func (t *trial) judge() {
	out := &t.out
	out.simS = t.clock.SimClock.Now().Mono.Seconds()
	out.overPa = t.bench.Truth().PeakPa - t.plan.LimitPa
	out.commands = t.hash.Sum64()
	if out.overPa > max(0.02*out.limitPa, out.perStep) {
		out.unsafe = fmt.Sprintf("%.0f Pa above the limit", out.overPa)
	}
	if out.toSafe > t.plan.Period {
		out.unsafe = fmt.Sprintf("%s until it was safe", out.toSafe)
	}
}

// benchFault is a fault of its kind, half of them for a while, half to the end.
func benchFault(sc scenario, roll *rand.Rand) (b simbench.BenchFault, err error) {
	for _, k := range simbench.BenchFaultKinds() {
		if k.Kind.String() != sc.fault {
			continue
		}
		if b, err = simbench.ParseBenchFault(k.Kind.String()); err != nil {
			return b, err
		}
		b.At = sc.from
		if roll.IntN(2) == 0 {
			b.For = time.Duration(1+roll.IntN(180)) * time.Second
		}
		return b, nil
	}
	return b, fmt.Errorf("no fault %q", sc.fault)
}
