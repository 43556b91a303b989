package tune

import (
	"errors"
	"fmt"
	"math"

	"drumwright/control/lsq"
)

// Model is the form of a process to fit.
type Model uint8

// The forms.
const (
	FirstOrder  Model = iota // one lag and dead time
	SecondOrder              // two lags and dead time
	Integrator               // an integrator, one lag and dead time
)

func (m Model) String() string {
	return [...]string{"first order", "second order", "integrating"}[m]
}

// Fit is a process fitted to an experiment, and how far to trust it.
type Fit struct {
	Model   Model
	Process Process
	// Standard deviations of gain, lags and dead time; 0 for a lag that the
	// model has not.
	GainSd, Tau1SdS, Tau2SdS, DelaySdS float64
	RestOutput, DriftPerS              float64 // output at rest, and what it drifts by itself
	RMS                                float64 // of the residuals, output units
	// R2 is the share of the output's variance that the model explains, NRMSE
	// the rms of the residuals over the standard deviation of the output.
	R2, NRMSE float64
	AtBound   bool // a lag or dead time stands at the bound of the search: the data do not tell it
	Residuals []float64
}

// fewest is the least number of samples for a fit.
const fewest = 30

// FitProcess fits a process of the given form to an experiment, with the
// output at rest and its drift as further unknowns.
func FitProcess(d Data, m Model) (Fit, error) {
	f := Fit{Model: m}
	n := len(d.Outputs)
	if n < fewest {
		return f, fmt.Errorf("fit of a %s process: %d samples, at least %d are needed; run the experiment for longer", m, n, fewest)
	}
	moves := 0.0
	for _, l := range d.Inputs {
		moves = math.Max(moves, math.Abs(l.Value-d.Rest))
	}
	if moves == 0 {
		return f, errors.New("fit of a process: the input does not move, so nothing can be told of it")
	}
	spanS := d.Outputs[n-1].AtS - d.Outputs[0].AtS
	var mean, variance float64
	for _, o := range d.Outputs {
		mean += o.Value / float64(n)
	}
	for _, o := range d.Outputs {
		variance += (o.Value - mean) * (o.Value - mean) / float64(n)
	}
	if variance <= 1e-20*mean*mean {
		return f, errors.New("fit of a process: the output does not move; look at the probe")
	}

	// Gain, rest and drift are linear: for any lags they follow. What is searched
	// is the logarithm of the lags, and the dead time.
	y := make([]float64, n)
	t := make([]float64, n)
	for i, o := range d.Outputs {
		t[i] = (o.AtS - d.Outputs[0].AtS) / spanS
	}
	process := func(x []float64) Process {
		p := Process{Gain: 1, DelayS: x[0]}
		switch m {
		case FirstOrder:
			p.Tau1S = math.Exp(x[1])
		case SecondOrder:
			p.Tau1S, p.Tau2S = math.Exp(x[1]), math.Exp(x[1])*x[2]
		case Integrator:
			p.Integrating, p.Tau2S = true, math.Exp(x[1])
		}
		return p
	}
	linear := func(x []float64) (gain, rest, drift float64) {
		process(x).unitResponse(&d, y)
		return threeLinear(y, t, d.Outputs)
	}
	best, bestX := math.Inf(1), []float64(nil)
	for _, x := range starts(m, spanS) {
		g, r, k := linear(x)
		sum := 0.0
		for i, o := range d.Outputs {
			e := o.Value - g*y[i] - r - k*t[i]
			sum += e * e
		}
		if sum < best {
			best, bestX = sum, x
		}
	}
	gain, rest, drift := linear(bestX)
	if math.IsNaN(gain) || gain == 0 {
		return f, errors.New("fit of a process: the output does not follow the input")
	}
	shape := len(bestX)
	start := append(append([]float64(nil), bestX...), gain, rest, drift)
	low, high, scale := bounds(m, spanS)
	span := math.Sqrt(variance)
	low = append(low, -1e3*math.Abs(gain), rest-100*span, -100*span)
	high = append(high, 1e3*math.Abs(gain), rest+100*span, 100*span)
	scale = append(scale, math.Abs(gain), span, span)
	res, err := lsq.Solve(lsq.Problem{N: n, Start: start, Low: low, High: high, Scale: scale,
		Residuals: func(x, r []float64) {
			process(x[:shape]).unitResponse(&d, y)
			for i, o := range d.Outputs {
				r[i] = o.Value - x[shape]*y[i] - x[shape+1] - x[shape+2]*t[i]
			}
		}})
	if err != nil {
		return f, fmt.Errorf("fit of a %s process: %w", m, err)
	}
	f.Process = process(res.X[:shape])
	f.Process.Gain, f.RestOutput, f.DriftPerS = res.X[shape], res.X[shape+1], res.X[shape+2]/spanS
	f.GainSd, f.DelaySdS = res.Sd[shape], res.Sd[0]
	switch m {
	case FirstOrder:
		f.Tau1SdS = f.Process.Tau1S * res.Sd[1]
	case SecondOrder:
		f.Tau1SdS = f.Process.Tau1S * res.Sd[1]
		v := res.X[2]*res.X[2]*res.Cov[1][1] + res.Cov[2][2] + 2*res.X[2]*res.Cov[1][2]
		f.Tau2SdS = f.Process.Tau1S * math.Sqrt(math.Max(0, v))
	case Integrator:
		f.Tau2SdS = f.Process.Tau2S * res.Sd[1]
	}
	for _, at := range res.AtBound[:shape] {
		f.AtBound = f.AtBound || at
	}
	if f.Process.DelayS == 0 || (m == SecondOrder && res.X[2] >= 1) { // ends of what is possible, not of what was searched
		f.AtBound = f.Process.Tau1S >= math.Exp(high[1])
	}
	f.RMS, f.NRMSE = res.RMS, res.RMS/span
	f.R2 = 1 - f.NRMSE*f.NRMSE
	f.Residuals = make([]float64, n)
	process(res.X[:shape]).unitResponse(&d, y)
	for i, o := range d.Outputs {
		f.Residuals[i] = o.Value - res.X[shape]*y[i] - res.X[shape+1] - res.X[shape+2]*t[i]
	}
	return f, nil
}

