package tune

import (
	"math"

	"drumwright/control/pid"
)

// Prediction is what a loop is expected to do, for a step of its set point and
// for a load at the input of the process, each at rest before. The set point
// response is that of the feedback alone.
type Prediction struct {
	OvershootShare float64 // of the set point step
	SetPointIAE    float64 // integral of the absolute error, output unit times s, for a step of 1
	SetPointTV     float64 // travel of the output, input units, for a step of 1
	LoadIAE        float64 // for a load of 1 input unit
	LoadPeak       float64 // largest deviation, for a load of 1 input unit
}

// Predict runs the controller of package pid at its scan period against the
// process, without limits.
func Predict(p Process, g pid.Gains, periodS float64) (Prediction, error) {
	var r Prediction
	// Long enough for the slowest of process and integral to settle.
	endS := 30*(p.DelayS+p.Tau2S) + 25*g.TiS
	if !p.Integrating {
		endS += 3.5 * p.Tau1S
	}
	set, err := closedLoop(p, g, periodS, endS, 1, 0)
	if err != nil {
		return r, err
	}
	load, err := closedLoop(p, g, periodS, endS, 0, 1)
	if err != nil {
		return r, err
	}
	r.OvershootShare, r.SetPointIAE, r.SetPointTV = math.Max(0, set.peak-1), set.iae, set.travel
	r.LoadIAE, r.LoadPeak = load.iae, load.peak
	return r, nil
}

type loopRun struct{ iae, travel, peak float64 }

// closedLoop steps set point and load to r and load at time 0. The reading of a
// scan meets the output of the same scan; dead time is exact.
func closedLoop(p Process, g pid.Gains, periodS, endS, r, load float64) (run loopRun, err error) {
	c, err := pid.New(pid.Config{Gains: g, PeriodS: periodS, Min: -1e12, Max: 1e12})
	if err != nil {
		return run, err
	}
	whole := int(math.Floor(p.DelayS / periodS))
	restS := p.DelayS - float64(whole)*periodS // of the dead time, within a period
	if restS > periodS-1e-9*periodS {
		whole, restS = whole+1, 0
	}
	past := make([]float64, whole+2) // inputs, newest first, as a ring
	at := 0
	var s state
	u := 0.0
	y := 0.0
	for range int(endS / periodS) {
		out := c.Step(pid.In{Mode: pid.Auto, SetPoint: r, Measured: y}).Output
		run.travel += math.Abs(out - u)
		u = out
		at = (at + len(past) - 1) % len(past)
		past[at] = u + load
		older := past[(at+whole+1)%len(past)]
		newer := past[(at+whole)%len(past)]
		before := math.Abs(r - y)
		p.move(&s, older, restS)
		mid := p.Gain * s.x2
		p.move(&s, newer, periodS-restS)
		y = p.Gain * s.x2
		run.iae += (before+math.Abs(r-mid))/2*restS + (math.Abs(r-mid)+math.Abs(r-y))/2*(periodS-restS)
		run.peak = math.Max(run.peak, y)
	}
	return run, nil
}
