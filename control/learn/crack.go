package learn

import (
	"math"

	"drumwright/control/beanloop"
	"drumwright/control/observe"
)

// Where first crack is expected before a coffee has been heard: estimated bean
// temperature and its spread (common practice, no source: 190 to 205 °C).
const (
	crackUsualC  = 197.5
	crackUsualSd = 4.0
	// crackOwnSd is the spread of one coffee's batches, in K, and counts as
	// crackOwnN batches of them (judgement).
	crackOwnSd = 0.7
	crackOwnN  = 3.0
	crackKept  = 5
	// The rate over the last crackRateS counts; as a share of the time left the
	// prediction is off by crackRateSd, and the hearing by crackHeardS.
	crackRateS  = 8.0
	crackRateSd = 0.06
	crackHeardS = 1.0
	// crackFromC is the bean temperature from which a prediction is made, and
	// crackFarS how far ahead one is worth telling.
	crackFromC = 150.0
	crackFarS  = 300.0
	// crackAheadS is how long before it a prediction is judged, and learned from.
	crackAheadS   = 60.0
	crackLateMaxS = 30.0
)

// Heard is the coffee with one more first crack, at an estimated bean
// temperature, foreseen too late by lateS a minute before (NaN = it was not).
// What was foreseen before the coffee was ever heard teaches nothing of that.
func (c Coffee) Heard(beanC, lateS float64) Coffee {
	if !(beanC > 170 && beanC < 230) { // not a first crack of any coffee, or no estimate
		return c
	}
	if len(c.CrackC) > 0 && !math.IsNaN(lateS) {
		lateS = within(lateS+c.late(), -crackLateMaxS, crackLateMaxS)
		c.CrackLateS = append(append([]float64(nil), last(c.CrackLateS, crackKept-1)...), lateS)
	}
	c.CrackC = append(append([]float64(nil), last(c.CrackC, crackKept-1)...), beanC)
	return c
}

// late is by how much predictions of this coffee's first crack come too late a
// minute before it, shrunk towards 0 as if one more had been right.
func (c *Coffee) late() float64 {
	sum := 0.0
	for _, s := range c.CrackLateS {
		sum += s
	}
	return sum / float64(len(c.CrackLateS)+1)
}

// CrackAt is where the coffee is expected to crack, °C, and the sd of the next
// batch about that, K.
func (c *Coffee) CrackAt() (meanC, sdK float64) {
	n := float64(len(c.CrackC))
	if n == 0 {
		return crackUsualC, crackUsualSd
	}
	for _, t := range c.CrackC {
		meanC += t / n
	}
	sum := crackOwnN * crackOwnSd * crackOwnSd
	for _, t := range c.CrackC {
		sum += (t - meanC) * (t - meanC)
	}
	return meanC, math.Sqrt(sum / (crackOwnN + n - 1) * (1 + 1/n))
}

// CrackWatch predicts first crack within a batch.
type CrackWatch struct {
	atC, sdK   float64
	heard      bool // the coffee, in an earlier batch
	lateS      float64
	rate, want float64 // smoothed, estimated and of the curve, K/s
	begun      bool
}

// Start begins a batch of a coffee.
func (w *CrackWatch) Start(c *Coffee) {
	*w = CrackWatch{}
	w.atC, w.sdK = c.CrackAt()
	w.lateS, w.heard = c.late(), len(c.CrackC) > 0
}

// Step takes the estimate of a scan and gives the time at which first crack is
// expected, s since charge, and its sd; 0 while it is too far away to tell. Along
// a curve the beans go on as the curve wants, at the ratio of late; without one
// (curve.Curve nil) their rate goes on falling as it usually does.
func (w *CrackWatch) Step(tS, stepS float64, e *observe.Estimate, curve beanloop.Plan) (dueS, sdS float64) {
	want := 0.0
	if curve.Curve != nil {
		_, slope, bend := curve.At(tS)
		want = slope + e.TauS*bend
	}
	if !w.begun {
		w.rate, w.want, w.begun = e.RateKPerS, want, true
	}
	part := -math.Expm1(-stepS / crackRateS)
	w.rate += part * (e.RateKPerS - w.rate)
	w.want += part * (want - w.want)
	if e.BeanC < crackFromC || w.rate <= minRateKPerS {
		return 0, 0
	}
	// Until it was heard, the beans are still to come to where they crack.
	spreadK := w.sdK
	if !w.heard { // what a coffee was heard at is as wrong as the estimate is now
		spreadK = math.Hypot(spreadK, e.BeanSdC)
	}
	atC, sdK := above(e.BeanC, w.atC, spreadK)
	left := atC - e.BeanC
	aheadS, rate := 0.0, w.rate // the rate there: a degree takes the longer the slower
	switch {
	case curve.Curve != nil && w.want > minRateKPerS:
		aheadS = along(curve, tS, e.TauS, left*w.want/w.rate)
		if _, slope, bend := curve.At(tS + math.Min(aheadS, crackFarS)); slope+e.TauS*bend > 0 {
			rate = math.Max(minRateKPerS, w.rate*(slope+e.TauS*bend)/w.want)
		}
	default:
		x := left / (w.rate * fallS)
		if x >= 1 {
			return 0, 0
		}
		aheadS = -fallS * math.Log1p(-x)
		rate = w.rate * (1 - x)
	}
	if aheadS > crackFarS {
		return 0, 0
	}
	aheadS -= w.lateS * math.Min(1, aheadS/crackAheadS)
	return tS + aheadS, math.Sqrt(math.Pow(sdK/rate, 2) + math.Pow(crackRateSd*aheadS, 2) + crackHeardS*crackHeardS)
}

// above is the mean and the sd of what is normally distributed about meanC once it
// is known to be above leastC.
func above(leastC, meanC, sdK float64) (float64, float64) {
	a := (leastC - meanC) / sdK
	if a > aboveMost { // where the normal tail is nearly exponential
		return leastC + sdK/a, sdK / a
	}
	tail := math.Erfc(a/math.Sqrt2) / 2
	by := math.Exp(-a*a/2) / math.Sqrt(2*math.Pi) / tail
	return meanC + sdK*by, sdK * math.Sqrt(1+a*by-by*by)
}

// aboveMost is where the tail has become too small to divide by with care.
const aboveMost = 6.0

const (
	minRateKPerS = 0.02
	fallS        = 220.0 // in which a rate of rise usually falls by two thirds
)

// along is the time that the curve without the probe's lag takes to rise by riseK.
func along(curve beanloop.Plan, tS, tauS, riseK float64) float64 {
	lagFree := func(s float64) float64 {
		v, slope, _ := curve.At(s)
		return v + tauS*slope
	}
	from := lagFree(tS)
	lo, hi := 0.0, crackFarS+1
	if lagFree(tS+hi)-from < riseK {
		return math.Inf(1)
	}
	for range 12 { // to a tenth of a second
		mid := (lo + hi) / 2
		if lagFree(tS+mid)-from < riseK {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}
