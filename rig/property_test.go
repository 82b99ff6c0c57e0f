package rig

import (
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"

	"proofpot/profiles"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

// benches are plans of every way in which the core drives a bench.
func benches(t testing.TB) []*Plan {
	guarded := func(r *setup.Run) {
		r.Bench.Sensors = append(r.Bench.Sensors,
			setup.Sensor{ID: "p2", Measures: "chamber pressure", AccuracyPa: 500},
			setup.Sensor{ID: "lid", Measures: "lid switch"}, setup.Sensor{ID: "stop", Measures: "emergency stop"},
			setup.Sensor{ID: "float", Measures: "float switch"}, setup.Sensor{ID: "u2", Measures: "inside temperature"})
	}
	all := []*Plan{
		planned(t, nil),
		planned(t, func(r *setup.Run) { r.Bench.HandOperated = true }),
		planned(t, guarded),
		planned(t, func(r *setup.Run) { guarded(r); r.Unit.Cells = setup.CellsInside }),
		planned(t, func(r *setup.Run) {
			r.Profile.Stages = []profiles.Stage{{Name: "kept up", DepthM: 20, SettleS: 20, HoldS: 300, MakeUp: true}}
		}),
		planned(t, func(r *setup.Run) { r.Bench.PeriodMS = 20 }),
		planned(t, vacuumFirst),
	}
	regulated := planned(t, nil)
	regulated.Regulator = true
	return append(all, regulated)
}

// weather brings random readings, faults, commands and clocks to a core. What a
// chamber would do is behind them, most of the time, so that every phase is seen.
type weather struct {
	*rand.Rand
	pa, inside float64
	calm       bool // a spell without faults, so that a run gets on
	spell      int
}

func (w *weather) input(p *Plan, now time.Duration, v Valves, to []sensors.Reading) Input {
	if w.spell--; w.spell < 0 {
		w.spell, w.calm = w.IntN(600), w.IntN(4) > 0
	}
	d := min(p.Period, max(v.Pulse, 0))
	if v.Pulse == 0 {
		d = p.Period
	}
	if v.Fill {
		w.pa += 9000 * d.Seconds()
	}
	if v.Vent {
		w.pa = max(room, w.pa-30000*d.Seconds())
	}
	if p.Hand {
		w.pa = max(room, w.pa+float64(w.IntN(9000)-4000))
	}
	ok := func(id string, q sensors.Quantity, x float64) {
		to = append(to, sensors.Reading{Sensor: id, Quantity: q, Value: x, At: now})
	}
	in := Input{Now: now}
	roll := w.IntN(1000)
	if w.calm {
		roll = max(roll, 20)
	}
	switch {
	case roll < 3: // nothing
	case roll < 5:
		to = append(to, sensors.Fault("p1", sensors.ChamberPressure, sensors.Garbled, now, "x"))
	case roll < 7:
		w.pa = w.Float64() * 2e6
		ok("p1", sensors.ChamberPressure, w.pa)
	case roll < 9:
		ok("p1", sensors.ChamberPressure, w.Float64()*2e6) // a spike
	default:
		ok("p1", sensors.ChamberPressure, w.pa+50*w.NormFloat64())
	}
	if p.Twin != "" && roll != 10 {
		ok("p2", sensors.ChamberPressure, w.pa+50*w.NormFloat64()+map[bool]float64{true: 2e4}[roll == 11])
	}
	ok("lid", sensors.LidOpen, oneIf(roll == 12))
	ok("stop", sensors.StopOpen, oneIf(roll == 13))
	ok("float", sensors.FloatOpen, oneIf(roll == 14))
	ok("u1", sensors.UnitPressure, w.inside)
	ok("u2", sensors.UnitTemperature, 15+map[bool]float64{true: 60}[roll == 15 || !w.calm && w.IntN(400) == 0])
	if roll == 16 {
		ok("w1", sensors.ProbeWet, 1)
	}
	in.Readings = to
	if op := w.IntN(3000); op < 40 || op > 2500 {
		in.Operator = Operator{Abort: op == 0, Pause: op == 1, Resume: op > 2900 || op < 20, Skip: op == 3 || op == 4, Failed: op == 5,
			Ready: op > 2600, AcknowledgeLockout: op == 6}
	}
	if !w.calm && w.IntN(20000) == 0 {
		in.Broken = "disk full"
	}
	if !w.calm && w.IntN(20000) == 0 {
		in.NoValve = "no answer"
	}
	return in
}

// late is how much later than its period a step comes.
func (w *weather) late() time.Duration {
	if w.IntN(200) != 0 {
		return 0
	}
	return time.Duration(w.IntN(5000)) * time.Millisecond
}

func oneIf(x bool) float64 {
	if x {
		return 1
	}
	return 0
}

// TestWhateverComesTheCoreIsSafe: at each of a million steps of random readings,
// faults, commands and clocks (a hundred million with PROOFPOT_STEPS=100000000)
// what must never be otherwise; and the same inputs give the same commands.
func TestWhateverComesTheCoreIsSafe(t *testing.T) {
	steps := 1_100_000
	if n, err := strconv.Atoi(os.Getenv("PROOFPOT_STEPS")); err == nil {
		steps = n
	}
	plans := benches(t)
	const checks = 100 // of rapid, unless it is told otherwise
	taken, phases := 0, [Done + 1]int{}
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64().Draw(t, "seed")
		p := plans[rapid.IntRange(0, len(plans)-1).Draw(t, "bench")]
		for done := 0; done < steps/checks; {
			n := run(t, p, seed, steps/checks-done, &phases)
			done += n
			taken += n
			seed++
		}
	})
	t.Logf("%d steps; by phase %v", taken, phases)
	for phase, n := range phases {
		if n == 0 {
			t.Errorf("no step in phase %s", Phase(phase))
		}
	}
}

