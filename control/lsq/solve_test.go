package lsq

import (
	"math"
	"testing"
)

// Misra1a of the NIST Statistical Reference Datasets, nonlinear regression
// (data and certified values from memory; a slip in them would not fit to six
// digits). Start values are the harder of the two sets.
func TestSolveMisra1a(t *testing.T) {
	x := []float64{77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0}
	y := []float64{10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78}
	res, err := Solve(Problem{
		N: len(x), Start: []float64{500, 0.0001}, Low: []float64{1, 1e-6}, High: []float64{1e4, 1}, Scale: []float64{100, 1e-4},
		Residuals: func(b, r []float64) {
			for i := range r {
				r[i] = y[i] - b[0]*(1-math.Exp(-b[1]*x[i]))
			}
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct{ v, sd float64 }{{2.3894212918e+02, 2.7070075241e+00}, {5.5015643181e-04, 7.2668688436e-06}} {
		if math.Abs(res.X[i]/want.v-1) > 1e-6 {
			t.Errorf("b%d = %.10g, certified %.10g", i+1, res.X[i], want.v)
		}
		if sd := res.Sd[i] / res.Inflation; math.Abs(sd/want.sd-1) > 2e-3 { // one-sided differences
			t.Errorf("sd of b%d = %.8g, certified %.8g", i+1, sd, want.sd)
		}
	}
	if ss := res.RMS * res.RMS * 14; math.Abs(ss/1.2455138894e-01-1) > 1e-6 {
		t.Errorf("sum of squares %.10g, certified 0.12455138894", ss)
	}
	if c := res.Correlation(0, 1); c > -0.99 { // the two trade against each other
		t.Errorf("correlation %.4f, want close to -1", c)
	}
}

// Two parameters that act only as a sum: the data tell the sum, not the
// difference, and the prior decides the rest (plain algebra).
func TestSolveNamesWhatTheDataCannotTell(t *testing.T) {
	p := Problem{
		N: 10, Start: []float64{1, 1}, Low: []float64{-10, -10}, High: []float64{10, 10}, Scale: []float64{1, 1},
		PriorSd: []float64{0.5, 0.5}, NoiseSd: 0.01,
		Residuals: func(x, r []float64) {
			for i := range r {
				r[i] = float64(i) * (3 - x[0] - x[1])
			}
		},
	}
	res, err := Solve(p)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(res.X[0]-1.5) > 1e-3 || math.Abs(res.X[1]-1.5) > 1e-3 {
		t.Errorf("got %v, want 1.5 and 1.5: the nearest to the start with the right sum", res.X)
	}
	if res.Singular[1] > 1e-9*res.Singular[0] {
		t.Errorf("singular values %v, want the second to vanish", res.Singular)
	}
	if d := res.Directions[1]; math.Abs(math.Abs(d[0])-math.Sqrt2/2) > 1e-6 || math.Abs(d[0]+d[1]) > 1e-6 {
		t.Errorf("direction that the data leave open is %v, want the difference", d)
	}
	// The sum has 1/(285/0.01^2) of variance, the difference that of the prior.
	if want := math.Sqrt(0.125); math.Abs(res.Sd[0]/want-1) > 0.01 || res.Correlation(0, 1) > -0.999 {
		t.Errorf("sd %g, want %g; correlation %g, want -1", res.Sd[0], want, res.Correlation(0, 1))
	}
}

func TestSolveStaysInBounds(t *testing.T) {
	res, err := Solve(Problem{
		N: 3, Start: []float64{0.5, 0}, Low: []float64{0, -1}, High: []float64{1, 1}, Scale: []float64{1, 1},
		Residuals: func(x, r []float64) { r[0], r[1], r[2] = 3-x[0], 0.25-x[1], 0.1*(x[0]-x[1]) },
	})
	if err != nil {
		t.Fatal(err)
	}
	if res.X[0] != 1 || !res.AtBound[0] || res.AtBound[1] || math.Abs(res.X[1]-0.2574257) > 1e-4 {
		t.Errorf("got %+v, want the bound 1 and 0.26 inside", res)
	}
}

func TestSolveRefuses(t *testing.T) {
	ok := Problem{N: 2, Start: []float64{0}, Low: []float64{-1}, High: []float64{1}, Scale: []float64{1}, Residuals: func(x, r []float64) { r[0], r[1] = x[0], 1 }}
	for name, edit := range map[string]func(*Problem){
		"too few measurements":  func(p *Problem) { p.N = 0 },
		"no parameters":         func(p *Problem) { p.Start = nil },
		"bounds":                func(p *Problem) { p.Low = []float64{1} },
		"scale":                 func(p *Problem) { p.Scale = []float64{0} },
		"prior without noise":   func(p *Problem) { p.PriorSd = []float64{1} },
		"a start without sense": func(p *Problem) { p.Residuals = func(_, r []float64) { r[0] = math.NaN() } },
	} {
		p := ok
		edit(&p)
		if _, err := Solve(p); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}
