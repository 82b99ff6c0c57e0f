package statistics

import (
	"fmt"
	"math"
)

// Observation is what one unit's tests tell about where it first fails: above
// LowM and at or below HighM. LowM is 0 where it failed in the first stage
// (left-censored), HighM is +Inf where it did not fail (right-censored); both
// are the same where the value is known exactly. The unit of the values is the
// caller's: m of depth, or cycles.
type Observation struct {
	Unit, Record string
	LowM, HighM  float64
	Mode         string  // of the failure; empty where there was none
	HoldS        float64 // s, of the hold that decided; 0 where unknown
	ProvedM      float64 // m, deepest hold passed
}

// Failed tells whether a failure was seen.
func (o Observation) Failed() bool { return !math.IsInf(o.HighM, 1) }

// Exact tells whether the value is known exactly.
func (o Observation) Exact() bool { return o.LowM == o.HighM }

// Check refuses an observation that is none.
func (o Observation) Check() error {
	if !(o.LowM >= 0) || math.IsInf(o.LowM, 0) || !(o.HighM > 0) || o.HighM < o.LowM {
		return fmt.Errorf("%s fails between %g and %g: want 0 ≤ low ≤ high, high above 0", o.Unit, o.LowM, o.HighM)
	}
	return nil
}

// Telling keeps the observations that say anything: those with LowM 0 and HighM
// +Inf do not.
func Telling(all []Observation) []Observation {
	var kept []Observation
	for _, o := range all {
		if o.LowM > 0 || o.Failed() {
			kept = append(kept, o)
		}
	}
	return kept
}

// Failures counts those that failed.
func Failures(all []Observation) int {
	n := 0
	for _, o := range all {
		if o.Failed() {
			n++
		}
	}
	return n
}

// ByMode takes the failures of one mode as such and every other failure as a
// unit that had not failed by this mode where it was last tight: competing
// modes, each censored by the others.
func ByMode(all []Observation, mode string) []Observation {
	kept := make([]Observation, len(all))
	for i, o := range all {
		if o.Failed() && o.Mode != mode {
			o.HighM, o.Mode = math.Inf(1), ""
		}
		kept[i] = o
	}
	return Telling(kept)
}

// TightUntil gives the deepest level at which every unit of all was still
// tight, or had been taken off the bench without a failure: the least LowM of
// those that failed, +Inf without a failure.
func TightUntil(all []Observation) float64 {
	least := math.Inf(1)
	for _, o := range all {
		if o.Failed() {
			least = min(least, o.LowM)
		}
	}
	return least
}
