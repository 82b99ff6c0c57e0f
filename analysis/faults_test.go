package analysis_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"proofpot/analysis"
	"proofpot/rig"
	"proofpot/rig/setup"
	"proofpot/sensors"
	"proofpot/sensors/health"
)

// spoiling is a bench whose chamber sensor, or its twin, goes wrong for a while,
// watched by sensors/health as rig/wiring does.
type spoiling struct {
	rig.Devices
	watch *health.Watch
	at    func(s *rig.State) bool // when it begins
	lasts time.Duration
	how   func(r sensors.Reading, since time.Duration) (sensors.Reading, bool) // false: no reading
	begun time.Duration                                                        // -1: not yet
	now   time.Duration
	twin  bool
	who   string // another sensor than p1
}

func (d *spoiling) observe(s *rig.State) {
	if d.begun < 0 && d.at(s) {
		d.begun = d.now
	}
}

func (d *spoiling) Read(now rig.Instant, to []sensors.Reading) []sensors.Reading {
	d.now = now.Mono
	base := len(to)
	read := d.Devices.Read(now, nil)
	for _, r := range read {
		if s, ok := d.spoilt(r); ok {
			to = append(to, s)
		}
	}
	return d.watch.Step(now.Mono, to, base)
}

func (d *spoiling) spoilt(r sensors.Reading) (sensors.Reading, bool) {
	who := d.who
	if who == "" {
		who = "p1"
	}
	if d.twin {
		who = "p2"
	}
	if since := d.now - d.begun; r.Sensor == who && d.begun >= 0 && since < d.lasts {
		return d.how(r, since)
	}
	return r, true
}

// in says that a phase of a leg has run for some time.
func in(phase rig.Phase, leg int, after time.Duration) func(*rig.State) bool {
	return func(s *rig.State) bool { return s.Phase == phase && s.Leg == leg && s.Now-s.Since >= after }
}

func without1(sensors.Reading, time.Duration) (r sensors.Reading, ok bool) { return r, false }

func as(s sensors.Status, text string) func(sensors.Reading, time.Duration) (sensors.Reading, bool) {
	return func(r sensors.Reading, _ time.Duration) (sensors.Reading, bool) {
		return sensors.Fault(r.Sensor, r.Quantity, s, r.At, text), true
	}
}

// frozen repeats the first value.
func frozen() func(sensors.Reading, time.Duration) (sensors.Reading, bool) {
	first := math.NaN()
	return func(r sensors.Reading, _ time.Duration) (sensors.Reading, bool) {
		if math.IsNaN(first) {
			first = r.Value
		}
		r.Value = first
		return r, true
	}
}

// leaping leaves its neighbours once every twelve seconds.
func leaping() func(sensors.Reading, time.Duration) (sensors.Reading, bool) {
	var last time.Duration = -time.Hour
	return func(r sensors.Reading, since time.Duration) (sensors.Reading, bool) {
		if since-last >= 12*time.Second {
			last = since
			r.Value -= 3000
		}
		return r, true
	}
}

func off(pa float64) func(sensors.Reading, time.Duration) (sensors.Reading, bool) {
	return func(r sensors.Reading, _ time.Duration) (sensors.Reading, bool) { r.Value += pa; return r, true }
}

