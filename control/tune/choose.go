package tune

import (
	"errors"
	"fmt"
	"math"

	"drumwright/control/pid"
)

// Loop is what the choice of gains must know of a loop.
type Loop struct {
	PeriodS float64   // scan period
	FilterN float64   // of the derivative
	RatedW  float64   // full power
	NoiseK  float64   // standard deviation of the reading
	InUse   pid.Gains // that it runs on now
	OnlyPID bool      // it has no form without a derivative
}

// Candidate is one set of gains and what is to be expected of it.
type Candidate struct {
	Rule      string
	TauCS     float64 // closed-loop time constant asked for; 0 = the rule has none
	Gains     pid.Gains
	Margins   Margins // on the best fit
	WorstMs   float64 // on the other fits and at the edges of what the best one states
	Predicted Prediction
	NoiseW    float64 // standard deviation that the noise of the reading makes in the output
	Objection string  // why it is not to be taken; "" = it may be
}

const (
	// LeastR2 is the share of the variance that a fit must explain before gains
	// are made from it.
	LeastR2 = 0.9
	// noiseShare of full power is the most that noise may move the output by.
	noiseShare = 0.05
	// lagShare of a lag that the derivative cancels is the least closed-loop time
	// constant: nobody knows a lag so well as to make more than that of it.
	lagShare = 0.3
)

// InUse is the rule of the gains that the loop runs on.
const InUse = "in use"

// Best is the fit that says most with least: the smallest information
// criterion. -1 if there is none.
func Best(fits []Fit) int {
	best, least := -1, math.Inf(1)
	for i := range fits {
		if c := fits[i].criterion(); c < least {
			best, least = i, c
		}
	}
	return best
}

// criterion is the Bayes information criterion (Schwarz 1978, from memory). Fits
// whose criteria differ by less than notApart are not told apart by the data
// (Kass & Raftery 1995 call more than 10 very strong evidence; from memory).
func (f *Fit) criterion() float64 {
	n := float64(len(f.Residuals))
	unknowns := [...]float64{FirstOrder: 5, SecondOrder: 6, Integrator: 5}[f.Model]
	return n*math.Log(f.RMS*f.RMS+1e-12) + unknowns*math.Log(n)
}

const notApart = 10

// Candidates gives the gains in use, then those of each rule for the best of
// the fits, and the index of the one to recommend: the smallest load error
// among those without an objection, 0 if nothing is better than what is in
// use; -1 if there is none. The SIMC rules are made as quick as the limits on
// Ms and noise let them be.
func Candidates(fits []Fit, l Loop) ([]Candidate, int, error) {
	b := Best(fits)
	if b < 0 {
		return nil, -1, errors.New("there is no fit to make gains from")
	}
	f := &fits[b]
	if !(f.R2 >= LeastR2) {
		return nil, -1, fmt.Errorf("the best fit explains %.0f %% of what was measured, at least %.0f %% are needed: repeat with a larger amplitude and nothing else moving", 100*f.R2, 100*LeastR2)
	}
	if f.AtBound {
		return nil, -1, errors.New("a lag or dead time of the best fit stands at the end of the search: the experiment was too short or too long for this process")
	}
	if f.Process.Gain <= 0 {
		return nil, -1, errors.New("the temperature fell as the power rose: look at probe and heater")
	}
	p := f.Process
	p.DelayS = math.Max(p.DelayS, l.PeriodS) + l.PeriodS/2 // sampling counts as dead time

	list := []Candidate{{Rule: InUse, Gains: l.InUse}}
	var fault error
	simc := func(rule string, least float64, make func(tauC float64) pid.Gains) {
		c := Candidate{Rule: rule}
		c.TauCS = quickest(math.Max(least, p.DelayS), func(tauC float64) bool {
			c.Gains = make(tauC)
			if err := c.margins(fits, b, l); err != nil {
				fault = err
			}
			return c.Objection == ""
		})
		c.Gains = make(c.TauCS)
		list = append(list, c)
	}
	if !l.OnlyPID {
		simc("SIMC PI", p.Tau2S/2, func(t float64) pid.Gains { return SIMCPI(p, t) })
		list = append(list, Candidate{Rule: "AMIGO PI", Gains: AMIGOPI(p)})
	}
	if p.Tau2S > 0 {
		simc("SIMC PID", lagShare*p.Tau2S, func(t float64) pid.Gains { return SIMCPID(p, t, l.FilterN) })
	} else if !p.Integrating {
		simc("SIMC PID", 0.5*p.DelayS, func(t float64) pid.Gains { return SIMCDelayPID(p, t, l.FilterN) })
	}
	list = append(list, Candidate{Rule: "AMIGO PID", Gains: AMIGOPID(p, l.FilterN)})

	if fault != nil {
		return nil, -1, fault
	}
	chosen := -1
	for i := range list {
		c := &list[i]
		if err := c.judge(fits, b, l); err != nil {
			return nil, -1, err
		}
		if c.Objection == "" && (chosen < 0 || c.Worth() < list[chosen].Worth()) {
			chosen = i
		}
	}
	return list, chosen, nil
}

