package tune

import (
	"math"
	"math/rand/v2"
	"testing"
)

// stepData is an up and down step on a process, sampled with noise.
func stepData(p Process, up, holdS, everyS, noise float64, seed uint64) Data {
	rng := rand.New(rand.NewPCG(seed, 1))
	d := Data{Rest: 1000, Inputs: []Level{{10, 1000 + up}, {10 + holdS, 1000}}}
	for at := 0.0; at < 10+2*holdS; at += everyS {
		d.Outputs = append(d.Outputs, Sample{AtS: at})
	}
	y := make([]float64, len(d.Outputs))
	p.unitResponse(&d, y)
	for i := range y {
		d.Outputs[i].Value = 200 + 0.001*d.Outputs[i].AtS + p.Gain*y[i] + noise*rng.NormFloat64()
	}
	return d
}

// The response that a fit is compared with, against a fine integration by hand.
func TestUnitResponseIsExact(t *testing.T) {
	for _, p := range []Process{
		{Gain: 1, Tau1S: 10, DelayS: 2}, {Gain: 1, Tau1S: 10, Tau2S: 3, DelayS: 2.5}, {Gain: 1, Tau1S: 10, Tau2S: 10},
		{Gain: 1, DelayS: 4, Integrating: true}, {Gain: 1, Tau2S: 6, DelayS: 4, Integrating: true},
	} {
		d := Data{Rest: 5, Inputs: []Level{{3, 6}, {7.25, 4}, {20, 5}}}
		for at := 0.0; at < 60; at += 1.5 {
			d.Outputs = append(d.Outputs, Sample{AtS: at})
		}
		y := make([]float64, len(d.Outputs))
		p.unitResponse(&d, y)
		const h = 1e-3
		x1, x2 := 0.0, 0.0
		k := 0
		for i := 0; k < len(y); i++ {
			now := float64(i) * h
			if now >= d.Outputs[k].AtS-h/2 {
				if math.Abs(x2-y[k]) > 2e-3 {
					t.Errorf("%+v at %g s: %g, by hand %g", p, now, y[k], x2)
				}
				k++
			}
			u := 0.0
			for _, l := range d.Inputs {
				if now >= l.AtS+p.DelayS {
					u = l.Value - d.Rest
				}
			}
			lead, lag := p.Tau1S, p.Tau2S
			if p.Integrating {
				lead, lag = p.Tau2S, math.Inf(1)
			}
			if lead > 0 {
				x1 += h * (u - x1) / lead
			} else {
				x1 = u
			}
			switch {
			case p.Integrating:
				x2 += h * x1
			case lag > 0:
				x2 += h * (x1 - x2) / lag
			default:
				x2 = x1
			}
		}
	}
}

// Processes come back, within three of the stated standard deviations.
func TestFitFindsProcess(t *testing.T) {
	for name, tc := range map[string]struct {
		m Model
		p Process
		d Data
	}{
		"first order":  {FirstOrder, Process{Gain: 0.06, Tau1S: 60, DelayS: 10}, Data{}},
		"second order": {SecondOrder, Process{Gain: 0.085, Tau1S: 17, Tau2S: 5, DelayS: 1.6}, Data{}},
		"integrating":  {Integrator, Process{Gain: 0.00045, Tau2S: 190, DelayS: 6, Integrating: true}, Data{}},
	} {
		t.Run(name, func(t *testing.T) {
			hold := 5 * (tc.p.Tau1S + tc.p.Tau2S + tc.p.DelayS)
			up := 20 / tc.p.Gain
			if tc.p.Integrating {
				hold = 600
				up = 20 / (tc.p.Gain * hold)
			}
			for seed := range uint64(4) {
				f, err := FitProcess(stepData(tc.p, up, hold, 1, 0.15, seed), tc.m)
				if err != nil {
					t.Fatal(err)
				}
				for _, v := range []struct {
					what      string
					got, want float64
					sd        float64
				}{
					{"gain", f.Process.Gain, tc.p.Gain, f.GainSd}, {"dead time", f.Process.DelayS, tc.p.DelayS, f.DelaySdS},
					{"lag", f.Process.Tau1S, tc.p.Tau1S, f.Tau1SdS}, {"second lag", f.Process.Tau2S, tc.p.Tau2S, f.Tau2SdS},
				} {
					if math.Abs(v.got-v.want) > 3.5*v.sd+1e-6 {
						t.Errorf("seed %d: %s %g, true %g, stated sd %g", seed, v.what, v.got, v.want, v.sd)
					}
					if v.sd > 0.25*v.want && v.what != "dead time" {
						t.Errorf("seed %d: %s has sd %g of %g: the data tell more", seed, v.what, v.sd, v.want)
					}
				}
				if f.R2 < 0.99 || math.Abs(f.RMS-0.15) > 0.02 || f.AtBound {
					t.Errorf("seed %d: R2 %g, rms %g (noise 0.15), at bound %v", seed, f.R2, f.RMS, f.AtBound)
				}
			}
		})
	}
}

func TestFitRefuses(t *testing.T) {
	ok := stepData(plants["A"], 10, 60, 1, 0.1, 1)
	still := ok
	still.Inputs = []Level{{10, 1000}}
	flat := stepData(plants["A"], 0, 60, 1, 0, 1)
	flat.Inputs = ok.Inputs
	for i := range flat.Outputs {
		flat.Outputs[i].Value = 200
	}
	short := ok
	short.Outputs = ok.Outputs[:fewest-1]
	for name, d := range map[string]Data{"input at rest": still, "output at rest": flat, "few samples": short} {
		if _, err := FitProcess(d, FirstOrder); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}
