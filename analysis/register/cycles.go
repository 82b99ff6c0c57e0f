package register

import (
	"slices"
	"time"

	"proofpot/analysis"
	"proofpot/profiles"
	"proofpot/rig/setup"
)

// Cycling is what one stage of a test that goes down and back again and again
// shows of how often a unit stands that.
type Cycling struct {
	DepthM   float64 `toml:"depth_m"`
	Stood    int     `toml:"stood"`               // cycles through which it was tight
	FailedBy int     `toml:"failed_by,omitempty"` // cycle in which at the latest it began to fail; 0: it did not
}

// visit is one way down to a depth, the time there, and the way up.
type visit struct {
	from, to time.Time     // from the ramp down to the next ramp down; of the last to the end of its stage, or until it leaves the depth
	dwell    time.Duration // at depth
	planned  time.Duration
}

// visits finds how often a record went to a depth or deeper, from its first stage
// of an index on. What stays down from one stage to the next is one visit.
func visits(run setup.Run, spans []analysis.StageSpan, first int, depthM float64) []visit {
	var list []visit
	down, begun := false, false
	var ramp time.Time
	for _, s := range spans {
		begun = begun || s.Index == first && s.Kind != "vent"
		if !begun {
			continue
		}
		deep := s.Kind != "vent" && s.DepthM >= depthM-0.05
		switch {
		case deep && s.Kind == "ramp":
			if !down {
				ramp = s.Start
			}
		case deep: // settle or hold
			if !down {
				if ramp.IsZero() {
					ramp = s.Start
				}
				if n := len(list); n > 0 {
					list[n-1].to = ramp
				}
				v := visit{from: ramp}
				if s.Index < len(run.Profile.Stages) {
					p := run.Profile.Stages[s.Index]
					v.planned = time.Duration((p.SettleS + p.HoldS) * float64(time.Second))
				}
				list = append(list, v)
				down, ramp = true, time.Time{}
			}
			v := &list[len(list)-1]
			v.dwell += s.End.Sub(s.Start)
			v.to = s.End
		default:
			if n := len(list); n > 0 && s.Index == first && s.Kind != "vent" {
				list[n-1].to = s.End // the way up belongs to the cycle
			}
			down, ramp = false, time.Time{}
		}
	}
	return list
}

// whole tells whether a visit stayed as long as it was meant to.
func (v visit) whole() bool { return v.dwell >= v.planned-max(v.planned/50, time.Second) }

// cycling counts the cycles of each stage that goes down more than once. A cycle
// is stood when it was gone through whole before the end of the last hold that
// passed, or before the unit can have begun to fail (the lower 95 % bound of that
// moment): after the last such moment nothing shows that it was tight.
func cycling(run setup.Run, r *analysis.Result) []Cycling {
	v := &r.Verdict
	var list []Cycling
	for i, s := range run.Profile.Stages {
		if s.Cycles < 2 || !s.Holds() {
			continue
		}
		var tight time.Time
		for _, h := range v.Holds {
			if h.Verdict == analysis.Pass && h.End.After(tight) && (v.FirstFailure == nil || !h.End.After(v.FirstFailure.TimeLow)) {
				tight = h.End
			}
		}
		if f := v.FirstFailure; f != nil && f.TimeLow.After(tight) {
			tight = f.TimeLow
		}
		c := Cycling{DepthM: s.DepthM}
		begun := 0
		for _, one := range visits(run, r.Stages, i, s.DepthM) {
			if one.whole() && !one.to.After(tight.Add(time.Second)) {
				c.Stood++
			}
			if f := v.FirstFailure; f != nil && !one.from.After(f.TimeHigh) {
				begun++
			}
		}
		if v.FirstFailure != nil {
			c.FailedBy = max(begun, c.Stood+1)
		} else if v.Verdict == analysis.Fail {
			continue // it failed, and nobody knows when
		}
		list = append(list, c)
	}
	return list
}

// Cycled is what the register knows of how often one closure of a unit stood
// going down to a depth.
type Cycled struct {
	Unit, Variant string
	Record        string // the last that counts
	Closure       int    // 1 is the first that the register knows of
	Water         profiles.Water
	Mode          string
	Cycling
}

// CycledUnits adds up the cycles of each closure of each unit over its tests, up to
// its first failure. Cycles of different depths stand apart; a seal that was parted
// or changed begins anew. A record that was entered twice counts once.
func CycledUnits(events []Event) []Cycled {
	units := map[string]bool{}
	var order []string
	var last time.Time
	for _, e := range events {
		if !units[e.Unit] {
			units[e.Unit] = true
			order = append(order, e.Unit)
		}
		if e.At.After(last) {
			last = e.At
		}
	}
	slices.Sort(order)
	var all []*Cycled
	for _, unit := range order {
		closure, seen := 0, map[string]bool{}
		fresh := true // no test since the last closure
		var open []*Cycled
		for _, e := range inOrder(unit, last, events) {
			switch e.Kind {
			case Closed, Opened, Replaced, Repaired:
				open, fresh = nil, true
			case Tested:
				if len(e.Test.Cycling) == 0 || seen[e.Test.Record] {
					continue
				}
				seen[e.Test.Record] = true
				if fresh {
					closure++
					fresh = false
				}
				for _, c := range e.Test.Cycling {
					i := slices.IndexFunc(open, func(o *Cycled) bool { return o.DepthM == c.DepthM })
					if i < 0 {
						i = len(open)
						open = append(open, &Cycled{Unit: unit, Closure: closure, Cycling: Cycling{DepthM: c.DepthM}})
						all = append(all, open[i])
					}
					o := open[i]
					if o.FailedBy > 0 {
						continue
					}
					o.Variant, o.Record, o.Water = e.Test.Variant, e.Test.Record, e.Test.Water
					if c.FailedBy > 0 {
						o.FailedBy, o.Mode = o.Stood+c.FailedBy, e.Test.Mode
					}
					o.Stood += c.Stood
				}
			}
		}
	}
	list := make([]Cycled, len(all))
	for i, c := range all {
		list[i] = *c
	}
	return list
}
