package tune

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"drumwright/control/pid"
)

// bench is a process with any lags in a row and dead time, by small Euler steps.
type bench struct {
	gain  float64
	lags  []float64
	delay []float64
	x     []float64
	base  float64
}

func newBench(gain, delayS, periodS, baseC float64, lags ...float64) *bench {
	return &bench{gain: gain, lags: lags, x: make([]float64, len(lags)), delay: make([]float64, int(math.Round(delayS/periodS))), base: baseC}
}

func (b *bench) step(u, h float64) float64 {
	if n := len(b.delay); n > 0 {
		first := b.delay[0]
		copy(b.delay, b.delay[1:])
		b.delay[n-1] = u
		u = first
	}
	const fine = 10
	for range fine {
		v := b.gain * u
		for i, l := range b.lags {
			b.x[i] += h / fine * (v - b.x[i]) / l
			v = b.x[i]
		}
	}
	return b.base + b.x[len(b.x)-1]
}

// run plays an experiment whose rest duty is rest; it gives the data as a
// client of the daemon would see them, one sample a second.
func run(t *testing.T, e *Experiment, b *bench, rest, noise float64, seed uint64) Data {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 7))
	h := e.plan.PeriodS
	d := Data{Rest: rest}
	c, duty := b.base, rest
	for i := 0; e.Active(); i++ {
		if i > 1e6 {
			t.Fatal("the experiment does not end")
		}
		at := float64(i) * h
		was := duty
		duty = rest
		out := e.Step(c+noise*rng.NormFloat64(), rest)
		if e.Moving() {
			duty = out
		}
		if duty < 0 || duty > 1 {
			t.Fatalf("duty %g", duty)
		}
		if duty != was {
			d.Inputs = append(d.Inputs, Level{at, duty})
		}
		if i%max(1, int(1/h)) == 0 {
			d.Outputs = append(d.Outputs, Sample{at, c + noise*rng.NormFloat64()})
		}
		c = b.step(duty-rest, h)
	}
	return d
}

// Oscillations under a relay, computed independently (Python) or exact: for one
// lag and dead time without hysteresis a = K d (1 - exp(-L/T)), period
// 2 T ln(2 exp(L/T) - 1). The second stands for d 1 and eps 0.05 at gain 1: gain
// and hysteresis are 80 and 8 times, d a tenth of it.
func TestRelayOscillation(t *testing.T) {
	const h = 0.02
	for _, tc := range []struct {
		name             string
		b                *bench
		amplitude, eps   float64
		a, periodS, gain float64
	}{
		// 2 exp(-10s)/(60s+1), d 10, eps 0.5: here d 0.1, gain 200.
		{"lag and dead time", newBench(200, 10, h, 200, 60), 0.1, 0.5, 3.494, 42.36, 364.4},
		// 1/(s+1)^3, d 1, eps 0.05: gain 80, d 0.1, eps 0.4 of 8 is the same.
		{"three lags", newBench(80, 0, h, 200, 1, 1, 1), 0.1, 0.4, 8 * 0.2323, 4.325, 5.482 * 0.1 / 8},
	} {
		t.Run(tc.name, func(t *testing.T) {
			var e Experiment
			p := Plan{Method: Relay, Amplitude: tc.amplitude, MaxDuty: 1, LimitK: 30, PeriodS: h, RestS: 2, LegS: 100, TotalS: 1000}
			if err := e.Start(p); err != nil {
				t.Fatal(err)
			}
			runQuiet(&e, tc.b, 0.4, tc.eps/hystNoise)
			v := e.View()
			if !v.Done {
				t.Fatalf("ended with %q after %d cycles", v.Why, v.Cycles)
			}
			near(t, "amplitude", v.Cycle.AmplitudeK, tc.a, 0.03)
			near(t, "period", v.Cycle.PeriodS, tc.periodS, 0.02)
			if tc.name == "three lags" {
				near(t, "ultimate gain, uncorrected", v.Cycle.Describe(tc.amplitude, 0).Gain, tc.gain, 0.03)
				near(t, "ultimate gain, corrected", v.Cycle.Describe(tc.amplitude, tc.eps).Gain, 5.614*0.1/8, 0.03)
			}
		})
	}
}

// runQuiet plays a relay on a bench without noise, with the hysteresis that so
// much noise at rest would have given.
func runQuiet(e *Experiment, b *bench, rest, noise float64) {
	c := b.base
	for i := 0; e.Active() && i < 1e6; i++ {
		duty := e.Step(c, rest)
		if !e.Moving() {
			duty = rest
		} else {
			e.noiseK = noise
		}
		c = b.step(duty-rest, e.plan.PeriodS)
	}
}

