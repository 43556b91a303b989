package probe

import (
	"errors"
	"fmt"
	"math"

	"drumwright/control/drum"
	"drumwright/control/lsq"
	"drumwright/control/observe"
)

// Sample is one reading after a charge. Anything not finite is unknown.
type Sample struct {
	SinceChargeS          float64
	ProbeC, InletC, SkinC float64
	FlowKgPerS            float64
}

// Result is what a charge tells of the bean probe. Uncertainties cover about 95
// percent, given that the machine's figures are what they are said to be but for
// one factor on all heat into the bed, which is found as well.
type Result struct {
	LagS       drum.Figure `json:"lag_s"`
	BedShare   drum.Figure `json:"bed_share"`
	HeatFactor drum.Figure `json:"heat_factor"`
	RMSK       float64     `json:"rms_k"` // what the fit leaves
	FromS      float64     `json:"from_s"`
	ToS        float64     `json:"to_s"`
	Samples    int         `json:"samples"`
}

// Window of the fit and what it asks for (judgement).
const (
	fromS, toS = 12.0, 240.0 // the bed has closed over the probe; its lag shows no longer
	leastMany  = 40
	longestGap = 10.0
	stepS      = 0.5
	plungeK    = 20.0 // the drum must be this much hotter than the beans
	worstRMSK  = 3.0
)

// Beforehand it is known, within these standard deviations, how much air a probe
// in a bed feels and how far the machine's heat exchange is from its figures
// (judgement).
const (
	gasShareSd = 0.05
	heatSd     = 0.25 // of the logarithm
	noiseSdK   = 0.3
)

// What the model itself may be off by, shares of the value (judgement): a real
// bed is no lumped one, and the inlet probe lags too.
const modelLag, modelShare, modelHeat = 0.03, 0.02, 0.05

const method = "one charge against the heat balance of the bed, least squares"

// Identify fits lag, bed share and heat factor. p is the machine as its file has
// it; its ProbeTauS and GasShare are where the search begins. beanC is the
// temperature of the green beans.
func Identify(p observe.Params, samples []Sample, beanC float64) (Result, error) {
	use, err := window(samples, beanC)
	if err != nil {
		return Result{}, err
	}
	n := 0
	for i := range use {
		if use[i].SinceChargeS >= fromS {
			n++
		}
	}
	p.StepS = stepS
	first := use[0]
	prob := lsq.Problem{N: n, Start: []float64{math.Log(p.ProbeTauS), p.GasShare, 0, first.ProbeC},
		Low: []float64{0, 0, -1, beanC}, High: []float64{math.Log(100), 0.45, 1, first.ProbeC + 60},
		Scale: []float64{0.1, 0.05, 0.1, 5}, PriorSd: []float64{0, gasShareSd, heatSd, 0}, NoiseSd: noiseSdK,
		Residuals: func(x, r []float64) { residuals(p, use, beanC, x, r) }}
	res, err := lsq.Solve(prob)
	if err != nil {
		return Result{}, fmt.Errorf("warm test: %w", err)
	}
	if res.RMS > worstRMSK || res.AtBound[0] {
		return Result{}, fmt.Errorf("warm test: no lag fits (%.1f K are left); is this the bean probe, and are batch and machine file right?", res.RMS)
	}
	lag := math.Exp(res.X[0])
	figure := func(v, relativeSd, model float64) drum.Figure {
		return drum.Figure{Value: v, Uncertainty: v * math.Hypot(2*relativeSd, model), Method: method}
	}
	share := 1 - res.X[1]
	return Result{
		LagS:       figure(lag, res.Sd[0], modelLag),
		BedShare:   figure(share, res.Sd[1]/share, modelShare),
		HeatFactor: figure(math.Exp(res.X[2]), res.Sd[2], modelHeat),
		RMSK:       res.RMS, FromS: fromS, ToS: use[len(use)-1].SinceChargeS, Samples: n,
	}, nil
}

// window takes the samples that count and refuses a charge that tells nothing.
func window(samples []Sample, beanC float64) (use []Sample, err error) {
	for i, s := range samples {
		if i > 0 && !(s.SinceChargeS > samples[i-1].SinceChargeS) {
			return nil, fmt.Errorf("warm test: sample %d is not later than the one before it", i+1)
		}
		if !(s.SinceChargeS >= 0 && s.SinceChargeS <= toS) {
			continue
		}
		if v := s.ProbeC + s.InletC + s.SkinC + s.FlowKgPerS; math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("warm test: a reading of bean probe, inlet air, drum skin or air flow is missing at %.0f s; take another charge", s.SinceChargeS)
		}
		if n := len(use); n > 0 && s.SinceChargeS-use[n-1].SinceChargeS > longestGap {
			return nil, fmt.Errorf("warm test: no sample between %.0f and %.0f s", use[n-1].SinceChargeS, s.SinceChargeS)
		}
		use = append(use, s)
	}
	switch {
	case len(use) < leastMany || use[0].SinceChargeS > fromS || use[len(use)-1].SinceChargeS < toS/2:
		return nil, fmt.Errorf("warm test: %d samples; it needs at least %d, from before %.0f s to after %.0f s from the charge", len(use), leastMany, fromS, toS/2)
	case math.IsNaN(beanC) || !(use[0].ProbeC > beanC+plungeK):
		return nil, errors.New("warm test: the probe is not clearly hotter than the green beans at charge; it needs a warm drum")
	}
	return use, nil
}

// residuals runs the estimator's model open loop from the charge.
func residuals(p observe.Params, use []Sample, beanC float64, x, r []float64) {
	p.ProbeTauS, p.GasShare, p.LnTau, p.LnHeat = math.Exp(x[0]), x[1], 0, x[2]
	var f observe.Filter
	bad := f.Start(p, beanC, true, x[3]) != nil
	now, k := 0.0, 0
	for i := range use {
		s := &use[i]
		for ; now < s.SinceChargeS-stepS/2; now += stepS {
			f.Predict(s.InletC, s.SkinC, s.FlowKgPerS)
		}
		if s.SinceChargeS < fromS {
			continue
		}
		r[k] = s.ProbeC - f.Estimate().ProbeC
		if bad {
			r[k] = math.NaN()
		}
		k++
	}
}
