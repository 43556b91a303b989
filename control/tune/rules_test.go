package tune

import (
	"math"
	"testing"

	"drumwright/control/pid"
)

func near(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if !(math.Abs(got-want) <= share*math.Abs(want)+1e-12) {
		t.Errorf("%s is %.6g, want %.6g within %g %%", what, got, want, 100*share)
	}
}

// plants are three first-order processes with dead time.
var plants = map[string]Process{
	"A": {Gain: 1, Tau1S: 10, DelayS: 2},
	"B": {Gain: 2, Tau1S: 60, DelayS: 10},
	"C": {Gain: 1, Tau1S: 1, DelayS: 1},
}

// Settings, margins and responses of the rules on three processes, computed
// independently (Python, double precision, exact zero-order hold) from the
// rules as quoted: N 10, b 1 (SIMC in series form), derivative on the reading, unit steps of set
// point and of load at the process input. Everything must agree within 2 %
// although the controller here is the sampled one of package pid.
func TestRuleTable(t *testing.T) {
	for _, tc := range []struct {
		plant, rule                        string
		g                                  pid.Gains
		kc, ti, td                         float64 // standard form
		ms, spIAE, overshoot, loadIAE, top float64
	}{
		{"A", "SIMC PI", SIMCPI(plants["A"], 0), 2.5, 10, 0, 1.59, 4.345, 0.041, 4.000, 0.293},
		{"A", "SIMC delay PID", SIMCDelayPID(plants["A"], 1, 10), 3.33333 * (1 + 0.66667/10), 10.66667, 0.625, 1.69, 3.637, 0.010, 3.000, 0.234},
		{"A", "AMIGO PI", AMIGOPI(plants["A"]), 1.20556, 7.76522, 0, 1.26, 7.652, 0.036, 6.498, 0.377},
		{"A", "AMIGO PID", AMIGOPID(plants["A"], 10), 2.45, 5.86667, 0.94340, 1.45, 6.054, 0.177, 2.610, 0.247},
		{"B", "SIMC PI", SIMCPI(plants["B"], 0), 1.5, 60, 0, 1.59, 21.72, 0.041, 40.00, 0.511},
		{"B", "SIMC delay PID", SIMCDelayPID(plants["B"], 5, 10), 2 * (1 + 3.33333/60), 63.33333, 3.15789, 1.69, 18.19, 0.010, 30.00, 0.404},
		{"B", "AMIGO PI", AMIGOPI(plants["B"]), 0.75765, 44.19565, 0, 1.28, 37.95, 0.050, 58.78, 0.661},
		{"B", "AMIGO PID", AMIGOPID(plants["B"], 10), 1.45, 32.5, 4.76190, 1.45, 31.37, 0.183, 24.21, 0.432},
		{"C", "SIMC PI", SIMCPI(plants["C"], 0), 0.5, 1, 0, 1.59, 2.173, 0.041, 2.037, 0.725},
		{"C", "AMIGO PI", AMIGOPI(plants["C"]), 0.25, 1, 0, 1.25, 4.003, 0, 4.000, 0.774},
		{"C", "AMIGO PID", AMIGOPID(plants["C"], 10), 0.65, 1.09091, 0.38462, 1.44, 2.103, 0.072, 1.801, 0.653},
	} {
		t.Run(tc.plant+" "+tc.rule, func(t *testing.T) {
			p, g := plants[tc.plant], tc.g
			near(t, "Kc", g.Kc, tc.kc, 1e-4)
			near(t, "Ti", g.TiS, tc.ti, 1e-4)
			near(t, "Td", g.TdS, tc.td, 1e-4)
			if tc.rule[0] == 'A' {
				g.B = 1
			}
			near(t, "Ms", MarginsOf(p, g, 0).Ms, tc.ms, 0.005)
			r, err := Predict(p, g, p.DelayS/120)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "set point IAE", r.SetPointIAE, tc.spIAE, 0.02)
			near(t, "load IAE", r.LoadIAE, tc.loadIAE, 0.02)
			near(t, "load peak", r.LoadPeak, tc.top, 0.02)
			// 1 point: the filter of a series controller stands before the proportional part too.
			if math.Abs(r.OvershootShare-tc.overshoot) > 0.01 {
				t.Errorf("overshoot %.4f, want %.4f", r.OvershootShare, tc.overshoot)
			}
		})
	}
}

