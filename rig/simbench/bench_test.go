package simbench

import (
	"math"
	"slices"
	"testing"
	"time"

	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/sensors"
)

func same(a, b []sensors.Reading) bool {
	return slices.EqualFunc(a, b, func(x, y sensors.Reading) bool {
		if math.IsNaN(x.Value) && math.IsNaN(y.Value) {
			x.Value, y.Value = 0, 0
		}
		return x == y
	})
}

func TestASeedGivesTheSameRunBitForBit(t *testing.T) {
	full := func(seed uint64) []sensors.Reading {
		c := withUnitFault(t, config(t, seed), "seep at 8 m, 3 ml/h")
		c = withBenchFault(t, c, "spikes", "drops p1, 3 %", "garbles u1, 2 %", "power cut at 10 min for 20 s")
		return run(t, c, 5*time.Minute, 3, 12).all
	}
	first := full(11)
	if !same(first, full(11)) {
		t.Error("the same seed gave other readings")
	}
	if same(first, full(12)) {
		t.Error("another seed gave the same readings")
	}
}

func TestOneSensorMoreLeavesTheOthersAsTheyWere(t *testing.T) {
	p1 := func(more bool) (out []sensors.Reading) {
		c := config(t, 3)
		if more {
			c.Sensors = append(c.Sensors, Sensor{ID: "p2", Every: time.Second, Channels: []Channel{{Quantity: sensors.ChamberPressure, Noise: 100}}})
		}
		b := bench(t, c)
		for d := time.Duration(0); d < 5*time.Minute; d += 500 * time.Millisecond {
			if err := b.Drive(at(d), rig.Valves{Fill: d > time.Minute && d < 90*time.Second}); err != nil {
				t.Fatal(err)
			}
			for _, r := range b.Read(at(d), nil) {
				if r.Sensor == "p1" {
					out = append(out, r)
				}
			}
		}
		return out
	}
	if !same(p1(false), p1(true)) {
		t.Error("p1 reads differently beside p2")
	}
}

func TestASheetIsTrueToTenPercent(t *testing.T) {
	r := builtIn()
	low, high := math.Inf(1), 0.0
	for seed := range uint64(200) {
		c := Default(r, seed)
		for _, v := range []struct {
			what         string
			truth, sheet float64
			off          float64
		}{
			{"cushion", c.Chamber.CushionM3 / millilitre, r.Bench.GasCushionML, 0.10},
			{"chamber", c.Chamber.VolumeM3 / millilitre, r.Bench.ChamberVolumeML, 0.03},
			{"free volume", c.Unit.FreeM3 / millilitre, r.Unit.FreeVolumeML, 0.08},
			{"displaced volume", c.Unit.OuterM3 / millilitre, r.Unit.OuterVolumeML, 0.03},
		} {
			near(t, v.what, v.truth, v.sheet, v.off)
		}
		b := bench(t, c)
		stiffness := (b.elastic - c.Unit.SqueezeM3PerPa) * bar / millilitre
		near(t, "stiffness", stiffness, r.Bench.StiffnessMLPerBar, 0.105)
		low, high = min(low, c.Chamber.CushionM3), max(high, c.Chamber.CushionM3)
	}
	if high/low < 1.15 {
		t.Errorf("cushions lie within %.3f of each other: the analysis is handed the truth", high/low)
	}
}

// The needle lets the pot climb at 10 m/min and more, gently enough that one
// period of 0.5 s is not more than a fifth of a metre.
func TestTheNeedleSuitsTheRamp(t *testing.T) {
	for _, depth := range []float64{3, 12, 25, 37.5, 60, 75} {
		b := bench(t, config(t, 1))
		k := control(t, b)
		k.to(depth/2, 20)
		k.hold(time.Second)
		from := b.c.pa
		k.tick(rig.Valves{Fill: true})
		k.tick(rig.Valves{Fill: true})
		k.tick(rig.Valves{Fill: true})
		step := (b.c.pa - from) / 2 / lake(1)
		if step < 10./120 || step > 0.25 {
			t.Errorf("at %g m a period of filling brings %.3f m", depth/2, step)
		}
		want := seconds(depth / 10 * 60)
		k = control(t, bench(t, config(t, 2)))
		if took := k.to(depth, 10); took > want+want/10+2*time.Second || took < want-want/5 {
			t.Errorf("%g m at 10 m/min took %s, want %s", depth, took, want)
		}
		if over := (k.b.peakPa - k.b.cfg.Room.StartPa - lake(depth)) / lake(1); over > 0.4 { // the test's controller looks no further ahead than a period
			t.Errorf("%g m: %.2f m over", depth, over)
		}
	}
}

