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
	"proofpot/sensors/calibration"
	"proofpot/sensors/health"
)

// drifting moves the chamber sensor's zero by so much in an hour.
func drifting(paPerH float64) func(d rig.Devices) watched {
	return func(d rig.Devices) watched {
		return &spoiling{Devices: d, watch: health.New(nil, 0), at: func(*rig.State) bool { return true }, lasts: 100 * time.Hour, begun: -1,
			how: func(r sensors.Reading, since time.Duration) (sensors.Reading, bool) {
				r.Value += paPerH * since.Hours()
				return r, true
			}}
	}
}

func TestTheZeroBeforeAndAfterARunIsCompared(t *testing.T) {
	steady := simulateOn(t, "quick-check-30m-sea", "", 5, nil, drifting(0)).analyse(t)
	moved := simulateOn(t, "quick-check-30m-sea", "", 5, nil, drifting(1500))
	for _, c := range []struct {
		name     string
		r        *analysis.Result
		low, hig float64
		told     bool
	}{{"steady", steady, -300, 300, false}, {"moved", moved.analyse(t), 800, 1400, true}} {
		v, why := c.r.Verdict, strings.Join(c.r.Verdict.Reasons, "; ")
		if d := c.r.Conditions.ZeroAfterPa - c.r.Conditions.ZeroBeforePa; !(d > c.low && d < c.hig) {
			t.Errorf("%s: the zero drifted by %v Pa", c.name, d)
		}
		if strings.Contains(why, "zero at open vent moved by") != c.told {
			t.Errorf("%s: %s: %s", c.name, v.Verdict, why)
		}
	}
	last := func(r *analysis.Result) float64 {
		h := r.Verdict.Holds[len(r.Verdict.Holds)-1].LeakMLPerH
		return h.High - h.Low
	}
	if a, b := last(steady), last(moved.analyse(t)); !(b > 1.2*a) {
		t.Errorf("the leak is known within %v ml/h with a steady zero, %v with one that moved", a, b)
	}
	line := false
	for _, b := range moved.analyse(t).Budget {
		line = line || b.Source == "zero of the transducer, before and after" && b.MLPerH > 0
	}
	if !line {
		t.Errorf("the uncertainty budget says nothing of the zero: %+v", moved.analyse(t).Budget)
	}
}

// A zero that rises by as much as a leak lets the pressure fall hides it from the
// decay alone.
func TestALeakBehindADriftingZeroDoesNotPass(t *testing.T) {
	for seed := range few(5) + 1 {
		s := simulateOn(t, "quick-check-30m-sea", "seep at 10 m, 1.2 ml/h", seed, func(r *setup.Run) { without(r, "u1", "w1") }, drifting(6000))
		if v := s.analyse(t).Verdict; v.Verdict == analysis.Pass {
			t.Errorf("seed %d passes: %v", seed, v.Reasons)
		}
	}
}

// The uncertainty of a calibration takes the place of the sensor's class, and
// readings beyond its points are a doubt where its correction has a slope.
func TestACalibrationsUncertaintyAndRangeCount(t *testing.T) {
	made := func(slope bool, highPa, combinedPa float64) func(*setup.Run) {
		return func(r *setup.Run) {
			c := &calibration.Calibration{Sensor: "p1", Date: "2026-01-02", Due: "2027-01-02", CorrectionPa: []float64{0}, LowPa: 1e5, HighPa: highPa, AccuracyPa: 300}
			if slope {
				c.CorrectionPa = []float64{0, 0}
			}
			c.Budget.CombinedPa, c.Budget.Coverage, c.Budget.ExpandedPa = combinedPa, 2, 2*combinedPa
			r.Bench.Sensors[0].Calibration = c
		}
	}
	width := func(r *analysis.Result) float64 {
		if r.Verdict.FirstFailure == nil {
			t.Fatal(r.Verdict.Reasons)
		}
		return r.Verdict.FirstFailure.DepthHighM - r.Verdict.FirstFailure.DepthLowM
	}
	const fault = "collapse at 20 m, 20 ml"
	class := width(simulate(t, "quick-check-30m-sea", fault, 5, nil).analyse(t))
	good := width(simulate(t, "quick-check-30m-sea", fault, 5, made(true, 6e5, 20)).analyse(t))
	poor := width(simulate(t, "quick-check-30m-sea", fault, 5, made(true, 6e5, 2000)).analyse(t))
	if !(good < class && class < poor) {
		t.Errorf("depth intervals are %.3f m by a good calibration, %.3f m by the class, %.3f m by a poor calibration", good, class, poor)
	}
	for _, c := range []struct {
		slope  bool
		highPa float64
		pass   bool
	}{{true, 4.1e5, true}, {true, 1.8e5, false}, {false, 1e5, true}} {
		v := simulate(t, "quick-check-30m-sea", "", 5, made(c.slope, c.highPa, 100)).analyse(t).Verdict
		why := strings.Join(v.Reasons, "; ")
		if (v.Verdict == analysis.Pass) != c.pass || c.pass == strings.Contains(why, "sensor p1 was calibrated from 1 to 1.8 bar absolute") {
			t.Errorf("points to %v Pa, slope %v: %s: %s", c.highPa, c.slope, v.Verdict, why)
		}
	}
	if math.IsNaN(class) {
		t.Error(class)
	}
}