// The margins that Skogestad 2003 states for SIMC with tauC = theta (recalled
// from its robustness table and recomputed independently).
func TestMarginsOfSIMC(t *testing.T) {
	for _, tc := range []struct {
		p                  Process
		gain, phase, delay float64 // delay in dead times
		ms                 float64
	}{
		{Process{Gain: 1, Tau1S: 1, DelayS: 1}, 3.14, 61.3, 2.14, 1.59},
		{Process{Gain: 3, Tau1S: 16, DelayS: 2}, 3.14, 61.3, 2.14, 1.59},
		{Process{Gain: 1, DelayS: 1, Integrating: true}, 2.96, 46.9, 1.59, 1.70},
		{Process{Gain: 0.01, DelayS: 5, Integrating: true}, 2.96, 46.9, 1.59, 1.70},
	} {
		m := MarginsOf(tc.p, SIMCPI(tc.p, 0), 0)
		near(t, "gain margin", m.Gain, tc.gain, 0.005)
		near(t, "phase margin", m.PhaseDeg, tc.phase, 0.005)
		near(t, "delay margin", m.DelayS/tc.p.DelayS, tc.delay, 0.005)
		near(t, "Ms", m.Ms, tc.ms, 0.005)
		if m.Gain < m.Ms/(m.Ms-1) || m.PhaseDeg < 2*math.Asin(1/(2*m.Ms))*180/math.Pi {
			t.Errorf("%+v is worse than Ms guarantees", m) // standard result
		}
	}
}

// At the ultimate gain a loop is at the edge: Ku of 1, 10, 2 is 8.5024, of the
// process B 5.0356 (computed independently). Above it there is no sensitivity.
func TestMarginsTellInstability(t *testing.T) {
	for name, ku := range map[string]float64{"A": 8.5024, "B": 5.0356, "C": 2.2618} {
		near(t, "ultimate gain of "+name, MarginsOf(plants[name], pid.Gains{Kc: 1}, 0).Gain, ku, 0.001)
		if m := MarginsOf(plants[name], pid.Gains{Kc: 1.03 * ku}, 0); !math.IsInf(m.Ms, 1) || m.PhaseDeg > 0 {
			t.Errorf("%s above its ultimate gain: %+v", name, m)
		}
		if m := MarginsOf(plants[name], pid.Gains{Kc: 0.97 * ku}, 0); math.IsInf(m.Ms, 1) || m.Gain < 1 {
			t.Errorf("%s below its ultimate gain: %+v", name, m)
		}
	}
	// An integrator under integral action alone of its own rhythm is unstable.
	if m := MarginsOf(Process{Gain: 1, DelayS: 1, Integrating: true}, pid.Gains{Kc: 0.5, TiS: 0.5, B: 1}, 0); !math.IsInf(m.Ms, 1) {
		t.Errorf("%+v", m)
	}
}

// Half rule and series PID on the reduced models of a published exercise
// (model values seen in a public file; gains follow from the rule).
func TestSIMCWorkedExample(t *testing.T) {
	pi := SIMCPI(Process{Gain: 1, Tau1S: 2.5, DelayS: 1.47}, 0)
	near(t, "Kc", pi.Kc, 0.8503, 1e-4)
	near(t, "Ti", pi.TiS, 2.5, 1e-9)
	// Series 1.2987, 2, 1.2 in standard form.
	g := SIMCPID(Process{Gain: 1, Tau1S: 2, Tau2S: 1.2, DelayS: 0.77}, 0, 10)
	near(t, "Kc", g.Kc, 2.07792, 1e-4)
	near(t, "Ti", g.TiS, 3.2, 1e-9)
	near(t, "Td", g.TdS, 0.75, 1e-9)
	near(t, "filter", g.TdS/g.N, 0.12, 1e-9)
	// The half rule turns the second lag into half lag and half dead time.
	half := SIMCPI(Process{Gain: 1, Tau1S: 1, Tau2S: 0.2, DelayS: 0}, 0)
	near(t, "Kc of 1/((s+1)(0.2s+1))", half.Kc, 5.5, 1e-9)
	near(t, "Ti", half.TiS, 0.8, 1e-9)
}

