package health

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"proofpot/sensors"
)

const (
	period  = 100 * time.Millisecond
	noisePa = 60
)

// pot is two transducers, a thermometer and a probe that a test plays with.
type pot struct {
	watch  *Watch
	random *rand.Rand
	now    time.Duration
	pa     float64
	waterC float64
	second float64                              // what the twin reads beside the truth, Pa
	alter  func(r *sensors.Reading) (drop bool) // may be nil
	told   []string
	buffer []sensors.Reading
}

func newPot() *pot {
	return &pot{random: rand.New(rand.NewPCG(1, 2)), pa: 2e5, waterC: 11, watch: New([]Channel{
		{Sensor: "p1", Quantity: sensors.ChamberPressure, Interval: period, Noise: noisePa, Accuracy: 2000, Low: 8e4, High: 1e6},
		{Sensor: "p2", Quantity: sensors.ChamberPressure, Interval: period, Noise: noisePa, Accuracy: 2000},
		{Sensor: "t1", Quantity: sensors.ChamberWater, Interval: time.Second},
		{Sensor: "w1", Quantity: sensors.ProbeWet, Interval: time.Second},
	}, 0)}
}

// run runs the pot for a time.
func (p *pot) run(d time.Duration) *pot {
	for end := p.now + d; p.now < end; {
		p.now += period
		rs := p.buffer[:0]
		put := func(sensor string, q sensors.Quantity, v float64) {
			r := sensors.Reading{Sensor: sensor, Quantity: q, Value: v, At: p.now}
			if p.alter == nil || !p.alter(&r) {
				rs = append(rs, r)
			}
		}
		// One pascal is the step of these transducers, 0.0625 °C that of the thermometer.
		put("p1", sensors.ChamberPressure, math.Round(p.pa+noisePa*p.random.NormFloat64()))
		put("p2", sensors.ChamberPressure, math.Round(p.pa+p.second+noisePa*p.random.NormFloat64()))
		if p.now%time.Second == 0 {
			put("t1", sensors.ChamberWater, math.Round(p.waterC*16)/16)
			put("w1", sensors.ProbeWet, 0)
		}
		base := len(rs)
		rs = p.watch.Step(p.now, rs, 0)
		for _, r := range rs[base:] {
			p.told = append(p.told, fmt.Sprintf("%s %s", r.Sensor, r.Status))
		}
		p.buffer = rs
	}
	return p
}

func (p *pot) expect(t *testing.T, want ...string) {
	t.Helper()
	if fmt.Sprint(p.told) != fmt.Sprint(want) {
		t.Errorf("told %v, want %v", p.told, want)
	}
	p.told = nil
}

func faultOf(sensor string, s sensors.Status) func(r *sensors.Reading) bool {
	return func(r *sensors.Reading) bool {
		if r.Sensor == sensor {
			*r = sensors.Fault(r.Sensor, r.Quantity, s, r.At, "a fault")
		}
		return false
	}
}

func TestASoundBenchRaisesNothingInANight(t *testing.T) {
	p, hours := newPot(), 10
	if testing.Short() {
		hours = 1
	}
	for range hours {
		for range 600 { // a ramp of 10 m a minute, up and down
			p.pa += 1670 * period.Seconds()
			p.run(period)
		}
		p.run(50 * time.Minute)
		for range 600 {
			p.pa -= 1670 * period.Seconds()
			p.run(period)
		}
		p.waterC += 0.2
	}
	p.run(time.Minute)
	p.expect(t)
	for _, l := range p.watch.Looks() {
		if l.Wrong != sensors.OK || isPressure(l.Quantity) && (math.Abs(l.Noise-noisePa) > 10 || math.Abs(l.PerSecond-10) > 0.1) {
			t.Errorf("%+v", l)
		}
	}
}

func TestATransducerThatStandsStillIsStuck(t *testing.T) {
	p := newPot().run(time.Minute)
	p.alter = func(r *sensors.Reading) bool {
		if r.Sensor == "p1" {
			r.Value = 200_100
		}
		return false
	}
	p.run(time.Minute)
	p.expect(t, "p1 stuck")
	if l := p.watch.Looks()[0]; l.Wrong != sensors.Stuck || !strings.Contains(l.Text, "200100") {
		t.Errorf("%+v", l)
	}
	p.run(10 * time.Minute)
	p.expect(t)
	p.alter = nil
	p.run(time.Minute)
	p.expect(t, "p1 recovered")
}

func TestATransducerThatStandsStillAtItsEndIsSaturated(t *testing.T) {
	p := newPot().run(time.Minute)
	p.pa = 9.99e5
	p.alter = func(r *sensors.Reading) bool {
		r.Value = min(r.Value, 998_000) // both
		return false
	}
	p.run(time.Minute)
	p.expect(t, "p1 saturated", "p2 stuck") // p2 has no stated end
}

