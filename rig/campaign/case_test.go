package campaign

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
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
	stage   string // kind of stage, and phase in it
	fault   string // kind
	from    time.Duration
	seed    uint64
}

func (s scenario) String() string {
	return fmt.Sprintf("%s, %s, %s at %s, seed %d", s.profile, s.stage, s.fault, s.from, s.seed)
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
	commands uint64 // hash of all commands
	simS     float64
}

// file is a record in memory whose disk may be full.
type file struct {
	sync.Mutex
	bytes.Buffer
	most int // bytes; 0: no end
}

var errFull = errors.New("no space left on device")

func (f *file) Write(p []byte) (int, error) {
	f.Lock()
	defer f.Unlock()
	if f.most > 0 && f.Len()+len(p) > f.most {
		n, _ := f.Buffer.Write(p[:max(0, f.most-f.Len())])
		return n, errFull
	}
	return f.Buffer.Write(p)
}
func (f *file) Sync() error  { return nil }
func (f *file) Close() error { return nil }

// clock is a simulated clock whose wall time may jump.
type clock struct {
	*rig.SimClock
	at, by time.Duration
}

func (c clock) Now() rig.Instant {
	n := c.SimClock.Now()
	if c.by != 0 && n.Mono >= c.at {
		n.Wall = n.Wall.Add(c.by)
	}
	return n
}

// sheet is the built-in bench with all that protects, strong enough for a profile.
func sheet(t testing.TB, profile string) setup.Run {
	p, err := profiles.Load(profile)
	if err != nil {
		t.Fatal(err)
	}
	run := setup.Run{Format: setup.RunFormat, Profile: p, Bench: simbench.BuiltInBench(), Unit: simbench.BuiltInUnit()}
	if p.DeepestM() > 75 {
		run.Bench.RatedPa, run.Bench.ReliefPa = run.Bench.RoomPa+22e5, run.Bench.RoomPa+20e5
	}
	add := func(id string, q sensors.Quantity) {
		run.Bench.Sensors = append(run.Bench.Sensors, setup.Sensor{ID: id, Measures: q.String(), NoisePa: 40, AccuracyPa: 300, Driver: simbench.Driver})
	}
	add("p2", sensors.ChamberPressure)
	add("lid", sensors.LidOpen)
	add("stop", sensors.StopOpen)
	add("float", sensors.FloatOpen)
	return run
}