func TestAPulseShorterThanTheValveIsSwallowed(t *testing.T) {
	b := bench(t, config(t, 1))
	tell := func(d time.Duration, v rig.Valves) {
		if err := b.Drive(at(d), v); err != nil {
			t.Fatal(err)
		}
	}
	tell(0, rig.Valves{})
	tell(time.Second, rig.Valves{Fill: true})
	tell(time.Second+20*time.Millisecond, rig.Valves{})
	b.Read(at(2*time.Second), nil)
	if b.sum.gasIn != 0 {
		t.Errorf("%g mol came in", b.sum.gasIn)
	}
	tell(3*time.Second, rig.Valves{Fill: true})
	tell(3*time.Second+60*time.Millisecond, rig.Valves{})
	b.Read(at(4*time.Second), nil)
	open := b.sum.gasIn / gasFlow(b.cfg.Supply.FillSonic, b.cfg.Supply.Pa, b.c.pa, b.cfg.Supply.C+zeroC)
	near(t, "open, s", open, 0.060-valveOpens.Seconds()+valveShuts.Seconds(), 0.01)
}

func TestAPulseIsShutByTheDriverItself(t *testing.T) {
	b := bench(t, config(t, 1))
	flow := gasFlow(b.cfg.Supply.FillSonic, b.cfg.Supply.Pa, b.c.pa, b.cfg.Supply.C+zeroC)
	drive := func(d time.Duration, v rig.Valves) {
		if err := b.Drive(at(d), v); err != nil {
			t.Fatal(err)
		}
	}
	drive(0, rig.Valves{})
	drive(time.Second, rig.Valves{Fill: true, Pulse: 60 * time.Millisecond}) // far shorter than a step of the physics
	b.Read(at(4*time.Second), nil)
	near(t, "open, s", b.sum.gasIn/flow, 0.060-valveOpens.Seconds()+valveShuts.Seconds(), 0.01)
	drive(4*time.Second, rig.Valves{Fill: true, Pulse: time.Second})
	drive(4500*time.Millisecond, rig.Valves{Fill: true, Pulse: time.Second}) // longer, before it is over
	was := b.sum.gasIn
	b.Read(at(8*time.Second), nil)
	if open := (b.sum.gasIn - was) / flow; open < 0.95 || open > 1.02 {
		t.Errorf("made longer, it stands open for another %.3f s, want 1 s", open)
	}
	drive(9*time.Second, rig.Valves{Vent: true, Pulse: 100 * time.Millisecond})
	b.Read(at(12*time.Second), nil)
	if b.Truth().VentOpen {
		t.Error("a pulse of the vent never ends")
	}
}

func TestARegulatorGivesWhatItIsAsked(t *testing.T) {
	for _, sticks := range []bool{false, true} {
		c := config(t, 1)
		c.Supply.Regulator, c.Supply.TankM3, c.Supply.FillSonic = true, 0, 20*c.Supply.FillSonic
		if sticks {
			c = withBenchFault(t, c, "regulator sticks at 90 s")
		}
		b := bench(t, c)
		room := c.Room.StartPa
		for d := time.Duration(0); d < 10*time.Minute; d += 500 * time.Millisecond {
			asked := room + 1e5
			if d > 5*time.Minute {
				asked = room + 2e5
			}
			if err := b.Drive(at(d), rig.Valves{Fill: true, RegulatePa: asked}); err != nil {
				t.Fatal(err)
			}
			if d == 4*time.Minute {
				near(t, "chamber, Pa", b.c.pa, room+1e5, 0.002)
			}
		}
		want := room + 2e5
		if sticks {
			want = room + 1e5
		}
		near(t, "chamber at the end, Pa", b.c.pa, want, 0.002)
	}
}

