package lsq

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Problem is what is to be fitted.
type Problem struct {
	// Residuals fills r with measured minus computed, for parameters x. A
	// residual that is not finite makes x as bad as can be.
	Residuals func(x, r []float64)
	// N is the number of residuals.
	N int
	// Start, Low and High are the parameters to begin with and their bounds.
	Start, Low, High []float64
	// Scale is the size of a change that matters, for each parameter; all > 0.
	Scale []float64
	// PriorSd is how far each parameter may be from its start as known before
	// the data, one standard deviation, in units of the parameter; 0 or nil =
	// nothing is known. NoiseSd must then be given.
	PriorSd []float64
	// NoiseSd is the standard deviation of a residual, which then count as
	// independent; 0 = from the residuals, with their correlation in time.
	NoiseSd float64
}

// Result is what was found. Slices are in the order of the parameters.
type Result struct {
	X          []float64
	Sd         []float64   // standard deviation, with all that is known
	Cov        [][]float64 // the same as covariance
	RMS        float64     // of the residuals
	Inflation  float64     // factor in Sd for residuals that hang together in time
	AtBound    []bool
	Iterations int
	// Singular are the singular values of the data alone, in parameters counted
	// in Scale, and Directions the combination that belongs to each, largest
	// first. A small one is a combination that the data do not tell.
	Singular   []float64
	Directions [][]float64
}

// Correlation gives the correlation of two parameters, -1..1.
func (r *Result) Correlation(i, j int) float64 {
	if r.Sd[i] == 0 || r.Sd[j] == 0 {
		return 0
	}
	return r.Cov[i][j] / (r.Sd[i] * r.Sd[j])
}

const (
	maxIterations = 60
	// diffShare of Scale is the step of the numeric derivative.
	diffShare = 1e-3
	// gainEnough is the relative gain of the sum of squares below which the
	// search ends.
	gainEnough = 1e-9
)

// Solve finds the least squares by damped Gauss-Newton steps.
// Source: Marquardt 1963, J. SIAM 11, 431-441 (from memory), with the diagonal
// of Scale as damping, and steps cut at the bounds.
func Solve(p Problem) (Result, error) {
	n := len(p.Start)
	if err := p.check(); err != nil {
		return Result{}, err
	}
	x := append([]float64(nil), p.Start...)
	for i := range x {
		x[i] = math.Max(p.Low[i], math.Min(p.High[i], x[i]))
	}
	f := newField(&p)
	r := make([]float64, f.rows)
	cost := f.at(x, r)
	if math.IsInf(cost, 1) {
		return Result{}, errors.New("least squares: the start gives residuals that are no numbers; begin with parameters that the model can run with")
	}
	jac := mat.NewDense(f.rows, n, nil)
	try, rTry := make([]float64, n), make([]float64, f.rows)
	damping := 1e-3
	res := Result{}
	for res.Iterations = 1; res.Iterations <= maxIterations; res.Iterations++ {
		f.jacobian(x, r, jac)
		before := cost
		moved := false
		for range 12 {
			if !f.step(jac, r, x, damping, try) {
				damping *= 10
				continue
			}
			if c := f.at(try, rTry); c < cost {
				copy(x, try)
				r, rTry = rTry, r
				cost, moved = c, true
				damping = math.Max(damping/10, 1e-12)
				break
			}
			damping *= 10
		}
		if !moved || before-cost <= gainEnough*before {
			break
		}
	}
	f.jacobian(x, r, jac)
	return f.result(res, x, r, jac)
}

func (p *Problem) check() error {
	n := len(p.Start)
	if n == 0 || p.N < n {
		return fmt.Errorf("least squares: %d measurements for %d parameters; allowed is at least one parameter and as many measurements", p.N, n)
	}
	if len(p.Low) != n || len(p.High) != n || len(p.Scale) != n || (p.PriorSd != nil && len(p.PriorSd) != n) {
		return fmt.Errorf("least squares: %d parameters, but %d and %d bounds, %d scales, %d priors", n, len(p.Low), len(p.High), len(p.Scale), len(p.PriorSd))
	}
	for i := range p.Start {
		if !(p.Low[i] < p.High[i]) || !(p.Scale[i] > 0) {
			return fmt.Errorf("least squares: parameter %d has bounds %g and %g and scale %g; allowed is low below high and scale above 0", i, p.Low[i], p.High[i], p.Scale[i])
		}
	}
	if p.PriorSd != nil && !(p.NoiseSd > 0) {
		return errors.New("least squares: a prior without NoiseSd; say how large a residual is by noise alone")
	}
	return nil
}

// field is the problem with the priors as further residuals.
type field struct {
	p     *Problem
	rows  int
	noise float64
	up    []float64
	ru    []float64
}

func newField(p *Problem) *field {
	f := &field{p: p, rows: p.N, noise: 1}
	if p.PriorSd != nil {
		f.rows += len(p.Start)
		f.noise = p.NoiseSd
	}
	f.up, f.ru = make([]float64, len(p.Start)), make([]float64, f.rows)
	return f
}

// at fills r and gives the sum of squares, +Inf where it is no number.
func (f *field) at(x, r []float64) float64 {
	f.p.Residuals(x, r[:f.p.N])
	for i := f.p.N; i < f.rows; i++ {
		k := i - f.p.N
		r[i] = 0
		if sd := f.p.PriorSd[k]; sd > 0 {
			r[i] = (f.p.Start[k] - x[k]) / sd * f.noise
		}
	}
	sum := 0.0
	for _, v := range r {
		sum += v * v
	}
	if math.IsNaN(sum) {
		return math.Inf(1)
	}
	return sum
}