// The first published example of Astrom & Hagglund 2004 has L 0.075, T 1.04; the
// second 1.42, 2.90; the third 1.01, 0.0932 (inputs and results recalled from
// the paper, recomputed independently).
func TestAMIGOPublishedExamples(t *testing.T) {
	for _, tc := range []struct{ l, t, k, ti, pk, pti, ptd float64 }{
		{0.075, 1.04, 4.133, 0.539, 6.44, 0.361, 0.0367},
		{1.42, 2.90, 0.414, 2.655, 1.119, 2.398, 0.619},
		{1.01, 0.0932, 0.175, 0.367, 0.242, 0.474, 0.119},
	} {
		p := Process{Gain: 1, Tau1S: tc.t, DelayS: tc.l}
		pi, g := AMIGOPI(p), AMIGOPID(p, 10)
		near(t, "PI K", pi.Kc, tc.k, 0.004)
		near(t, "PI Ti", pi.TiS, tc.ti, 0.004)
		near(t, "PID K", g.Kc, tc.pk, 0.004)
		near(t, "PID Ti", g.TiS, tc.pti, 0.004)
		near(t, "PID Td", g.TdS, tc.ptd, 0.004)
	}
	// An integrator is the limit of an ever longer lag.
	long := Process{Gain: 1e7, Tau1S: 1e7, DelayS: 3}
	in := Process{Gain: 1, DelayS: 3, Integrating: true}
	for i, pair := range [][2]pid.Gains{{AMIGOPI(long), AMIGOPI(in)}, {AMIGOPID(long, 10), AMIGOPID(in, 10)}} {
		near(t, "Kc of the limit", pair[1].Kc, pair[0].Kc, 1e-3)
		near(t, "Ti of the limit", pair[1].TiS, pair[0].TiS, 1e-3)
		if i == 1 {
			near(t, "Td of the limit", pair[1].TdS, pair[0].TdS, 1e-3)
		}
	}
}

// 1/(s+1)^2: steepest at t = 1 with slope 1/e, where 1 - 2/e is reached, so
// L = 1 - (1 - 2/e) e = 3 - e (plain calculus).
func TestTangentOfTwoLags(t *testing.T) {
	l, tt := Process{Gain: 1, Tau1S: 1, Tau2S: 1, DelayS: 0.5}.Tangent()
	near(t, "L", l, 0.5+3-math.E, 1e-4)
	// 63.2 % where (1+t) exp(-t) = 1/e: t = 2.14619 (solved by hand).
	near(t, "T", tt, 2.14619-(3-math.E), 1e-4)
}

// At every scan period a machine file may have, the sampled loop is within 2 %
// of the continuous one, for processes as slow as a heater with its probe and
// settings that count half a period as dead time.
func TestSampledLoopAtOfferedPeriods(t *testing.T) {
	for _, p := range []Process{{Gain: 0.08, Tau1S: 17, Tau2S: 5, DelayS: 2}, {Gain: 2, Tau1S: 60, DelayS: 10}} {
		for _, h := range []float64{0.01, 0.1, 0.25, 0.5, 1} {
			if h > 0.2*p.DelayS { // the rule of thumb for sampling: beyond it the rhythm is too slow for the process
				continue
			}
			q := p
			q.DelayS += h / 2
			for name, g := range map[string]pid.Gains{"PI": SIMCPI(q, 0), "PID": AMIGOPID(q, 8)} {
				g.B = 1
				fine, err := Predict(q, g, 0.008*p.DelayS)
				if err != nil {
					t.Fatal(err)
				}
				got, err := Predict(p, g, h)
				if err != nil {
					t.Fatal(err)
				}
				near(t, name+" set point IAE", got.SetPointIAE, fine.SetPointIAE, 0.02)
				near(t, name+" load IAE", got.LoadIAE, fine.LoadIAE, 0.02)
				if t.Failed() {
					t.Fatalf("at a period of %g s, %s on %+v", h, name, p)
				}
			}
		}
	}
}