func TestCloseVents(t *testing.T) {
	b := bench(t, config(t, 1))
	k := control(t, b)
	k.to(25, 20)
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	b.Read(at(k.now.Mono+15*time.Minute), nil)
	if got := b.Truth(); got.ChamberPa > got.RoomPa+200 || got.FillOpen || !got.VentOpen {
		t.Errorf("after Close %+v", got)
	}
	if err := b.Drive(at(k.now.Mono+16*time.Minute), rig.Valves{Fill: true}); err == nil {
		t.Error("a closed bench can be driven")
	}
}

func TestReadingsComeAtTheirOwnTimes(t *testing.T) {
	b := bench(t, config(t, 1))
	var got []time.Duration
	for d := time.Duration(0); d <= 10*time.Second; d += 700 * time.Millisecond {
		for _, r := range b.Read(at(d), nil) {
			if r.At > d {
				t.Fatalf("a reading of %s at %s", r.At, d)
			}
			if r.Quantity == sensors.ChamberPressure {
				got = append(got, r.At)
			}
		}
	}
	for i, at := range got {
		if want := time.Duration(i) * 500 * time.Millisecond; at != want {
			t.Fatalf("reading %d at %s, want %s", i, at, want)
		}
	}
	if len(got) != 20 {
		t.Errorf("%d readings in 9.8 s", len(got))
	}
}

func TestASensorShowsItsFlaws(t *testing.T) {
	c := config(t, 1)
	c.Room.TrendKPerH = 6
	show := func(ch Channel) (first, last float64) {
		ch.Quantity = sensors.RoomTemperature
		c.Sensors = []Sensor{{ID: "x", Every: 10 * time.Second, Channels: []Channel{ch}}}
		b := bench(t, c)
		all := b.Read(at(time.Hour), nil)
		return all[0].Value - c.Room.StartC, all[len(all)-1].Value - b.c.roomC
	}
	for _, row := range []struct {
		flaw        Channel
		first, last float64
	}{
		{Channel{}, 0, 0},
		{Channel{Offset: 0.5}, 0.5, 0.5},
		{Channel{DriftPerH: 0.2}, 0, 0.2},
		{Channel{ThermalPerK: 0.1}, 0, 0.1 * (6 + b6(c))},
		{Channel{LagS: 100}, 0, -100 * 6. / 3600},
	} {
		first, last := show(row.flaw)
		if math.Abs(first-row.first) > 1e-9 || math.Abs(last-row.last) > 0.06 {
			t.Errorf("%+v: off by %.3f at first, %.3f after an hour; want %.3f, %.3f", row.flaw, first, last, row.first, row.last)
		}
	}
}

// b6 is what day and heating add to the room's trend in the first hour.
func b6(c Config) float64 {
	_, then := c.Room.weather(3600, 8*3600+15*60+2)
	return then - c.Room.StartC - 6
}

func TestTimeDoesNotGoBack(t *testing.T) {
	b := bench(t, config(t, 1))
	b.Read(at(time.Minute), nil)
	if got := b.Read(at(30*time.Second), nil); len(got) != 0 || b.now != time.Minute {
		t.Errorf("%d readings, now %s", len(got), b.now)
	}
}

func TestAStepAllocatesNothing(t *testing.T) {
	c := withUnitFault(t, config(t, 1), "seep at 2 m, 3 ml/h")
	c = withBenchFault(t, c, "spikes", "drops p1, 5 %", "garbles u1, 5 %", "silent t1 at 1 min")
	b := bench(t, c)
	to := make([]sensors.Reading, 0, 64)
	d := time.Duration(0)
	n := testing.AllocsPerRun(2000, func() {
		d += 500 * time.Millisecond
		now := at(d)
		to = b.Read(now, to[:0])
		if err := b.Drive(now, rig.Valves{Fill: d%(10*time.Second) < time.Second}); err != nil {
			t.Fatal(err)
		}
	})
	if n != 0 {
		t.Errorf("%g allocations a step", n)
	}
}

