package register

import (
	"math"
	"time"

	"proofpot/analysis"
	"proofpot/profiles"
	"proofpot/rig/setup"
)

// TestOf makes the event of a record: what its analysis found, dated by the start
// of its first stage. Fingerprint is that of its readings, in hex.
func TestOf(run setup.Run, r *analysis.Result, fingerprint string) Event {
	v := &r.Verdict
	t := Test{Record: v.Record, Fingerprint: fingerprint, Variant: run.Unit.Variant, Profile: run.Profile.Name,
		Verdict: v.Verdict, ProvedM: known(v.ProvedDepthM), RatedM: known(v.RatedDepthM), Water: run.Profile.Water,
		SealedPa: known(run.Unit.SealedPa)}
	if c := r.Conditions; !math.IsNaN(c.WaterMinC) && !math.IsNaN(c.WaterMaxC) {
		t.WaterMinC, t.WaterMaxC = math.Round(c.WaterMinC*100)/100, math.Round(c.WaterMaxC*100)/100
	}
	for _, h := range v.Holds {
		if h.Verdict != analysis.Pass || h.DepthM < v.ProvedDepthM-0.05 {
			continue
		}
		if s := h.End.Sub(h.Start).Seconds(); s > t.HoldS {
			t.HoldS = s
		}
		if h.LeakMLPerH != nil {
			t.LeakMLPerH = math.Max(t.LeakMLPerH, math.Ceil(known(h.LeakMLPerH.High)*1e4)/1e4)
		}
	}
	if v.RatedDepthM > 0 {
		for _, one := range visits(run, r.Stages, 0, v.RatedDepthM) {
			if one.whole() {
				t.Cycles++
			}
		}
	}
	t.Cycling = cycling(run, r)
	if f := v.FirstFailure; f != nil {
		t.Mode, t.FailedM = f.Mode, known(f.DepthM)
	}
	var at time.Time
	if len(r.Stages) > 0 {
		at = r.Stages[0].Start
	}
	return Event{Unit: run.Unit.ID, Kind: Tested, At: at.UTC().Truncate(time.Second), Test: &t}
}

// ClosureOf is what a unit's sheet says of how it was closed.
func ClosureOf(u setup.Unit) *Closure {
	return &Closure{Seals: u.Seals, Lubricant: u.Lubricant, Torque: u.Torque, SealedPa: u.SealedPa, SealedC: u.SealedC}
}

// CandidateOf makes a candidate of a profile and the time that it takes.
func CandidateOf(p profiles.Profile, takes time.Duration) Candidate {
	return Candidate{Profile: p.Name, Water: p.Water, RatedM: p.RatedM(), Takes: takes}
}

// known gives 0 for what was not measured.
func known(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	return v
}
