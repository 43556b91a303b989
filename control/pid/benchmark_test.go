package pid

import (
	"math"
	"math/cmplx"
	"testing"
)

// section is one part of a process: (zeroS s + 1)/(lagS s + 1), or
// (zeroS s + 1)/s if lagS is 0.
type section struct{ lagS, zeroS float64 }

// process is gain * product of sections * exp(-delayS s).
type process struct {
	gain     float64
	sections []section
	delayS   float64
}

func lags(l ...float64) (s []section) {
	for _, v := range l {
		s = append(s, section{lagS: v})
	}
	return s
}

// response gives the frequency response at w rad/s.
func (p process) response(w float64) complex128 {
	s := complex(0, w)
	g := complex(p.gain, 0) * cmplx.Exp(-s*complex(p.delayS, 0))
	for _, q := range p.sections {
		g *= complex(q.zeroS, 0)*s + 1
		if q.lagS == 0 {
			g /= s
		} else {
			g /= complex(q.lagS, 0)*s + 1
		}
	}
	return g
}

// slopes gives the derivative of the states and the output for input u.
func (p process) slopes(x []float64, u float64, dx []float64) (y float64) {
	v := p.gain * u
	for i, q := range p.sections {
		if q.lagS == 0 {
			dx[i] = v
			v = x[i] + q.zeroS*v
		} else {
			dx[i] = (v - x[i]) / q.lagS
			v = x[i] + q.zeroS*dx[i]
		}
	}
	return v
}

// closedLoop runs Controller on the process by RK4 with exact dead time and
// gives IAE and total variation for a unit step of set point or load.
func closedLoop(t *testing.T, p process, g Gains, r, load, periodS, endS float64) (iae, tv, peak float64) {
	t.Helper()
	c := mustNew(t, Config{Gains: g, PeriodS: periodS, Min: -1e9, Max: 1e9})
	n := len(p.sections)
	x, dx := make([]float64, n), make([]float64, n)
	k2, k3, k4, xt := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	delay := make([]float64, int(math.Round(p.delayS/periodS))+1)
	u, last := 0.0, 0.0
	for k := range int(endS / periodS) {
		y := p.slopes(x, delay[(k+1)%len(delay)], dx) // the oldest input
		if len(p.sections) == 0 {
			y = p.gain * delay[(k+1)%len(delay)]
		}
		iae += math.Abs(r-y) * periodS
		peak = max(peak, y)
		u = c.Step(In{Mode: Auto, SetPoint: r, Measured: y}).Output
		tv += math.Abs(u - last)
		last = u
		delay[k%len(delay)] = u + load
		v := delay[(k+1)%len(delay)]
		p.slopes(x, v, dx)
		at := func(k []float64, f float64) []float64 {
			for i := range xt {
				xt[i] = x[i] + f*periodS*k[i]
			}
			return xt
		}
		p.slopes(at(dx, 0.5), v, k2)
		p.slopes(at(k2, 0.5), v, k3)
		p.slopes(at(k3, 1), v, k4)
		for i := range x {
			x[i] += periodS / 6 * (dx[i] + 2*k2[i] + 2*k3[i] + k4[i])
		}
	}
	return iae, tv, peak
}

// sensitivity gives Ms = max |1/(1 + C G)| on a logarithmic grid.
func sensitivity(p process, g Gains) (ms float64) {
	for k := range 6000 {
		w := math.Pow(10, -3+6*float64(k)/6000)
		s := complex(0, w)
		c := 1 + complex(g.TdS, 0)*s/(1+complex(g.filterS(), 0)*s)
		if g.TiS > 0 {
			c += 1 / (complex(g.TiS, 0) * s)
		}
		ms = max(ms, 1/cmplx.Abs(1+complex(g.Kc, 0)*c*p.response(w)))
	}
	return ms
}

// fromSeries gives standard gains with the derivative on the reading only and
// its filter at filter * series Td.
func fromSeries(s Series, filter float64) Gains {
	kc, ti, td := s.Ideal()
	g := Gains{Kc: kc, TiS: ti, TdS: td, B: s.Kc / kc}
	if td > 0 {
		g.N = td / (filter * s.TdS)
	}
	return g
}

func off(got, want float64) float64 { return math.Abs(got/want - 1) }

