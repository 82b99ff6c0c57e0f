package statistics

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"proofpot/analysis"
	"proofpot/profiles"
	"proofpot/rig/setup"
)

// Test is one record: its sheet and its verdict.
type Test struct {
	Record  string
	Run     setup.Run
	Verdict analysis.Verdict
}

// Reading is how the interval of a failure is read off a verdict.
type Reading int

const (
	// Held asks to which depth a unit holds for the time of the test's holds:
	// above the deepest hold it passed, up to the upper 95 % bound of the depth at
	// which it began to fail. A ramp that it survived on the way is no proof.
	Held Reading = iota
	// Began asks at which depth failures begin under the test's ramps: between
	// the 95 % bounds. Sharper; it says nothing about holding.
	Began
)

// History is what the records of one variant come to.
type History struct {
	Variant      string
	Observations []Observation
	Left         []string // what was left out or changed, and why, one line each
	NotIntact    int      // records that do not count for it
	HoldLowS     float64  // s, shortest and longest deciding hold
	HoldHighS    float64
	ProofFactor  float64 // largest of the profiles
	BenchLimitM  float64 // deepest depth-equivalent that any of the benches may go to
	WaterLowC    float64 // °C, of the profiles' water
	WaterHighC   float64
	CyclesToM    float64  // m; above 0 the observations are cycles to that depth, else depths
	Waters       []string // kinds of water in which the depths are meant, each once
}

// Observe makes one observation of each unit of each variant, since several tests
// of one unit are not independent: tight to the deepest hold passed before its
// first failure, failed where that was. What comes after the first failure is a
// repaired unit, and is left out. An inconclusive test counts as far as its holds
// passed; a record that is not intact does not count at all.
func Observe(tests []Test, how Reading) []History {
	tests = append([]Test(nil), tests...)
	sort.SliceStable(tests, func(i, j int) bool { return tests[i].Record < tests[j].Record }) // the name begins with the start
	byVariant := map[string]*History{}
	units := map[string]*Observation{}
	var names, order []string
	of := map[string]string{}
	for _, t := range tests {
		v := t.Run.Unit.Variant
		h := byVariant[v]
		if h == nil {
			h = &History{Variant: v, WaterLowC: math.Inf(1), WaterHighC: math.Inf(-1), HoldLowS: math.Inf(1)}
			byVariant[v] = h
			names = append(names, v)
		}
		if !t.Verdict.Integrity.Intact {
			h.leave("%s: not intact, does not count", t.Record)
			h.NotIntact++
			continue
		}
		h.see(t)
		key := v + "\x00" + t.Run.Unit.ID
		o := units[key]
		if o == nil {
			o = &Observation{Unit: t.Run.Unit.ID, Record: t.Record, HighM: math.Inf(1)}
			units[key] = o
			order = append(order, key)
			of[key] = v
		} else if o.Failed() {
			h.leave("%s: %s had failed before; a repaired unit is another one and does not count", t.Record, o.Unit)
			continue
		}
		f := t.Verdict.FirstFailure
		if f == nil {
			if t.Verdict.Verdict == analysis.Fail {
				h.leave("%s: failed, but no first failure was found; does not count", t.Record)
				continue
			}
			if t.Verdict.Verdict == analysis.Inconclusive {
				h.leave("%s: inconclusive, counts as tight to %.1f m", t.Record, t.Verdict.ProvedDepthM)
			}
			if d := t.Verdict.ProvedDepthM; d > o.LowM {
				o.LowM, o.ProvedM, o.Record, o.HoldS = d, d, t.Record, holdAt(t.Verdict, d)
			}
			continue
		}
		o.Record, o.Mode, o.HoldS = t.Record, f.Mode, holdAt(t.Verdict, f.DepthM)
		o.HighM = f.DepthHighM
		if how == Held {
			o.HighM = levelNear(t, f.LastTightDepthM, o.HighM)
		}
		low := max(o.LowM, f.LastTightDepthM)
		o.ProvedM = low
		if how == Began {
			low = f.DepthLowM
		}
		if low >= o.HighM {
			h.leave("%s: %s fails at %.1f m after it held %.1f m; counts as failed between its last tight hold in this test and %.1f m", t.Record, o.Unit, f.DepthM, low, o.HighM)
			low = f.LastTightDepthM
			o.ProvedM = low
			if low >= o.HighM {
				low, o.ProvedM = 0, 0
			}
		}
		o.LowM = low
	}
	for _, key := range order {
		h, o := byVariant[of[key]], *units[key]
		if o.LowM <= 0 && !o.Failed() {
			h.leave("%s: nothing was proved and nothing failed; does not count", o.Unit)
			continue
		}
		if o.HoldS > 0 {
			h.HoldLowS, h.HoldHighS = min(h.HoldLowS, o.HoldS), max(h.HoldHighS, o.HoldS)
		}
		h.Observations = append(h.Observations, o)
	}
	sort.Strings(names)
	var list []History
	for _, v := range names {
		list = append(list, *byVariant[v])
	}
	return list
}

func (h *History) leave(format string, args ...any) {
	h.Left = append(h.Left, fmt.Sprintf(format, args...))
}

// levelNear puts the level of a stage for a failure's depth that lies beyond it by
// less than 2 % (or 0.1 m): the levels that other units held are nominal too, and
// a hair between the two would pass for knowledge.
func levelNear(t Test, tightM, depthM float64) float64 {
	levels := make([]float64, 0, 16)
	for _, h := range t.Verdict.Holds {
		levels = append(levels, h.DepthM)
	}
	for _, s := range t.Run.Profile.Stages {
		levels = append(levels, s.DepthM)
		for k := 1; s.StepM > 0 && k < 1000 && s.DepthM+float64(k-1)*s.StepM < depthM; k++ {
			levels = append(levels, s.DepthM+float64(k)*s.StepM)
		}
	}
	for _, l := range levels {
		if l > tightM && l < depthM && depthM-l <= max(0.02*l, 0.1) {
			return l
		}
	}
	return depthM
}

// holdAt gives the length of the hold nearest to a depth, s.
func holdAt(v analysis.Verdict, depthM float64) float64 {
	best, length := math.Inf(1), time.Duration(0)
	for _, h := range v.Holds {
		if d := math.Abs(h.DepthM - depthM); d < best {
			best, length = d, h.End.Sub(h.Start)
		}
	}
	return length.Seconds()
}

// shareOfRating is how much of a chamber's rating and relief setting is used.
const shareOfRating = 0.9

// see takes what a sheet says about bench, profile and water.
func (h *History) see(t Test) {
	p, b := t.Run.Profile, t.Run.Bench
	h.ProofFactor = max(h.ProofFactor, p.ProofFactor)
	if c, err := profiles.NewColumn(p.Water); err == nil && b.RatedPa > 0 && b.RoomPa > 0 {
		gauge := b.RatedPa - b.RoomPa
		if b.ReliefPa > 0 {
			gauge = min(gauge, b.ReliefPa-b.RoomPa)
		}
		h.BenchLimitM = max(h.BenchLimitM, c.DepthM(shareOfRating*gauge))
	}
	if kind := p.Water.Kind(); !slices.Contains(h.Waters, kind) {
		h.Waters = append(h.Waters, kind)
	}
	h.WaterLowC, h.WaterHighC = min(h.WaterLowC, p.Water.TemperatureC), max(h.WaterHighC, p.Water.TemperatureC)
}

// MixedHolds tells whether the deciding holds differ by more than a factor of two:
// a rating for ten minutes is none for a night.
func (h History) MixedHolds() bool { return h.HoldHighS > 2*h.HoldLowS }
