package calibration

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Budget is where the uncertainty comes from: standard uncertainties in Pa.
type Budget struct {
	ReferencePa     float64 `toml:"reference_pa"`
	RepeatabilityPa float64 `toml:"repeatability_pa"`
	ResidualsPa     float64 `toml:"residuals_pa"` // of the fit; the class's where there are none
	HysteresisPa    float64 `toml:"hysteresis_pa"`
	ResolutionPa    float64 `toml:"resolution_pa"`
	EarlierPa       float64 `toml:"earlier_pa,omitempty"` // of the calibration that a zero shifts
	CombinedPa      float64 `toml:"combined_pa"`
	Coverage        float64 `toml:"coverage"`    // k for 95.45 %
	ExpandedPa      float64 `toml:"expanded_pa"` // k times combined
}

// Class is what is known of a sensor beforehand.
type Class struct {
	AccuracyPa   float64 // half width of its error; 0: not known
	ResolutionPa float64 // one step
}

// rectangle is the standard deviation of a rectangular distribution of half
// width 1 (JCGM 100:2008, 4.3.7).
var rectangle = 1 / math.Sqrt(3)

// Fit finds the correction of a degree (0 to 3) from points and fills in
// CorrectionPa, range, residuals, hysteresis and budget. An error says what
// points are missing.
func Fit(points []Point, degree int, class Class) (Calibration, error) {
	c := Calibration{AccuracyPa: class.AccuracyPa, Points: append([]Point(nil), points...)}
	n := len(points)
	if degree < 0 || degree > mostDegree {
		return c, fmt.Errorf("degree %d: must be 0 to %d", degree, mostDegree)
	}
	if err := usable(points); err != nil {
		return c, err
	}
	if d := distinct(points); d <= degree {
		return c, fmt.Errorf("%d pressures cannot bear a correction of degree %d; it needs %d that differ", d, degree, degree+1)
	}
	if n == degree+1 && !(class.AccuracyPa > 0) {
		return c, errors.New("so few points leave no residuals, and the sensor has no accuracy_pa that could stand for them; state it or take more points")
	}
	a, y := mat.NewDense(n, degree+1, nil), mat.NewVecDense(n, nil)
	for i, p := range points {
		x := 1.0
		for j := range degree + 1 {
			a.Set(i, j, x)
			x *= p.ReadingPa / 1e5
		}
		y.SetVec(i, p.ReferencePa-p.ReadingPa)
	}
	var qr mat.QR
	qr.Factorize(a)
	var beta mat.VecDense
	if err := qr.SolveVecTo(&beta, false, y); err != nil {
		return c, fmt.Errorf("the points lie too close together for degree %d", degree)
	}
	c.CorrectionPa = beta.RawVector().Data
	c.LowPa, c.HighPa = math.Inf(1), math.Inf(-1)
	squares := 0.0
	for i := range c.Points {
		p := &c.Points[i]
		p.ResidualPa = p.ReferencePa - c.Correct(p.ReadingPa)
		squares += p.ResidualPa * p.ResidualPa
		c.WorstPa = max(c.WorstPa, math.Abs(p.ResidualPa))
		c.LowPa, c.HighPa = min(c.LowPa, p.ReadingPa), max(c.HighPa, p.ReadingPa)
	}
	c.HysteresisPa = hysteresis(points)
	c.Budget = budget(points, c.HysteresisPa, squares, n-degree-1, class)
	return c, nil
}

// AtZero shifts an earlier calibration (nil: none) so that it agrees with one
// point at open vent. It is due when the earlier one was: a zero renews no slope.
func AtZero(p Point, earlier *Calibration, class Class) (Calibration, error) {
	if earlier == nil {
		return Fit([]Point{p}, 0, class)
	}
	if err := usable([]Point{p}); err != nil {
		return Calibration{}, err
	}
	c := *earlier
	c.CorrectionPa = append([]float64(nil), earlier.CorrectionPa...)
	c.CorrectionPa[0] += p.ReferencePa - earlier.Correct(p.ReadingPa)
	c.Points, c.AccuracyPa = []Point{p}, class.AccuracyPa
	b := budget(c.Points, 0, 0, 0, Class{ResolutionPa: class.ResolutionPa})
	b.EarlierPa = earlier.Budget.ExpandedPa / 2
	b.CombinedPa = math.Hypot(b.CombinedPa, b.EarlierPa)
	b.ExpandedPa = b.Coverage * b.CombinedPa
	c.Budget = b
	return c, nil
}