// Processes and settings of Skogestad 2003 with tau_c = theta (from memory);
// Ms, IAE and TV computed independently (Python, exact zero-order hold) from
// those, series PID with derivative on the reading, filter 0.01 tauD.
func TestSIMCBenchmarkProcesses(t *testing.T) {
	e2 := process{1, []section{{2, -0.3}, {1, 0.08}, {0.4, 0}, {0.2, 0}, {0.05, 0}, {0.05, 0}, {0.05, 0}}, 0}
	e3 := process{2, []section{{20, 15}, {1, 0}, {0.1, 0}, {0.1, 0}}, 0}
	e4 := process{1, lags(1, 1, 1, 1), 0}
	e5 := process{1, lags(1, 0.2, 0.04, 0.008), 0}
	e7 := process{1, []section{{1, -2}, {1, 0}, {1, 0}}, 0}
	e8 := process{1, lags(0, 1, 1), 0}
	e9 := process{1, lags(1, 1), 1}
	e10 := process{1, lags(20, 2), 1}
	e11 := process{1, []section{{6, -1}, {2, 0}, {2, 0}}, 1}
	for _, tc := range []struct {
		name                             string
		p                                process
		theta                            float64
		s                                Series
		ms, spIAE, spTV, loadIAE, loadTV float64
	}{
		{name: "delay", p: process{1, nil, 1}, theta: 1, s: Series{1e-6, 2e-6, 0}, ms: 1.59, spIAE: 2.17, spTV: 1.09, loadIAE: 2.17, loadTV: 1.09},
		{name: "integrating", p: process{1, lags(0), 1}, theta: 1, s: Series{0.5, 8, 0}, ms: 1.70, spIAE: 3.92, spTV: 1.22, loadIAE: 16.0, loadTV: 1.56},
		{name: "tau 1", p: process{1, lags(1), 1}, theta: 1, s: Series{0.5, 1, 0}, ms: 1.59, spIAE: 2.17, spTV: 1.26, loadIAE: 2.04, loadTV: 1.09},
		{name: "tau 4", p: process{1, lags(4), 1}, theta: 1, s: Series{2, 4, 0}, ms: 1.59, spIAE: 2.17, spTV: 4.12, loadIAE: 2.00, loadTV: 1.09},
		{name: "tau 8", p: process{1, lags(8), 1}, theta: 1, s: Series{4, 8, 0}, ms: 1.59, spIAE: 2.17, spTV: 8.29, loadIAE: 2.00, loadTV: 1.09},
		{name: "tau 20", p: process{1, lags(20), 1}, theta: 1, s: Series{10, 8, 0}, ms: 1.65, spIAE: 3.20, spTV: 22.6, loadIAE: 0.80, loadTV: 1.35},
		{name: "tau 50", p: process{1, lags(50), 1}, theta: 1, s: Series{25, 8, 0}, ms: 1.68, spIAE: 3.63, spTV: 59.0, loadIAE: 0.32, loadTV: 1.47},
		{name: "E1 PI", p: process{1, lags(1, 0.2), 0}, theta: 0.1, s: Series{5.5, 0.8, 0}, ms: 1.56, spIAE: 0.357, spTV: 12.7, loadIAE: 0.146, loadTV: 1.55},
		{name: "E2 PI", p: e2, theta: 0.77, s: Series{0.8503, 2.5, 0}, ms: 1.66, spIAE: 3.57, spTV: 1.90, loadIAE: 2.97, loadTV: 1.26},
		{name: "E2 PID", p: e2, theta: 0.77, s: Series{1.2987, 2, 1.2}, ms: 1.74, spIAE: 2.73, loadIAE: 1.55},
		{name: "E3 PI", p: e3, theta: 0.15, s: Series{2.3333, 1.05, 0}, ms: 1.55, spIAE: 0.464, spTV: 4.98, loadIAE: 0.453, loadTV: 1.30},
		{name: "E3 PID", p: e3, theta: 0.05, s: Series{6.6667, 0.4, 0.15}, ms: 1.52, spIAE: 0.250, loadIAE: 0.060},
		{name: "E4 PI", p: e4, theta: 1.5, s: Series{0.30, 1.5, 0}, ms: 1.46, spIAE: 5.59, spTV: 1.15, loadIAE: 5.40, loadTV: 1.10},
		{name: "E4 PID", p: e4, theta: 1.5, s: Series{0.50, 1.5, 1}, ms: 1.44, spIAE: 4.31, loadIAE: 3.13},
		{name: "E5 PI", p: e5, theta: 0.148, s: Series{3.716, 1.1, 0}, ms: 1.59, spIAE: 0.451, spTV: 8.16, loadIAE: 0.296, loadTV: 1.41},
		{name: "E5 PID", p: e5, theta: 0.028, s: Series{17.86, 0.224, 0.22}, ms: 1.93, spIAE: 0.231, loadIAE: 0.0125},
		{name: "E7 PI", p: e7, theta: 2.5, s: Series{0.2143, 1.5, 0}, ms: 1.66, spIAE: 7.28, spTV: 1.05, loadIAE: 8.34, loadTV: 1.29},
		{name: "E7 PID", p: e7, theta: 2.5, s: Series{0.30, 1.5, 1}, ms: 1.86, spIAE: 5.99, loadIAE: 6.23},
		{name: "E8 PI", p: e8, theta: 1.5, s: Series{0.3333, 12, 0}, ms: 1.77, spIAE: 6.43, spTV: 0.86, loadIAE: 36.0, loadTV: 1.78},
		{name: "E8 PID", p: e8, theta: 0.5, s: Series{1.0, 4, 1.5}, ms: 1.63, spIAE: 2.60, loadIAE: 4.00},
		{name: "E9 PI", p: e9, theta: 1, s: Series{0.5, 1.5, 0}, ms: 1.61, spIAE: 3.38, spTV: 1.32, loadIAE: 3.14, loadTV: 1.15},
		{name: "E9 PID", p: e9, theta: 1, s: Series{0.5, 1, 1}, ms: 1.60, spIAE: 3.03, loadIAE: 2.00},
		{name: "E10 PI", p: e10, theta: 1, s: Series{5.25, 16, 0}, ms: 1.72, spIAE: 6.34, spTV: 12.3, loadIAE: 3.05, loadTV: 1.49},
		{name: "E10 PID", p: e10, theta: 1, s: Series{10, 8, 2}, ms: 1.67, spIAE: 4.31, loadIAE: 0.80},
		{name: "E11 PI", p: e11, theta: 1, s: Series{0.7, 7, 0}, ms: 1.63, spIAE: 11.5, spTV: 1.59, loadIAE: 10.1, loadTV: 1.20},
		{name: "E11 PID", p: e11, theta: 1, s: Series{1.0, 6, 3}, ms: 1.67, spIAE: 9.09, loadIAE: 6.03},
	} {
		t.Run(tc.name, func(t *testing.T) {
			g := fromSeries(tc.s, 0.01)
			if ms := sensitivity(tc.p, g); off(ms, tc.ms) > 0.01 {
				t.Errorf("Ms %.3f, want %.2f", ms, tc.ms)
			}
			h := tc.theta / 60
			end := max(60*tc.theta, 25*tc.s.TiS)
			for _, q := range tc.p.sections {
				end = max(end, 3.5*q.lagS) // a near cancelled slow lag leaves a long tail
			}
			sp, spTV, _ := closedLoop(t, tc.p, g, 1, 0, h, end)
			ld, ldTV, _ := closedLoop(t, tc.p, g, 0, 1, h, end)
			if off(sp, tc.spIAE) > 0.02 || off(ld, tc.loadIAE) > 0.02 {
				t.Errorf("IAE set point %.4f load %.4f, want %.4g and %.4g within 2 %%", sp, ld, tc.spIAE, tc.loadIAE)
			}
			if tc.spTV > 0 && (off(spTV, tc.spTV) > 0.03 || off(ldTV, tc.loadTV) > 0.03) {
				t.Errorf("TV set point %.3f load %.3f, want %.3g and %.3g within 3 %%", spTV, ldTV, tc.spTV, tc.loadTV)
			}
		})
	}
}