func TestABadConfigurationIsRefused(t *testing.T) {
	for what, spoil := range map[string]func(*Config){
		"no chamber":               func(c *Config) { c.Chamber.VolumeM3 = 0 },
		"unit larger than chamber": func(c *Config) { c.Unit.OuterM3 = 1 },
		"cushion too large":        func(c *Config) { c.Chamber.CushionM3 = 1 },
		"void larger than unit":    func(c *Config) { c.Unit.FreeM3 = c.Unit.OuterM3 },
		"no room pressure":         func(c *Config) { c.Room.StartPa = math.NaN() },
		"rigid chamber":            func(c *Config) { c.Chamber.WallM3PerPa = 0 },
		"sensor without a period":  func(c *Config) { c.Sensors[0].Every = 0 },
		"depth without water":      func(c *Config) { c.GaugePa, c.UnitFaults = nil, []UnitFault{{Mode: Seep, DepthM: 3}} },
		"depth without pressure": func(c *Config) {
			c.GaugePa, c.UnitFaults = func(float64) float64 { return math.NaN() }, []UnitFault{{Mode: Seep, DepthM: 3}}
		},
		"fault of an unknown sensor": func(c *Config) { c.BenchFaults = []BenchFault{{Kind: Silent, Sensor: "p9"}} },
		"probe fault without probe":  func(c *Config) { c.Sensors, c.BenchFaults = c.Sensors[:1], []BenchFault{{Kind: FalseWet}} },
	} {
		c := config(t, 1)
		spoil(&c)
		if _, err := New(c, testStart); err == nil {
			t.Errorf("%s: taken", what)
		}
	}
}

func TestAnyCommonPotMakesABench(t *testing.T) {
	// Extremes of the pots of common practice: small and stiff, large and soft, gas.
	for _, b := range []setup.Bench{
		{Medium: "water", Supply: "gas", ChamberVolumeML: 8390, GasCushionML: 33, StiffnessMLPerBar: 1.65, RatedPa: 1e6},
		{Medium: "water", Supply: "gas", ChamberVolumeML: 23950, GasCushionML: 404, StiffnessMLPerBar: 2.4, RatedPa: 2e6},
		{Medium: "water", Supply: "water", ChamberVolumeML: 6000, GasCushionML: 1, StiffnessMLPerBar: 0.7, RatedPa: 3e6},
		{Medium: "water", Supply: "water", ChamberVolumeML: 40000, GasCushionML: 300, StiffnessMLPerBar: 10, RatedPa: 6e5},
		{Medium: "gas", Supply: "gas", ChamberVolumeML: 13156, StiffnessMLPerBar: 0.66, RatedPa: 1.2e6},
	} {
		r := builtIn()
		b.RoomPa, b.Sensors = 101_300, BuiltInBench().Sensors
		r.Bench = b
		c := Default(r, 7)
		c.GaugePa = lake
		k := control(t, bench(t, c))
		if took := k.to(25, 6); took > 6*time.Minute {
			t.Errorf("%+v: 25 m took %s", b, took)
		}
		k.hold(10 * time.Minute)
		near(t, "pressure held", k.b.c.pa-c.Room.StartPa, lake(25), 0.12)
	}
}

func benchmarkSoak(b *testing.B, period time.Duration) {
	const night = 12 * time.Hour
	c := config(b, 1)
	c.Sampling(period)
	to := make([]sensors.Reading, 0, 64)
	b.ReportAllocs()
	for b.Loop() {
		bench := bench(b, c)
		for d := time.Duration(0); d < night; d += period {
			now := rig.Instant{Mono: d}
			to = bench.Read(now, to[:0])
			if err := bench.Drive(now, rig.Valves{Fill: d < 2*time.Minute}); err != nil {
				b.Fatal(err)
			}
		}
	}
	b.ReportMetric(night.Seconds()*float64(b.N)/b.Elapsed().Seconds(), "sim-s/s")
}

func BenchmarkSoak2Hz(b *testing.B)  { benchmarkSoak(b, 500*time.Millisecond) }
func BenchmarkSoak50Hz(b *testing.B) { benchmarkSoak(b, 20*time.Millisecond) }
