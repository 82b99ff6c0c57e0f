package statistics

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// SuccessRun gives the lower bound, at a confidence, of the share of such units
// that would pass where n of n have: R = (1−C)^(1/n), the classical form (the
// beta quantile of Clopper and Pearson 1934 for no failures; the Bayesian
// variant with a flat prior has n+1 for n).
func SuccessRun(n int, confidence float64) float64 {
	if n < 1 {
		return 0
	}
	return math.Pow(1-confidence, 1/float64(n))
}

// SuccessRunUnits gives how many units must all pass to show a share at a
// confidence.
func SuccessRunUnits(share, confidence float64) int {
	return int(math.Ceil(math.Log(1-confidence)/math.Log(share) - 1e-9))
}

// PassShareLower gives the one-sided lower bound of the share that passes where
// failed of n have failed: 1 less the beta quantile of Clopper and Pearson 1934.
func PassShareLower(n, failed int, confidence float64) float64 {
	if failed >= n {
		return 0
	}
	return 1 - distuv.Beta{Alpha: float64(failed) + 1, Beta: float64(n - failed)}.Quantile(confidence)
}

// FailShareLimits gives the two-sided limits of the share that fails (Clopper
// and Pearson 1934).
func FailShareLimits(n, failed int, confidence float64) Limits {
	tail := (1 - confidence) / 2
	l := Limits{0, 1}
	if failed > 0 {
		l.Low = distuv.Beta{Alpha: float64(failed), Beta: float64(n-failed) + 1}.Quantile(tail)
	}
	if failed < n {
		l.High = distuv.Beta{Alpha: float64(failed) + 1, Beta: float64(n - failed)}.Quantile(1 - tail)
	}
	return l
}

// ProofCredit gives the lower bound of the share of such units that is tight at
// the rated depth where n of n passed a proof deeper by a factor, if depths are
// Weibull with the assumed slope β: R = (1−C)^(1/(n·factor^β)).
func ProofCredit(n int, factor, slope, confidence float64) float64 {
	return math.Pow(1-confidence, 1/(float64(n)*math.Pow(factor, slope)))
}

// ProofCreditAt is ProofCredit where the units were proved to levels of their own:
// R = (1−C)^(1/Σ(level/depth)^β), which is ProofCredit where all levels are factor
// times the depth, and says 1−p at the depth that ZeroFailure gives for p. Levels
// count as they do there, so it holds too where units failed. 0 where nothing was
// proved.
func ProofCreditAt(all []Observation, depthM, slope, confidence float64) float64 {
	most := TightUntil(all)
	sum := 0.0
	for _, o := range all {
		sum += math.Pow(min(o.LowM, most)/depthM, slope)
	}
	if !(sum > 0) {
		return 0
	}
	return math.Pow(1-confidence, 1/sum)
}

// EvidenceAt says what the units show at a depth above 0; see Evidence.
func EvidenceAt(all []Observation, depthM, slope, confidence float64) Evidence {
	e := Evidence{DepthM: depthM}
	if !(depthM > 0) {
		return e
	}
	most := TightUntil(all)
	e.MarginLow = math.Inf(1)
	for _, o := range all {
		switch {
		case o.LowM >= depthM:
			e.Held++
			e.Of++
		case o.Failed():
			e.Of++
		default: // not tested to that depth, and did not fail: it says nothing here
			continue
		}
		e.MarginLow = min(e.MarginLow, min(o.LowM, most)/depthM)
		e.MarginTop = max(e.MarginTop, min(o.LowM, most)/depthM)
	}
	if e.Of == 0 {
		e.MarginLow = 0
		return e
	}
	e.Plain = PassShareLower(e.Of, e.Of-e.Held, confidence)
	e.Credited = ProofCreditAt(all, depthM, slope, confidence)
	return e
}

// AssumedSlope is the Weibull slope taken where none is given: printed and
// hand-made parts are taken to scatter by 20 % (common practice, no source).
const AssumedSlope = 6.0

// ZeroFailure gives the lower bound of the value by which a share p has failed,
// from the levels at which no unit had failed yet, if values are Weibull with the
// assumed slope β: η = (Σ level^β / −ln(1−C))^(1/β), t_p = η·(−ln(1−p))^(1/β)
// (the Weibayes of Abernethy, "The New Weibull Handbook", 5th ed., chapter 6). A
// unit counts with where it was last tight, at most with the level of the first
// failure of any: so it holds too where several failed in one step. 0 where
// nothing is left.
func ZeroFailure(all []Observation, p, slope, confidence float64) float64 {
	most := TightUntil(all)
	sum := 0.0
	for _, o := range all {
		sum += math.Pow(min(o.LowM, most), slope)
	}
	return math.Pow(sum*-math.Log1p(-p)/-math.Log(1-confidence), 1/slope)
}