func TestASensorOfCoarseStepsIsNotStuck(t *testing.T) {
	p := newPot()
	p.alter = func(r *sensors.Reading) bool {
		if r.Quantity == sensors.ChamberPressure {
			r.Value = math.Round(r.Value/500) * 500
		}
		return false
	}
	p.run(10 * time.Minute)
	p.pa += 500
	p.run(10 * time.Minute)
	p.expect(t)
}

func TestSpikesAreJumpsAndAStepIsNone(t *testing.T) {
	p := newPot().run(time.Minute)
	n := 0
	p.alter = func(r *sensors.Reading) bool {
		if r.Sensor == "p1" {
			if n++; n%100 == 50 {
				r.Value += 5000
			}
		}
		return false
	}
	p.run(25 * time.Second)
	p.expect(t)
	p.run(20 * time.Second)
	p.expect(t, "p1 jumping")
	p.alter = nil
	p.run(time.Minute)
	p.expect(t)
	p.run(2 * time.Minute)
	p.expect(t, "p1 recovered")
	p.pa -= 20_000 // a burst: the pressure falls at once and stays there
	p.run(time.Minute)
	p.expect(t)
}

func TestTwinsThatDisagreeAreBothDoubted(t *testing.T) {
	p := newPot().run(time.Minute)
	p.second = 6000
	p.run(4 * time.Second)
	p.expect(t)
	p.run(4 * time.Second)
	p.expect(t, "p1 disagrees", "p2 disagrees")
	p.second = 0
	p.run(30 * time.Second)
	p.expect(t, "p1 recovered", "p2 recovered")
}

func TestADriverThatHangsIsStale(t *testing.T) {
	p := newPot().run(time.Minute)
	p.alter = func(r *sensors.Reading) bool { return r.Sensor == "p1" || r.Sensor == "w1" }
	p.run(9 * time.Second)
	p.expect(t)
	p.run(time.Minute)
	p.expect(t, "p1 stale", "w1 stale")
	p.alter = nil
	p.run(time.Minute)
	p.expect(t, "p1 recovered", "w1 recovered")
}

func TestAFaultThatADriverTellsOnceAMinuteIsNotStale(t *testing.T) {
	p := newPot().run(time.Minute)
	told := false
	p.alter = func(r *sensors.Reading) bool {
		if r.Sensor != "p1" {
			return false
		}
		if !told || p.now%time.Minute == 0 {
			told = true
			*r = sensors.Fault(r.Sensor, r.Quantity, sensors.Disconnected, r.At, "unplugged")
			return false
		}
		return true
	}
	p.run(5 * time.Minute)
	p.expect(t)
}

func TestWhatADriverToldIsOverOnceValuesHaveLasted(t *testing.T) {
	p := newPot().run(time.Minute)
	for _, s := range []sensors.Status{sensors.NoReading, sensors.Garbled, sensors.OutOfRange, sensors.Disconnected, sensors.SupplyOff} {
		p.alter = faultOf("p1", s)
		p.run(time.Minute)
		p.expect(t) // the driver has told it
		if l := p.watch.Looks()[0]; l.Wrong != s || l.Text != "a fault" {
			t.Errorf("%v: %+v", s, l)
		}
		p.alter = nil
		p.run(9 * time.Second)
		p.expect(t)
		p.run(9 * time.Second)
		p.expect(t, "p1 recovered")
	}
	n := 0
	p.alter = func(r *sensors.Reading) bool { // one garbled line is no state
		if n++; n == 10 {
			*r = sensors.Fault(r.Sensor, r.Quantity, sensors.Garbled, r.At, "once")
		}
		return false
	}
	p.run(time.Minute)
	p.expect(t)
}

func TestAStepWithoutNewsAllocatesNothing(t *testing.T) {
	p := newPot().run(time.Minute)
	p.second = 9000 // a fault that lasts is no news either
	p.run(time.Minute)
	readings := make([]sensors.Reading, 0, 16)
	if n := testing.AllocsPerRun(1000, func() {
		p.now += period
		readings = append(readings[:0], sensors.Reading{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: p.pa + 60*p.random.NormFloat64(), At: p.now},
			sensors.Reading{Sensor: "p2", Quantity: sensors.ChamberPressure, Value: p.pa + 9000 + 60*p.random.NormFloat64(), At: p.now},
			sensors.Reading{Sensor: "t1", Quantity: sensors.ChamberWater, Value: 11, At: p.now},
			sensors.Reading{Sensor: "w1", Quantity: sensors.ProbeWet, At: p.now})
		readings = p.watch.Step(p.now, readings, 0)
	}); n != 0 {
		t.Errorf("%v allocations a step", n)
	}
}

func BenchmarkStep(b *testing.B) {
	p := newPot().run(time.Minute)
	readings := make([]sensors.Reading, 0, 16)
	for b.Loop() {
		p.now += period
		readings = append(readings[:0], sensors.Reading{Sensor: "p1", Quantity: sensors.ChamberPressure, Value: p.pa + float64(p.now%7), At: p.now},
			sensors.Reading{Sensor: "p2", Quantity: sensors.ChamberPressure, Value: p.pa + float64(p.now%11), At: p.now})
		readings = p.watch.Step(p.now, readings, 0)
	}
}
