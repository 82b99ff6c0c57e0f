package analysis

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// linear is a linear model with Gaussian errors and Gaussian knowledge of its
// parameters beforehand: y = X b + e, e ~ N(0, cov), b ~ N(mean, sd²). A
// parameter of which nothing is known beforehand has sd +Inf. It is generalised
// least squares where every sd is infinite (Aitken 1936) and Bayesian linear
// regression else (Gelman et al., Bayesian Data Analysis, 3rd ed., section 14.8).
type linear struct {
	x    *mat.Dense
	y    []float64
	cov  *mat.SymDense // of the errors; nil where they are independent
	free []float64     // the variances of independent errors
	mean []float64
	sd   []float64
}

// whiten gives cov⁻¹ v, by columns.
type whiten interface {
	SolveTo(dst *mat.Dense, b mat.Matrix) error
	LogDet() float64
}

// independent is a diagonal covariance by its variances.
type independent []float64

func (d independent) SolveTo(dst *mat.Dense, b mat.Matrix) error {
	dst.CloneFrom(b)
	for i, v := range d {
		if !(v > 0) {
			return errSingular
		}
		row := dst.RawRowView(i)
		for j := range row {
			row[j] /= v
		}
	}
	return nil
}

func (d independent) LogDet() float64 {
	s := 0.0
	for _, v := range d {
		s += math.Log(v)
	}
	return s
}

// posterior is what the data leave of a linear model.
type posterior struct {
	b           []float64
	cov         *mat.SymDense
	chi2        float64 // of the residuals, in units of cov
	logEvidence float64 // up to a constant that only the data fix
	residual    []float64
}

func (p *posterior) sd(i int) float64 { return math.Sqrt(max(p.cov.At(i, i), 0)) }

// share is the part of the standard uncertainty of parameter i that comes from
// what was known beforehand of parameter j: the sensitivity ∂b_i/∂mean_j times
// sd_j (GUM, JCGM 100:2008, section 5.1).
func (p *posterior) share(i, j int, sdj float64) float64 {
	if math.IsInf(sdj, 1) || sdj == 0 {
		return 0
	}
	return math.Abs(p.cov.At(i, j)) / sdj
}

var errSingular = errors.New("the data do not fix the model")

func (m *linear) solve() (*posterior, error) {
	n, k := m.x.Dims()
	var errs whiten = independent(m.free)
	if m.cov != nil {
		chol := &mat.Cholesky{}
		if !chol.Factorize(m.cov) {
			return nil, errSingular
		}
		errs = chol
	}
	var ci mat.Dense // cov⁻¹ X
	if err := errs.SolveTo(&ci, m.x); err != nil {
		return nil, err
	}
	var a mat.Dense
	a.Mul(m.x.T(), &ci)
	normal := mat.NewSymDense(k, nil)
	for i := range k {
		for j := i; j < k; j++ {
			normal.SetSym(i, j, (a.At(i, j)+a.At(j, i))/2)
		}
	}
	y := mat.NewVecDense(n, m.y)
	right := mat.NewVecDense(k, nil)
	right.MulVec(ci.T(), y)
	logPrior := 0.0
	for i, sd := range m.sd {
		if !math.IsInf(sd, 1) {
			w := 1 / (sd * sd)
			normal.SetSym(i, i, normal.At(i, i)+w)
			right.SetVec(i, right.AtVec(i)+w*m.mean[i])
			logPrior += 2 * math.Log(sd)
		}
	}
	// Scale to a unit diagonal: parameters differ by many orders of magnitude.
	scale := make([]float64, k)
	for i := range scale {
		d := normal.At(i, i)
		if !(d > 0) {
			return nil, errSingular
		}
		scale[i] = 1 / math.Sqrt(d)
	}
	for i := range k {
		for j := i; j < k; j++ {
			normal.SetSym(i, j, normal.At(i, j)*scale[i]*scale[j])
		}
		right.SetVec(i, right.AtVec(i)*scale[i])
	}
	var nc mat.Cholesky
	if !nc.Factorize(normal) || nc.Cond() > 1e15 {
		return nil, errSingular
	}
	sol := mat.NewVecDense(k, nil)
	if err := nc.SolveVecTo(sol, right); err != nil {
		return nil, err
	}
	cov := mat.NewSymDense(k, nil)
	if err := nc.InverseTo(cov); err != nil {
		return nil, err
	}
	p := &posterior{b: make([]float64, k), cov: cov, residual: make([]float64, n)}
	logScale := 0.0
	for i := range k {
		p.b[i] = sol.AtVec(i) * scale[i]
		logScale -= 2 * math.Log(scale[i])
		for j := i; j < k; j++ {
			cov.SetSym(i, j, cov.At(i, j)*scale[i]*scale[j])
		}
	}
	for i := range n {
		r := m.y[i]
		for j := range k {
			r -= m.x.At(i, j) * p.b[j]
		}
		p.residual[i] = r
	}
	rv := mat.NewVecDense(n, p.residual)
	var half mat.Dense
	if err := errs.SolveTo(&half, rv); err != nil {
		return nil, err
	}
	p.chi2 = mat.Dot(rv, half.ColView(0))
	penalty := 0.0
	for i, sd := range m.sd {
		if !math.IsInf(sd, 1) {
			z := (p.b[i] - m.mean[i]) / sd
			penalty += z * z
		}
	}
	p.logEvidence = -0.5 * (p.chi2 + penalty + errs.LogDet() + nc.LogDet() + logScale + logPrior)
	return p, nil
}