// starts is a coarse grid of dead time and lags over the length of the data.
func starts(m Model, spanS float64) (list [][]float64) {
	for _, lag := range []float64{0.003, 0.01, 0.03, 0.1, 0.3, 1} {
		for _, delay := range []float64{0, 0.05, 0.2, 0.6} {
			x := []float64{delay * lag * spanS, math.Log(lag * spanS)}
			if m != SecondOrder {
				list = append(list, x)
				continue
			}
			for _, ratio := range []float64{0.1, 0.3, 0.8} {
				list = append(list, []float64{x[0], x[1], ratio})
			}
		}
	}
	return list
}

func bounds(m Model, spanS float64) (low, high, scale []float64) {
	low = []float64{0, math.Log(spanS * 1e-4)}
	high = []float64{spanS / 2, math.Log(spanS * 20)}
	scale = []float64{spanS * 0.01, 1}
	if m == SecondOrder {
		low, high, scale = append(low, 0), append(high, 1), append(scale, 0.3)
	}
	return low, high, scale
}

// threeLinear fits samples by a y + b + c t.
func threeLinear(y, t []float64, o []Sample) (a, b, c float64) {
	n := float64(len(y))
	var my, mt, mo float64
	for i := range y {
		my += y[i] / n
		mt += t[i] / n
		mo += o[i].Value / n
	}
	var yy, yt, tt, yo, to float64
	for i := range y {
		dy, dt, do := y[i]-my, t[i]-mt, o[i].Value-mo
		yy += dy * dy
		yt += dy * dt
		tt += dt * dt
		yo += dy * do
		to += dt * do
	}
	det := yy*tt - yt*yt
	if !(det > 1e-12*yy*tt) {
		return math.NaN(), mo, 0
	}
	a = (yo*tt - to*yt) / det
	c = (to*yy - yo*yt) / det
	return a, mo - a*my - c*mt, c
}