// run goes through one run, or so many steps of it, twice.
func run(t *rapid.T, p *Plan, seed uint64, most int, phases *[Done + 1]int) (steps int) {
	w := &weather{Rand: rand.New(rand.NewPCG(seed, 7)), pa: room, inside: room}
	again := &weather{Rand: rand.New(rand.NewPCG(seed, 7)), pa: room, inside: room}
	var s, s2 State
	if seed%8 == 0 {
		s.Locked = OverPressure
		s2.Locked = OverPressure
	}
	var v Valves
	var now time.Duration
	var buffer, buffer2 [16]sensors.Reading
	for ; steps < most; steps++ {
		late := w.late()
		again.late()
		now += p.Period + late
		in := w.input(p, now, v, buffer[:0])
		in2 := again.input(p, now, v, buffer2[:0])
		if w.IntN(4000) == 0 { // the run is cut off here, and goes on
			held, told := w.IntN(2) == 0, w.IntN(2) == 0
			again.IntN(4000)
			again.IntN(2)
			again.IntN(2)
			s, s2 = p.Resume(s, now, w.pa, held, told), p.Resume(s2, now, w.pa, held, told)
			now += p.Period
			in, in2 = w.input(p, now, Valves{}, buffer[:0]), again.input(p, now, Valves{}, buffer2[:0])
		} else {
			again.IntN(4000)
		}
		was := s
		var out, out2 Output
		s, out = Step(p, s, in)
		s2, out2 = Step(p, s2, in2)
		if out.Valves != out2.Valves || out.Prompt != out2.Prompt || out.nEvents != out2.nEvents {
			t.Fatalf("the same inputs gave %+v and %+v", out.Valves, out2.Valves)
		}
		holds(t, p, &was, &s, &in, &out)
		v = out.Valves
		phases[s.Phase]++
		if s.Phase == Done && steps%20 == 0 {
			return steps + 1
		}
	}
	return steps
}

// holds checks what must be so after any step.
func holds(t *rapid.T, p *Plan, was, s *State, in *Input, out *Output) {
	v := out.Valves
	safe := v == Valves{Vent: true}
	if p.Hand {
		if v != (Valves{}) {
			t.Fatal("a valve was driven that is not there")
		}
		safe = out.Prompt.Kind == VentAll || out.Prompt.Kind == LetIn || s.Phase == Ready
	}
	switch {
	case v.Fill && v.Vent:
		t.Fatal("fill and vent open together")
	case v.Fill && (s.Pa >= p.LimitPa || s.Twin.Known && s.Twin.Pa >= p.LimitPa || s.Over > 0):
		t.Fatalf("filling at %.0f Pa, the limit is %.0f Pa", s.Pa, p.LimitPa)
	case v.Fill && (!s.Known || in.Now-s.PaAt > staleAfter(p)):
		t.Fatalf("filling on a reading %s old", in.Now-s.PaAt)
	case v.Fill && (s.Stopped != NotStopped || s.Locked != NotStopped || s.Paused || s.NoFill):
		t.Fatalf("filling though stopped %q, locked %q, paused %v", s.Stopped, s.Locked, s.Paused)
	case v.Fill && !(s.Phase == Ramp || p.Legs[s.Leg].MakeUp && (s.Phase == Settle || s.Phase == Hold)):
		t.Fatalf("filling in %s", s.Phase)
	case v.Fill && (v.Pulse <= 0 || v.Pulse > deadManSteps*p.Period+deadManMore):
		t.Fatalf("a fill that nobody renews stays open for %s", v.Pulse)
	case v.RegulatePa > p.LimitPa:
		t.Fatalf("the regulator is asked for %.0f Pa", v.RegulatePa)
	}
	running := was.Phase != Done
	bad := in.Operator.Abort || in.Broken != "" || in.NoValve != "" || s.Over >= overReadings || s.Twin.Over >= overReadings || s.Ahead >= overReadings ||
		was.Phase > Ready && (s.Stop.Open || s.Float.Open) || s.Wet && (p.StopOnWet && was.Phase != Vent || p.CellsInside)
	if running && bad && (!safe || s.Stopped == NotStopped) {
		t.Fatalf("not safe in the step in which it had to be: %+v, stopped %q, in %s", v, s.Stopped, s.Phase)
	}
	if (s.Stopped != NotStopped || s.Locked != NotStopped) && !safe {
		t.Fatalf("stopped or locked out, and not safe: %+v, %s", v, out.Prompt.Kind)
	}
	if was.Stopped != NotStopped && s.Stopped != was.Stopped {
		t.Fatal("a stop was left")
	}
	if was.Locked != NotStopped && s.Locked == NotStopped && !in.Operator.AcknowledgeLockout {
		t.Fatal("a lock-out was left without being acknowledged")
	}
	if s.Phase == Done && !p.Hand && !safe {
		t.Fatalf("done, and the valves are %+v", v)
	}
	if out.OpenSafe && !safe {
		t.Fatal("safe to open with the vent shut")
	}
	if out.nEvents == maxEvents {
		t.Fatal("a step said more than the record can hold")
	}
}
