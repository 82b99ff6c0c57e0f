package characterise

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// VolumePoint is a pressure with the water that was in the chamber more than at
// the start, at rest.
type VolumePoint struct {
	Pa float64 // absolute
	ML float64 // brought in, or, negative, taken out
	U  float64 // standard uncertainty of ML; 0: as the others
}

// Compliance is what a chamber gives way by: its gas by Boyle's law, its walls
// and water in proportion.
type Compliance struct {
	GasML       float64 // free gas, at the room's pressure
	GasSD       float64 // standard uncertainty
	MLPerBar    float64 // stiffness: chamber and water without the gas
	SD          float64
	Correlation float64 // of the two
	RMSML       float64 // of the residuals
	N           int
	Bent        bool // the points do not follow the curve: gas went in or out, or it had not cooled
}

// At is the compliance at a pressure, ml/bar: −dV/dp of the gas, and the stiffness.
func (c Compliance) At(pa, roomPa float64) float64 {
	return c.GasML*roomPa/(pa*pa)*1e5 + c.MLPerBar
}

// FreeShare is the share of the chamber that is gas at the room's pressure.
func (c Compliance) FreeShare(chamberML float64) float64 { return c.GasML / chamberML }

// String says the figures as a person reads them.
func (c Compliance) String() string {
	return fmt.Sprintf("stiffness %.3g ± %.2g ml/bar, free gas %.4g ± %.2g ml at room pressure, %d points, residual %.2g ml",
		c.MLPerBar, coverage95*c.SD, c.GasML, coverage95*c.GasSD, c.N, c.RMSML)
}

// toldShare is the widest 95 % half-width, as a share, with which a figure is one.
const toldShare = 0.5

// Told says why the figures are not to be used, or nil: points that cannot tell the
// gas and the stiffness apart give a pair of numbers all the same.
func (c Compliance) Told() error {
	for _, f := range []struct {
		name, unit, help string
		is, sd           float64
	}{{"stiffness", "ml/bar", "higher pressures", c.MLPerBar, c.SD}, {"free gas", "ml", "lower pressures, from the room's on", c.GasML, c.GasSD}} {
		if !(coverage95*f.sd <= toldShare*f.is) {
			return fmt.Errorf("the points do not show the %s: %.3g ± %.2g %s; more of them, and %s, would", f.name, f.is, coverage95*f.sd, f.unit, f.help)
		}
	}
	if c.Bent {
		return errors.New("the points do not follow the curve of gas and stiffness: gas went in or out, or had not cooled")
	}
	return nil
}

const (
	leastPoints = 5
	leastRange  = 0.5e5 // Pa between the lowest and the highest
	bentTimes   = 3     // the residual over the stated uncertainty
)

// FitCompliance finds free gas Vg and stiffness S from at least five points:
//
//	V = V0 + Vg (1 − p0/p) + S (p − p0)
//
// by weighted least squares. The first term is what was lost before the first
// point (a dry pump, a hose); the second is isothermal ideal gas (Boyle), good to
// 1 % below 50 bar, once the gas has taken its surroundings' temperature; the third
// holds while walls and water are elastic. Gas and stiffness can be told apart
// only over a good range of pressure: their uncertainties say how well.
func FitCompliance(points []VolumePoint, roomPa float64) (Compliance, error) {
	if len(points) < leastPoints {
		return Compliance{}, fmt.Errorf("%d points, want at least %d", len(points), leastPoints)
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range points {
		if !(p.Pa > 0.5*roomPa) {
			return Compliance{}, fmt.Errorf("%.0f Pa is no absolute pressure of a chamber", p.Pa)
		}
		low, high = min(low, p.Pa), max(high, p.Pa)
	}
	if high-low < leastRange {
		return Compliance{}, fmt.Errorf("the points reach over %.2f bar, want at least %.2f", (high-low)/1e5, leastRange/1e5)
	}
	n := len(points)
	x, y := mat.NewDense(n, 3, nil), mat.NewVecDense(n, nil)
	stated := false
	for i, p := range points {
		w := 1.0
		if p.U > 0 {
			w, stated = 1/p.U, true
		}
		x.SetRow(i, []float64{w, w * (1 - roomPa/p.Pa), w * (p.Pa - roomPa) / 1e5})
		y.SetVec(i, w*p.ML)
	}
	var qr mat.QR
	qr.Factorize(x)
	var beta mat.VecDense
	if err := qr.SolveVecTo(&beta, false, y); err != nil {
		return Compliance{}, errors.New("the points do not tell gas and stiffness apart; reach over more pressure")
	}
	var fit, normal, cov mat.Dense
	fit.Mul(x, &beta)
	sum, raw := 0.0, 0.0
	for i := range n {
		r := y.AtVec(i) - fit.At(i, 0)
		sum += r * r
		d := points[i].ML - fit.At(i, 0)/x.At(i, 0)
		raw += d * d
	}
	variance := sum / float64(n-3)
	normal.Mul(x.T(), x)
	if err := cov.Inverse(&normal); err != nil {
		return Compliance{}, errors.New("the points do not tell gas and stiffness apart; reach over more pressure")
	}
	c := Compliance{GasML: beta.AtVec(1), MLPerBar: beta.AtVec(2), N: n, RMSML: math.Sqrt(raw / float64(n))}
	if stated {
		c.Bent = math.Sqrt(variance) > bentTimes
		variance = max(variance, 1)
	}
	c.GasSD, c.SD = math.Sqrt(variance*cov.At(1, 1)), math.Sqrt(variance*cov.At(2, 2))
	c.Correlation = cov.At(1, 2) / math.Sqrt(cov.At(1, 1)*cov.At(2, 2))
	return c, nil
}