// Three first-order processes with dead time under settings from several
// tuning rules, among them tight ones that ring. Figures computed
// independently (Python, exact zero-order hold): standard form, N 10, b 1, c 0,
// derivative filter as stated; rows marked series in series form.
func TestRuleTableProcesses(t *testing.T) {
	a := process{1, lags(10), 2}
	b := process{2, lags(60), 10}
	c := process{1, lags(1), 1}
	for _, tc := range []struct {
		name                     string
		p                        process
		kc, ti, td               float64
		series                   bool
		ms, spIAE, loadIAE, peak float64
	}{
		{"A step PI", a, 4.5, 6.6667, 0, false, 2.95, 5.985, 1.482, 0.247},
		{"A step PID", a, 6.0, 4.0, 1.0, false, 4.07, 5.337, 0.792, 0.191},
		{"A frequency PID", a, 5.10145, 3.72076, 0.93019, false, 2.61, 5.502, 0.899, 0.197},
		{"A SIMC PI", a, 2.5, 10, 0, false, 1.59, 4.345, 4.000, 0.293},
		{"A SIMC PID", a, 3.33333, 10, 0.66667, true, 1.69, 3.637, 3.000, 0.234},
		{"A AMIGO PI", a, 1.20556, 7.76522, 0, false, 1.26, 7.652, 6.498, 0.377},
		{"A AMIGO PID", a, 2.45, 5.86667, 0.94340, false, 1.45, 6.054, 2.610, 0.247},
		{"B SIMC PI", b, 1.5, 60, 0, false, 1.59, 21.72, 40.00, 0.511},
		{"B SIMC PID", b, 2.0, 60, 3.33333, true, 1.69, 18.19, 30.00, 0.404},
		{"B AMIGO PID", b, 1.45, 32.5, 4.76190, false, 1.45, 31.37, 24.21, 0.432},
		{"C SIMC PI", c, 0.5, 1, 0, false, 1.59, 2.173, 2.037, 0.725},
		{"C AMIGO PI", c, 0.25, 1.0, 0, false, 1.25, 4.003, 4.000, 0.774},
		{"C AMIGO PID", c, 0.65, 1.09091, 0.38462, false, 1.44, 2.103, 1.801, 0.653},
		{"C frequency PID", c, 1.35710, 1.54853, 0.38713, false, 2.89, 1.832, 1.160, 0.639},
	} {
		t.Run(tc.name, func(t *testing.T) {
			g := Gains{Kc: tc.kc, TiS: tc.ti, TdS: tc.td, N: 10, B: 1}
			if tc.series {
				g = fromSeries(Series{tc.kc, tc.ti, tc.td}, 0.1)
			}
			if ms := sensitivity(tc.p, g); off(ms, tc.ms) > 0.01 {
				t.Errorf("Ms %.3f, want %.2f", ms, tc.ms)
			}
			h, end := tc.p.delayS/120, 80*tc.p.delayS
			sp, _, _ := closedLoop(t, tc.p, g, 1, 0, h, end)
			ld, _, peak := closedLoop(t, tc.p, g, 0, 1, h, end)
			if off(sp, tc.spIAE) > 0.02 || off(ld, tc.loadIAE) > 0.02 || off(peak, tc.peak) > 0.02 {
				t.Errorf("IAE set point %.4f load %.4f peak %.4f, want %.4g, %.4g, %.4g within 2 %%", sp, ld, peak, tc.spIAE, tc.loadIAE, tc.peak)
			}
		})
	}
}

// Where the error after a load step does not change sign, its integral is
// Ti/Kc exactly (standard result, follows from the integral at rest).
func TestLoadErrorIsTiOverKc(t *testing.T) {
	for _, tc := range []struct{ k, tau, delay, kc, ti float64 }{
		{1, 10, 2, 2.5, 10}, {2, 60, 10, 1.5, 60}, {1, 1, 1, 0.25, 1}, {0.05, 30, 1.5, 40, 30},
	} {
		p := process{tc.k, lags(tc.tau), tc.delay}
		iae, _, _ := closedLoop(t, p, Gains{Kc: tc.kc, TiS: tc.ti, B: 1}, 0, 1, tc.delay/100, 100*tc.delay+5*tc.ti)
		if off(iae, tc.ti/tc.kc) > 0.005 {
			t.Errorf("%+v: load IAE %.4f, want Ti/Kc = %.4f", tc, iae, tc.ti/tc.kc)
		}
	}
}