func usable(points []Point) error {
	if len(points) == 0 {
		return errors.New("no point was taken")
	}
	for i, p := range points {
		for _, v := range [...]float64{p.ReferencePa, p.ReadingPa} {
			if !(v > 0 && v <= mostPa) {
				return fmt.Errorf("point %d: %g Pa is no absolute pressure", i+1, v)
			}
		}
		if !(p.ReferenceUPa >= 0 && p.ReferenceUPa <= mostPa && p.ScatterPa >= 0 && p.ScatterPa <= mostPa) || p.Readings < 1 {
			return fmt.Errorf("point %d: has no reading, or no uncertainty that could be one", i+1)
		}
	}
	return nil
}

// distinct counts pressures that lie more than a thousandth of their range apart.
func distinct(points []Point) int {
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range points {
		low, high = min(low, p.ReadingPa), max(high, p.ReadingPa)
	}
	n := 0
	for i, p := range points {
		fresh := true
		for _, q := range points[:i] {
			fresh = fresh && math.Abs(p.ReadingPa-q.ReadingPa) > (high-low)/1000
		}
		if fresh {
			n++
		}
	}
	return n
}

// hysteresis is the largest difference between the error of a falling point and
// that of the rising points about it, on the straight line between the two.
func hysteresis(points []Point) float64 {
	worst := 0.0
	for _, f := range points {
		if !f.Falling {
			continue
		}
		var below, above *Point
		for i := range points {
			p := &points[i]
			if p.Falling {
				continue
			}
			if p.ReferencePa <= f.ReferencePa && (below == nil || p.ReferencePa > below.ReferencePa) {
				below = p
			}
			if p.ReferencePa >= f.ReferencePa && (above == nil || p.ReferencePa < above.ReferencePa) {
				above = p
			}
		}
		if below == nil || above == nil {
			continue
		}
		rising := below.ReadingPa - below.ReferencePa
		if d := above.ReferencePa - below.ReferencePa; d > 0 {
			rising += (above.ReadingPa - above.ReferencePa - rising) * (f.ReferencePa - below.ReferencePa) / d
		}
		worst = max(worst, math.Abs(f.ReadingPa-f.ReferencePa-rising))
	}
	return worst
}

func budget(points []Point, hysteresisPa, squares float64, freedom int, class Class) Budget {
	var b Budget
	for _, p := range points {
		b.ReferencePa = max(b.ReferencePa, p.ReferenceUPa)
		b.RepeatabilityPa = max(b.RepeatabilityPa, p.ScatterPa/math.Sqrt(float64(p.Readings)))
	}
	b.ResidualsPa = class.AccuracyPa * rectangle
	if freedom > 0 {
		b.ResidualsPa = math.Sqrt(squares / float64(freedom))
	}
	b.HysteresisPa = hysteresisPa / 2 * rectangle
	b.ResolutionPa = class.ResolutionPa / 2 * rectangle
	for _, u := range [...]float64{b.ReferencePa, b.RepeatabilityPa, b.ResidualsPa, b.HysteresisPa, b.ResolutionPa} {
		b.CombinedPa = math.Hypot(b.CombinedPa, u)
	}
	b.Coverage = 2
	if freedom > 0 && b.ResidualsPa > 0 {
		b.Coverage = coverage(float64(freedom) * math.Pow(b.CombinedPa/b.ResidualsPa, 4))
	}
	b.ExpandedPa = b.Coverage * b.CombinedPa
	return b
}

// coverage is t for 95.45 % with the effective degrees of freedom (JCGM
// 100:2008, G.4.1 and table G.2), which are cut to a whole number.
func coverage(freedom float64) float64 {
	if freedom > 1000 {
		return 2
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: max(1, math.Floor(freedom))}.Quantile(0.5 + 0.9545/2)
}