// Steps and relay on a noisy heater give back the process within what the fit
// says of itself, and stay within the limit.
func TestExperimentIdentifies(t *testing.T) {
	for _, m := range []Method{Steps, Relay} {
		b := newBench(300, 2, 0.1, 210, 17, 5)
		var e Experiment
		if err := e.Start(Plan{Method: m, Amplitude: 0.05, MaxDuty: 1, LimitK: 60 * 0.6, PeriodS: 0.1, RestS: 20, LegS: 200, TotalS: 900}); err != nil {
			t.Fatal(err)
		}
		d := run(t, &e, b, 0.4, 0.15, 3)
		if v := e.View(); !v.Done {
			t.Fatalf("%s ended with %q", m, v.Why)
		}
		f, err := FitProcess(d, SecondOrder)
		if err != nil {
			t.Fatal(err)
		}
		p := f.Process
		near(t, m.String()+" gain", p.Gain, 300, max(0.03, 3*f.GainSd/300))
		if m == Steps {
			near(t, "sum of lags and dead time", p.Tau1S+p.Tau2S+p.DelayS, 24.1, 0.05) // a scan from reading to heat
		}
		// What a relay tells best is where the process would oscillate.
		truth := MarginsOf(Process{Gain: 300, Tau1S: 17, Tau2S: 5, DelayS: 2.1}, pid.Gains{Kc: 1}, 0)
		near(t, m.String()+" ultimate gain", MarginsOf(p, pid.Gains{Kc: 1}, 0).Gain, truth.Gain, 0.1)
		if f.R2 < 0.97 {
			t.Errorf("%s: R2 %.4f", m, f.R2)
		}
	}
}

func TestExperimentEnds(t *testing.T) {
	plan := Plan{Amplitude: 0.1, MaxDuty: 1, LimitK: 10, PeriodS: 0.1, RestS: 10, LegS: 60, TotalS: 300}
	for name, tc := range map[string]struct {
		m    Method
		b    *bench
		rest float64
		want string
	}{
		"beyond the limit":            {Steps, newBench(5000, 6, 0.1, 200, 5), 0.4, "the temperature left the limit of the experiment"},
		"no room for a way down":      {Steps, newBench(100, 1, 0.1, 200, 5), 0.01, "the heater is too close to an end of its range to move it both ways"},
		"a relay that does not swing": {Relay, newBench(0.1, 1, 0.1, 200, 5), 0.4, "the time of the experiment is over"},
	} {
		t.Run(name, func(t *testing.T) {
			p := plan
			p.Method = tc.m
			var e Experiment
			if err := e.Start(p); err != nil {
				t.Fatal(err)
			}
			run(t, &e, tc.b, tc.rest, 0.05, 1)
			if v := e.View(); v.Done || v.Why != tc.want {
				t.Errorf("ended with %q (done %v), want %q", v.Why, v.Done, tc.want)
			}
		})
	}
}

// A loop that has not settled is not taken for rest.
func TestExperimentWaitsForRest(t *testing.T) {
	var e Experiment
	if err := e.Start(Plan{Amplitude: 0.1, MaxDuty: 1, LimitK: 10, PeriodS: 0.1, RestS: 10, LegS: 60, TotalS: 300}); err != nil {
		t.Fatal(err)
	}
	for i := range 1000 { // 100 s of drift by 0.1 K/s
		if e.Step(200+0.01*float64(i), 0.4); e.Moving() {
			t.Fatalf("moved after %d scans of drift", i)
		}
	}
	for range 300 {
		e.Step(210, 0.4)
	}
	if !e.Moving() {
		t.Error("does not move at rest")
	}
}

// Whatever reading comes, the duty stays within the heater, the experiment
// ends, and no scan allocates.
func TestExperimentNeverRunsAway(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		p := Plan{Method: Method(rapid.IntRange(0, 1).Draw(rt, "method")), Amplitude: rapid.Float64Range(LeastAmplitude, MostAmplitude).Draw(rt, "amplitude"),
			MaxDuty: rapid.Float64Range(0.05, 1).Draw(rt, "max"), LimitK: rapid.Float64Range(LeastLimitK, MostLimitK).Draw(rt, "limit"),
			PeriodS: 1, RestS: 5, LegS: 20, TotalS: 100}
		var e Experiment
		if err := e.Start(p); err != nil {
			rt.Fatal(err)
		}
		duty := rapid.Float64Range(0, 1).Draw(rt, "duty") * p.MaxDuty
		c := 200.0
		for range 101 {
			if rapid.IntRange(0, 9).Draw(rt, "kind") == 0 {
				c = rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), -50, 500}).Draw(rt, "odd")
			} else if math.IsNaN(c) || math.IsInf(c, 0) {
				c = 200
			} else {
				c += rapid.Float64Range(-0.2, 0.2).Draw(rt, "step")
			}
			out := e.Step(c, duty)
			if e.Moving() && !(out >= 0 && out <= p.MaxDuty+1e-12) {
				rt.Fatalf("duty %g with a highest of %g", out, p.MaxDuty)
			}
		}
		for range 101 {
			e.Step(200, duty)
		}
		if e.Active() {
			rt.Fatal("runs on after its time")
		}
	})
	var e Experiment
	if err := e.Start(Plan{Method: Relay, Amplitude: 0.1, MaxDuty: 1, LimitK: 10, PeriodS: 0.1, RestS: 1, LegS: 60, TotalS: 300}); err != nil {
		t.Fatal(err)
	}
	if n := testing.AllocsPerRun(200, func() { e.Step(200, 0.4) }); n != 0 {
		t.Errorf("%v allocations in a scan", n)
	}
}