// What each status of a sensor's health does: the fault is recorded when it is
// raised and a note when it is over, the run reacts by its rules
// (sensors/health/README.md), and where a doubt is left nothing passes.
func TestEachStatusOfASensorIsRecordedReactedToAndNoPassWhereADoubtIsLeft(t *testing.T) {
	deep := in(rig.Hold, 1, 100*time.Second)
	for _, c := range []struct {
		name    string
		at      func(*rig.State) bool
		lasts   time.Duration
		how     func(sensors.Reading, time.Duration) (sensors.Reading, bool)
		twin    bool
		endPa   float64 // of the sensor's range
		kinds   []string
		over    string // what the note says; empty: the run ends before
		stopped rig.Stop
		verdict string
		why     string
	}{
		{name: "stale for a while: what is missing is missing", at: deep, lasts: 25 * time.Second, how: without1,
			kinds: []string{"stale"}, over: "no longer stale", verdict: analysis.Pass},
		{name: "stale for good: vented after a minute", at: deep, lasts: 10 * time.Hour, how: without1,
			kinds: []string{"stale", "sensor-lost"}, stopped: rig.SensorLost, verdict: analysis.Inconclusive, why: "stopped before its end"},
		{name: "out of range", at: deep, lasts: 5 * time.Second, how: as(sensors.OutOfRange, "1700000 Pa is above what it can show"),
			kinds: []string{"out-of-range"}, over: "no longer out-of-range", verdict: analysis.Inconclusive, why: "(out-of-range)"},
		{name: "out of range in a ramp", at: in(rig.Ramp, 1, 20*time.Second), lasts: 2 * time.Second, how: as(sensors.OutOfRange, "1700000 Pa is above what it can show"),
			kinds: []string{"out-of-range"}, over: "no longer out-of-range", verdict: analysis.Inconclusive, why: "(out-of-range)"},
		{name: "stuck: not believed", at: deep, lasts: 45 * time.Second, how: frozen(),
			kinds: []string{"stuck"}, over: "no longer stuck", verdict: analysis.Inconclusive, why: "(stuck)"},
		{name: "stuck for good: vented", at: deep, lasts: 10 * time.Hour, how: frozen(),
			kinds: []string{"stuck", "stale", "sensor-lost"}, stopped: rig.SensorLost, verdict: analysis.Inconclusive, why: "(stuck)"},
		{name: "jumping", at: deep, lasts: 70 * time.Second, how: leaping(),
			kinds: []string{"jumping"}, over: "no longer jumping", verdict: analysis.Inconclusive, why: "(jumping)"},
		{name: "supply off", at: deep, lasts: 5 * time.Second, how: as(sensors.SupplyOff, "its supply is 0.2 V"),
			kinds: []string{"supply-off"}, over: "no longer supply-off", verdict: analysis.Inconclusive, why: "(supply-off)"},
		{name: "supply off when all is over: no doubt is left", at: in(rig.Vent, 1, 10*time.Second), lasts: 5 * time.Second, how: as(sensors.SupplyOff, "its supply is 0.2 V"),
			kinds: []string{"supply-off"}, over: "no longer supply-off", verdict: analysis.Pass},
		{name: "saturated", at: deep, lasts: 45 * time.Second, how: frozen(), endPa: 406e3,
			kinds: []string{"saturated"}, over: "no longer saturated", verdict: analysis.Inconclusive, why: "(saturated)"},
		{name: "its twin disagrees for a while", at: deep, lasts: 8 * time.Second, how: off(-60e3), twin: true,
			kinds: []string{"disagrees", "apart"}, over: "no longer disagrees", verdict: analysis.Inconclusive, why: "(disagrees)"},
		{name: "its twin disagrees for good: vented", at: deep, lasts: 10 * time.Hour, how: off(-60e3), twin: true,
			kinds: []string{"disagrees", "sensors-disagree"}, stopped: rig.SensorsDisagree, verdict: analysis.Inconclusive, why: "stopped before its end"},
	} {
		t.Run(c.name, func(t *testing.T) {
			channel := health.Channel{Sensor: "p1", Quantity: sensors.ChamberPressure, Interval: rig.DefaultPeriod, Noise: 40, Accuracy: 300, High: 16e5}
			if c.endPa > 0 {
				channel.High = c.endPa
			}
			channels := []health.Channel{channel}
			s := simulateOn(t, "quick-check-30m-sea", "", 5, func(r *setup.Run) {
				if c.twin {
					second := r.Bench.Sensors[0]
					second.ID = "p2"
					r.Bench.Sensors = append(r.Bench.Sensors, second)
					channel.Sensor = "p2"
					channels = append(channels, channel)
				}
			}, func(d rig.Devices) watched {
				return &spoiling{Devices: d, watch: health.New(channels, 0), at: c.at, lasts: c.lasts, how: c.how, begun: -1, twin: c.twin}
			})
			text := string(s.record)
			for _, kind := range c.kinds {
				if !strings.Contains(text, "kind="+kind+",") {
					t.Errorf("no fault %q is recorded", kind)
				}
			}
			if c.over != "" && !strings.Contains(text, c.over+",") {
				t.Errorf("no note says %q", c.over)
			}
			if s.state.Stopped != c.stopped {
				t.Errorf("the run ended by %q, want %q", s.state.Stopped, c.stopped)
			}
			v := s.analyse(t).Verdict
			if why := strings.Join(v.Reasons, "; "); v.Verdict != c.verdict || !strings.Contains(why, c.why) {
				t.Errorf("%s: %s; want %s, %q", v.Verdict, why, c.verdict, c.why)
			}
		})
	}
}

// A second transducer that goes off for eight seconds, in the record of a logger
// that watches no health: which of the two is right nobody knows, and the mean of
// both is no loss of volume.
func TestTwoTransducersThatDisagreeAreNoCollapseAndNoPass(t *testing.T) {
	s := simulateOn(t, "quick-check-30m-sea", "", 5, func(r *setup.Run) {
		second := r.Bench.Sensors[0]
		second.ID = "p2"
		r.Bench.Sensors = append(r.Bench.Sensors, second)
	}, func(d rig.Devices) watched {
		return &spoiling{Devices: d, watch: health.New(nil, 0), at: in(rig.Hold, 1, 100*time.Second), lasts: 8 * time.Second, how: off(-60e3), begun: -1, twin: true}
	})
	v := s.analyse(t).Verdict
	if why := strings.Join(v.Reasons, "; "); v.Verdict != analysis.Inconclusive || !strings.Contains(why, "the two transducers disagreed in") {
		t.Errorf("%s: %s", v.Verdict, why)
	}
}

func TestAProbeThatCannotBeReadAtTheEndIsNotDry(t *testing.T) {
	for _, c := range []struct {
		lasts   time.Duration
		verdict string
	}{{30 * time.Second, analysis.Pass}, {10 * time.Hour, analysis.Inconclusive}} {
		s := simulateOn(t, "quick-check-30m-sea", "", 5, nil, func(d rig.Devices) watched {
			return &spoiling{Devices: d, watch: health.New(nil, 0), at: in(rig.Hold, 1, 100*time.Second), lasts: c.lasts, how: as(sensors.Disconnected, "open wire"), begun: -1, who: "w1"}
		})
		v := s.analyse(t).Verdict
		if why := strings.Join(v.Reasons, "; "); v.Verdict != c.verdict || (v.Verdict != analysis.Pass) != strings.Contains(why, "wet probe w1 could not be read at the end") {
			t.Errorf("after %v: %s: %s", c.lasts, v.Verdict, why)
		}
	}
}
