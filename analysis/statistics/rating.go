package statistics

import (
	"fmt"
	"math"
)

// Fewest units for a design rating: three failures, or five units (common
// practice, no source). Below, each unit stands for itself.
const (
	fewestFailures = 3
	fewestUnits    = 5
)

// Rule is what a design rating is made from.
type Rule struct {
	Family       Family
	Share        float64 // of units that may fail by the depth: 0.10 for B10
	Confidence   float64 // of the lower bound
	Slope        float64 // assumed where the scatter cannot be estimated
	ProofFactor  float64 // ≥ 1
	BenchLimitM  float64 // deepest that the bench may go; 0: unknown
	TemperatureM float64 // what the material allows at the warmest water, from its data sheet; 0: not given
}

// Term is one bound of a rating.
type Term struct {
	Name    string
	ValueM  float64
	Remark  string
	Governs bool // the least of them
}

// Evidence is what the units show at a depth: the share of all such units that is
// tight there, by lower bounds at the rule's confidence.
type Evidence struct {
	DepthM    float64
	Held, Of  int     // units that held at least that depth; one that failed within a step across it did not
	Plain     float64 // by their number alone (success run; Clopper and Pearson where some did not)
	Credited  float64 // with the credit of the proof's margin and the assumed slope
	MarginLow float64 // level that counts over that depth, of the unit with the least and the most
	MarginTop float64
}

// Tolerance is a one-sided tolerance bound: at least a share of all such units is
// tight to ValueM, at a confidence.
type Tolerance struct {
	Family            Family
	Share, Confidence float64
	Bound             Bound
}

// Rating is the depth that a way of building may be used at.
type Rating struct {
	DepthM     float64 // rounded down to whole metres; 0 where no rating can be given
	Design     bool    // false: too few units, only those tested are accepted by their own tests
	Terms      []Term  // the least counts
	Bound      Bound
	Evidence   Evidence    // at DepthM; nothing where that is 0
	Tolerances []Tolerance // for comparison, they rate nothing: both families, at the rule's share and at 95/95
	Why        string      // why it is no design rating
}

// Rate applies the rule: the least of the lower bound, the deepest proof over its
// factor, the bench's limit over the factor and the limit by temperature, rounded
// down to whole metres.
func Rate(all []Observation, r Rule) (Rating, error) {
	if !(r.ProofFactor >= 1) {
		return Rating{}, fmt.Errorf("proof factor %g: want at least 1", r.ProofFactor)
	}
	bound, err := LowerBound(r.Family, all, r.Share, r.Confidence, r.Slope)
	if err != nil {
		return Rating{}, err
	}
	how := fmt.Sprintf("%s, %s", bound.Method, r.Family)
	if bound.Fit == nil {
		how = fmt.Sprintf("%s: %s; Weibull slope %g ASSUMED, not measured", bound.Method, bound.Why, r.Slope)
	}
	deepest := 0.0
	for _, o := range all {
		deepest = max(deepest, o.ProvedM)
	}
	rating := Rating{Bound: bound, Terms: []Term{
		{Name: fmt.Sprintf("lower %.0f %% bound of B%g", 100*r.Confidence, 100*r.Share), ValueM: bound.ValueM, Remark: how},
		{Name: "deepest proof over its factor", ValueM: deepest / r.ProofFactor, Remark: fmt.Sprintf("%.1f m over %g", deepest, r.ProofFactor)},
	}}
	if r.BenchLimitM > 0 {
		rating.Terms = append(rating.Terms, Term{Name: "limit of the bench over the factor", ValueM: r.BenchLimitM / r.ProofFactor, Remark: fmt.Sprintf("%.1f m over %g", r.BenchLimitM, r.ProofFactor)})
	}
	if r.TemperatureM > 0 {
		rating.Terms = append(rating.Terms, Term{Name: "limit by temperature", ValueM: r.TemperatureM, Remark: "as given"})
	}
	least := 0
	for i, t := range rating.Terms {
		if t.ValueM < rating.Terms[least].ValueM {
			least = i
		}
	}
	rating.Terms[least].Governs = true
	rating.DepthM = math.Floor(rating.Terms[least].ValueM + 1e-9)
	rating.Evidence = EvidenceAt(all, rating.DepthM, r.Slope, r.Confidence)
	for _, of := range [][2]float64{{1 - r.Share, r.Confidence}, {0.95, 0.95}} {
		for _, f := range []Family{Weibull, Lognormal} {
			b, err := ToleranceBound(f, all, of[0], of[1], r.Slope)
			if err != nil {
				return Rating{}, err
			}
			rating.Tolerances = append(rating.Tolerances, Tolerance{f, of[0], of[1], b})
		}
	}
	failed := Failures(all)
	rating.Design = (failed >= fewestFailures || len(all) >= fewestUnits) && rating.DepthM > 0
	if !rating.Design {
		rating.Why = fmt.Sprintf("units: %d, failures: %d; a design rating wants %d failures or %d units", len(all), failed, fewestFailures, fewestUnits)
		if rating.DepthM == 0 && (failed >= fewestFailures || len(all) >= fewestUnits) {
			rating.Why = "no depth of a whole metre is left"
		}
	}
	return rating, nil
}
