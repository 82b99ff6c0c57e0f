package statistics

import "errors"

// Methods of a lower bound.
const (
	ByProfile     = "profile likelihood"
	ByZeroFailure = "zero-failure method"
	ByFactor      = "tolerance factor"
)

// Bound is the value above which at least a share of all such units lies, at a
// confidence.
type Bound struct {
	ValueM float64 // 0 where the data give none
	Method string
	Fit    *Fit    // nil by the zero-failure method
	Why    string  // why the zero-failure method, empty by profile
	Slope  float64 // assumed, by the zero-failure method
}

// LowerBound gives the lower bound of the value by which a share p has failed: by
// the profile likelihood of the family where the scatter can be estimated, else
// by the zero-failure method with the assumed Weibull slope.
func LowerBound(f Family, all []Observation, p, confidence, slope float64) (Bound, error) {
	fit, err := Estimate(f, all)
	switch {
	case errors.Is(err, ErrNotEstimable):
		return Bound{ValueM: ZeroFailure(all, p, slope, confidence), Method: ByZeroFailure, Why: Why(all), Slope: slope}, nil
	case err != nil:
		return Bound{}, err
	}
	return Bound{ValueM: fit.QuantileLower(p, confidence), Method: ByProfile, Fit: fit}, nil
}