// jacobian fills the derivative of the residuals over x/Scale, one-sided, away
// from the bounds.
func (f *field) jacobian(x, r []float64, jac *mat.Dense) {
	for k := range x {
		h := diffShare * f.p.Scale[k]
		if x[k]+h > f.p.High[k] {
			h = -h
		}
		copy(f.up, x)
		f.up[k] += h
		if math.IsInf(f.at(f.up, f.ru), 1) {
			for i := range f.ru {
				jac.Set(i, k, 0)
			}
			continue
		}
		for i := range f.ru {
			jac.Set(i, k, (f.ru[i]-r[i])/h*f.p.Scale[k])
		}
	}
}

// step solves (J'J + damping diag) d = -J'r and cuts at the bounds. A parameter
// at its bound that would leave stays.
func (f *field) step(jac *mat.Dense, r, x []float64, damping float64, out []float64) bool {
	n := len(x)
	free := make([]bool, n)
	for i := range free {
		free[i] = true
	}
	var jtj mat.SymDense
	jtj.SymOuterK(1, jac.T())
	var g mat.VecDense
	g.MulVec(jac.T(), mat.NewVecDense(len(r), r))
	largest := 0.0
	for i := range n {
		largest = math.Max(largest, jtj.At(i, i))
		if (x[i] <= f.p.Low[i] && g.AtVec(i) > 0) || (x[i] >= f.p.High[i] && g.AtVec(i) < 0) {
			free[i] = false
		}
	}
	if largest == 0 {
		return false
	}
	a, b := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			if free[i] && free[j] {
				a.SetSym(i, j, jtj.At(i, j))
			}
		}
		if free[i] {
			a.SetSym(i, i, jtj.At(i, i)*(1+damping)+damping*1e-6*largest)
			b.SetVec(i, -g.AtVec(i))
		} else {
			a.SetSym(i, i, 1)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(a) {
		return false
	}
	var d mat.VecDense
	if chol.SolveVecTo(&d, b) != nil {
		return false
	}
	for i := range n {
		out[i] = math.Max(f.p.Low[i], math.Min(f.p.High[i], x[i]+d.AtVec(i)*f.p.Scale[i]))
	}
	return true
}

// result judges the solution.
func (f *field) result(res Result, x, r []float64, jac *mat.Dense) (Result, error) {
	n, data := len(x), r[:f.p.N]
	sum := 0.0
	for _, v := range data {
		sum += v * v
	}
	res.X, res.RMS = x, math.Sqrt(sum/float64(f.p.N))
	res.Inflation = inflation(data)
	res.AtBound = make([]bool, n)
	for i := range x {
		res.AtBound[i] = x[i] <= f.p.Low[i] || x[i] >= f.p.High[i]
	}

	var svd mat.SVD
	if !svd.Factorize(jac.Slice(0, f.p.N, 0, n), mat.SVDThin) {
		return res, errors.New("least squares: the derivative could not be decomposed")
	}
	res.Singular = svd.Values(nil)
	var v mat.Dense
	svd.VTo(&v)
	for k := range n {
		d := make([]float64, n)
		for i := range n {
			d[i] = v.At(i, k)
		}
		res.Directions = append(res.Directions, d)
	}

	// Covariance: noise^2 (J'J/inflation^2 + prior)^-1, in units of Scale. What the
	// data do not tell at all gets a variance that is large, not infinite.
	sigma := math.Sqrt(sum / math.Max(1, float64(f.p.N-n)))
	if f.p.NoiseSd > 0 {
		res.Inflation = 1
		sigma = math.Max(sigma, f.p.NoiseSd)
	}
	sigma *= res.Inflation
	info := mat.NewSymDense(n, nil)
	var jtj mat.SymDense
	jtj.SymOuterK(1, jac.Slice(0, f.p.N, 0, n).T())
	for i := range n {
		for j := i; j < n; j++ {
			info.SetSym(i, j, jtj.At(i, j)/(sigma*sigma+1e-300))
		}
		if f.p.PriorSd != nil && f.p.PriorSd[i] > 0 {
			q := f.p.Scale[i] / f.p.PriorSd[i]
			info.SetSym(i, i, info.At(i, i)+q*q)
		}
	}
	var eig mat.EigenSym
	if !eig.Factorize(info, true) {
		return res, errors.New("least squares: the information matrix could not be decomposed")
	}
	values := eig.Values(nil)
	var vec mat.Dense
	eig.VectorsTo(&vec)
	floor := math.Max(values[n-1], 1e-300) * 1e-14
	res.Cov, res.Sd = make([][]float64, n), make([]float64, n)
	for i := range n {
		res.Cov[i] = make([]float64, n)
		for j := range n {
			for k := range n {
				res.Cov[i][j] += vec.At(i, k) * vec.At(j, k) / math.Max(values[k], floor) * f.p.Scale[i] * f.p.Scale[j]
			}
		}
		res.Sd[i] = math.Sqrt(res.Cov[i][i])
	}
	return res, nil
}

// inflation is how much wider the true uncertainty is than independent
// residuals would say: sqrt((1+rho)/(1-rho)) with the correlation of
// neighbours, the effective sample size of a first-order process (standard
// result, as in time series texts; from memory).
func inflation(r []float64) float64 {
	var mean, c0, c1 float64
	for _, v := range r {
		mean += v
	}
	mean /= float64(len(r))
	for i, v := range r {
		c0 += (v - mean) * (v - mean)
		if i > 0 {
			c1 += (v - mean) * (r[i-1] - mean)
		}
	}
	if c0 == 0 {
		return 1
	}
	rho := math.Max(0, math.Min(c1/c0, 0.99))
	return math.Sqrt((1 + rho) / (1 - rho))
}