// play runs a scenario.
func play(t testing.TB, sc scenario) outcome {
	run := sheet(t, sc.profile)
	plan, err := rig.NewPlan(run)
	if err != nil {
		t.Fatalf("%s: %v", sc, err)
	}
	cfg := simbench.Default(run, sc.seed)
	start := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
	roll := rand.New(rand.NewPCG(sc.seed, 11))
	f := &file{}
	c := clock{SimClock: rig.NewSimClock(start, 0), at: sc.from}
	switch sc.fault {
	case "":
	case diskFull:
		f.most = 2000 + roll.IntN(200_000)
	case killed, aborted:
	case clockAhead:
		c.by = time.Duration(roll.IntN(48)) * time.Hour
	case clockBehind:
		c.by = -time.Duration(roll.IntN(48)) * time.Hour
	default:
		cfg.BenchFaults = append(cfg.BenchFaults, benchFault(t, sc, roll))
		if strings.HasPrefix(sc.fault, "regulator") {
			cfg.Supply.Regulator, plan.Regulator = true, true
			cfg.Supply.FillSonic *= 20 // no needle behind a regulator
		}
	}
	b, err := simbench.New(cfg, start)
	if err != nil {
		t.Fatalf("%s: %v", sc, err)
	}
	w := record.NewWriter(f, start)
	w.Run(0, "start", "campaign")
	out := outcome{noticed: -1, limitPa: plan.LimitPa - plan.RoomPa, perStep: 0}
	hash := fnv.New64a()
	saw, ended, before := 0, time.Duration(-1), 0.0
	loop := &rig.Loop{Plan: plan, Devices: b, Clock: c, Recorder: w, SyncEvery: time.Hour,
		Operator: func() rig.Operator {
			now := c.SimClock.Now().Mono
			return rig.Operator{Ready: b.Answered(), Abort: sc.fault == aborted && now >= sc.from}
		},
		Observe: func(now rig.Instant, s *rig.State, o *rig.Output, rs []sensors.Reading) {
			for i := range rs {
				if rs[i].Quantity == sensors.ChamberPressure && rs[i].Status == sensors.OK {
					saw++
				}
			}
			truth := b.Truth()
			out.perStep = max(out.perStep, truth.ChamberPa-before)
			before = truth.ChamberPa
			fmt.Fprintf(hash, "%d%v%v%d;", now.Mono, o.Valves, s.Phase, s.Leg)
			if s.Stopped != rig.NotStopped && ended < 0 {
				ended = now.Mono
				if out.stopped = s.Stopped; sc.fault != "" && sc.fault != diskFull && now.Mono >= sc.from {
					out.noticed = now.Mono - sc.from
				}
			}
			if ended >= 0 && !(o.Valves.Vent && !o.Valves.Fill) {
				out.toSafe = now.Mono - ended + plan.Period
			}
			if o.OpenSafe && truth.ChamberPa-truth.RoomPa > 5e3 {
				out.unsafe = fmt.Sprintf("said to be safe to open at %.0f Pa gauge", truth.ChamberPa-truth.RoomPa)
			}
			if o.Valves.Fill && o.Valves.Vent {
				out.unsafe = "fill and vent open together"
			}
		}}
	err = loop.Run(context.Background())
	if err != nil && !errors.Is(err, rig.ErrDevice) {
		t.Fatalf("%s: %v", sc, err)
	}
	_ = w.Close() // a full disk fails here again
	out.simS = c.SimClock.Now().Mono.Seconds()
	out.overPa = b.Truth().PeakPa - plan.LimitPa
	out.commands = hash.Sum64()
	if out.overPa > max(0.02*out.limitPa, out.perStep) {
		out.unsafe = fmt.Sprintf("%.0f Pa above the limit", out.overPa)
	}
	if out.toSafe > plan.Period {
		out.unsafe = fmt.Sprintf("%s until it was safe", out.toSafe)
	}
	out.lost, out.unsafe = recorded(sc, f, saw, roll, &out)
	return out
}

// recorded looks for all that was read in what the record holds. What a kill at
// any byte leaves must be whole as far as it goes.
func recorded(sc scenario, f *file, saw int, roll *rand.Rand, out *outcome) (lost int, unsafe string) {
	data := f.Bytes()
	if sc.fault == killed {
		data = data[:roll.IntN(len(data)+1)]
	}
	r := record.NewReader(bytes.NewReader(data))
	has := 0
	var l record.Line
	for {
		err := r.Next(&l)
		if err == io.EOF {
			break
		}
		if err != nil {
			return saw, "the record cannot be read: " + err.Error()
		}
		if l.Measurement == record.Chamber && !math.IsNaN(l.PressurePa) {
			has++
		}
	}
	if i := r.Integrity(); len(data) > 0 && i.Chained && !i.Intact {
		return saw - has, "the record is not intact"
	}
	if sc.fault == killed || sc.fault == diskFull {
		out.taken = saw - has
		return 0, out.unsafe
	}
	return saw - has, out.unsafe
}

// benchFault is a fault of its kind, half of them for a while, half to the end.
func benchFault(t testing.TB, sc scenario, roll *rand.Rand) simbench.BenchFault {
	for _, k := range simbench.BenchFaultKinds() {
		if k.Kind.String() != sc.fault {
			continue
		}
		b, err := simbench.ParseBenchFault(k.Kind.String())
		if err != nil {
			t.Fatal(err)
		}
		b.At = sc.from
		if roll.IntN(2) == 0 {
			b.For = time.Duration(1+roll.IntN(180)) * time.Second
		}
		return b
	}
	t.Fatalf("no fault %q", sc.fault)
	return simbench.BenchFault{}
}