// Worth is what the choice goes by, the less the better: the load error, for
// what is in use a tenth less, because a change must pay.
func (c *Candidate) Worth() float64 {
	if c.Rule == InUse {
		return 0.9 * c.Predicted.LoadIAE
	}
	return c.Predicted.LoadIAE
}

// quickest is the shortest closed-loop time constant from least on that is ok,
// within a quarter of a percent; sixteen times least if none is.
func quickest(least float64, ok func(float64) bool) float64 {
	if ok(least) {
		return least
	}
	low, high := least, 2*least
	for !ok(high) && high < 16*least {
		low, high = high, 2*high
	}
	for range 9 {
		if mid := (low + high) / 2; ok(mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return high
}

func (c *Candidate) judge(fits []Fit, best int, l Loop) error {
	if err := c.margins(fits, best, l); err != nil {
		return err
	}
	var err error
	if c.Predicted, err = Predict(fits[best].Process, c.Gains, l.PeriodS); err != nil {
		return fmt.Errorf("gains by %s: %w", c.Rule, err)
	}
	return nil
}

// margins fills in all but the prediction.
func (c *Candidate) margins(fits []Fit, best int, l Loop) error {
	f := &fits[best]
	c.Margins = MarginsOf(f.Process, c.Gains, l.PeriodS)
	c.WorstMs = c.Margins.Ms
	for i := range fits {
		if fits[i].criterion() < f.criterion()+notApart {
			c.WorstMs = math.Max(c.WorstMs, MarginsOf(fits[i].Process, c.Gains, l.PeriodS).Ms)
		}
	}
	edge := f.Process
	edge.Gain += 2 * f.GainSd
	edge.DelayS += 2 * f.DelaySdS
	c.WorstMs = math.Max(c.WorstMs, MarginsOf(edge, c.Gains, l.PeriodS).Ms)
	var err error
	if c.NoiseW, err = noiseGain(c.Gains, l.PeriodS); err != nil {
		return fmt.Errorf("gains by %s: %w", c.Rule, err)
	}
	c.NoiseW *= l.NoiseK
	c.Objection = ""
	switch {
	case c.Margins.Ms > TargetMs*1.005:
		c.Objection = fmt.Sprintf("Ms above %.1f", TargetMs)
	case c.WorstMs > HighestMs:
		c.Objection = fmt.Sprintf("Ms above %.1f if the fit is off", HighestMs)
	case c.NoiseW > noiseShare*l.RatedW:
		c.Objection = fmt.Sprintf("noise moves the output by more than %.0f %%", 100*noiseShare)
	}
	return nil
}

// noiseGain is the standard deviation of the output for white noise of 1 in the
// reading, without what the integral adds: the root of the summed squares of
// the answer to one odd sample.
func noiseGain(g pid.Gains, periodS float64) (float64, error) {
	g.TiS = 0
	c, err := pid.New(pid.Config{Gains: g, PeriodS: periodS, Min: -1e12, Max: 1e12})
	if err != nil {
		return 0, err
	}
	c.Step(pid.In{Mode: pid.Auto})
	sum := 0.0
	for k := range 400 {
		in := pid.In{Mode: pid.Auto}
		if k == 0 {
			in.Measured = 1
		}
		u := c.Step(in).Output
		sum += u * u
	}
	return math.Sqrt(sum), nil
}
