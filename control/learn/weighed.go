package learn

import (
	"math"

	"drumwright/control/bean"
	"drumwright/control/observe"
)

// Seen is what was estimated of a batch, kept until it is weighed.
type Seen struct {
	Loss     float64          `json:"loss"`     // at drop, share of green mass
	GreenDB  float64          `json:"green_db"` // green moisture, as estimated by then, kg per kg dry
	StartDB  float64          `json:"start_db"` // green moisture that the estimate began with
	Measured bool             `json:"measured"` // by the recipe that was measured of this lot, not a usual value
	GasSd    float64          `json:"gas_sd"`   // of the gas share of the bean probe by the machine file
	By       observe.Weighing `json:"by"`       // what can have made the two wrong
}

// Seen is what is to be kept of a batch until it is weighed: it was roasted with
// lessons (nil = none), a green moisture told by its recipe, kg per kg dry, and a
// gas share of the bean probe known to gasSd.
func (c *Course) Seen(with *Lessons, toldDB float64, measured bool, gasSd float64) Seen {
	if with == nil {
		with = &Lessons{}
	}
	s := Seen{Loss: c.Loss, GreenDB: c.GreenDB, Measured: measured, GasSd: gasSd, By: c.Weighing}
	s.StartDB, _ = with.Coffee.Moisture(toldDB, measured)
	return s
}

// Standard deviations of what weighing corrects, before anything is weighed,
// and of what it cannot see (judgement).
const (
	usualDBSd    = 0.0145 // of a usual green moisture, kg per kg dry
	measuredDBSd = 0.0025 // of one measured of this lot; anew in each batch
	lotDBSd      = 0.0010 // of the batches of a lot about its mean
	walkDBSd     = 0.0003 // by which that mean wanders from batch to batch
	scaleLossSd  = 0.0010 // of weighing, and of chaff and beans left behind
)

// LeastLoss and MostLoss bound a weighed loss that can be one.
const LeastLoss, MostLoss = 0.05, 0.30

// learnt are the sources of error that weighing corrects. The others come again
// with each batch of the coffee, and are not told apart from these: what they did
// to the lessons goes with them into the doubt about the next estimate, where it
// largely cancels.
const learnt = observe.OfMoisture + 1

// After is what the coffee teaches once a batch of it was weighed. Weighed less
// estimated loss, and how far the estimate has moved the green moisture, both say
// what was told wrongly; each source takes as much of them as it is doubted (a
// Kalman filter whose state is the coffee; its gains for the sources that are not
// learned are zero, as in Schmidt's, value from memory). It gains less from each
// further batch.
func (c Coffee) After(greenKg, roastedKg float64, w Seen) Coffee {
	if w.By == (observe.Weighing{}) { // seen by a program that did not say so
		return c
	}
	p := c.doubt(w.Measured, w.GasSd)
	p[observe.OfMoisture][observe.OfMoisture] += walkDBSd * walkDBSd

	// What the errors do to the two that are seen: estimated less weighed loss, and
	// the green moisture found less that begun with.
	h := [2][observe.NLasting]float64{w.By.LossBy, w.By.GreenBy}
	h[1][observe.OfMoisture]--
	r := [2][2]float64{{w.By.Rest[0] + scaleLossSd*scaleLossSd, w.By.Rest[1]}, {w.By.Rest[1], w.By.Rest[2]}}
	batchSd := moistureSd(w.Measured)
	for i := range r {
		for j := range r[i] {
			r[i][j] += h[i][observe.OfMoisture] * h[j][observe.OfMoisture] * batchSd * batchSd
		}
	}
	seen := [2]float64{w.Loss - (1 - roastedKg/greenKg), w.GreenDB - w.StartDB}

	var ph [observe.NLasting][2]float64
	s := r
	for k := range h {
		for i := range p {
			for j := range p {
				ph[i][k] += p[i][j] * h[k][j]
			}
		}
	}
	for k := range h {
		for l := range h {
			for i := range p {
				s[k][l] += h[k][i] * ph[i][l]
			}
		}
	}
	inv := inverse(s)
	if far := (seen[0]*(inv[0][0]*seen[0]+inv[0][1]*seen[1]) + seen[1]*(inv[1][0]*seen[0]+inv[1][1]*seen[1])) / spikes; far > 1 {
		for k := range s { // a weight that hardly can be moves little
			for l := range s {
				s[k][l] *= far
				inv[k][l] /= far
			}
		}
	}
	var gain [observe.NLasting][2]float64
	for i := range learnt {
		for k := range h {
			gain[i][k] = ph[i][0]*inv[0][k] + ph[i][1]*inv[1][k]
		}
	}
	off := func(i int) float64 { return gain[i][0]*seen[0] + gain[i][1]*seen[1] }
	c.LnDryLoss -= off(observe.OfDryLoss)
	c.LnDrying -= off(observe.OfDrying)
	c.MoistureAdd -= off(observe.OfMoisture)
	c.Cov = p
	for i := range p { // right for any gain, as in Joseph's form
		for j := range p {
			for k := range h {
				c.Cov[i][j] -= gain[i][k]*ph[j][k] + ph[i][k]*gain[j][k]
				for l := range h {
					c.Cov[i][j] += gain[i][k] * s[k][l] * gain[j][l]
				}
			}
		}
	}
	c.Weighed++
	c.bounded()
	return c
}

func inverse(s [2][2]float64) [2][2]float64 {
	d := s[0][0]*s[1][1] - s[0][1]*s[1][0]
	return [2][2]float64{{s[1][1] / d, -s[0][1] / d}, {-s[1][0] / d, s[0][0] / d}}
}

// spikes is the squared distance over its variance from which a weighing counts
// less: for two that are seen, what is beyond in one of 400 (chi square with two
// degrees of freedom, -2 ln(1/400)).
const spikes = 12.0

// Kinetics are the usual ones as this coffee has shown them.
func (c *Coffee) Kinetics(k bean.Kinetics) bean.Kinetics {
	k.DryLossFactor *= c.DryLossBy()
	k.DryingFactor *= c.DryingBy()
	return k
}

// DryLossBy and DryingBy are what the two rates of this coffee are multiplied by.
func (c *Coffee) DryLossBy() float64 { return math.Exp(c.LnDryLoss) }

// DryingBy is that of drying.
func (c *Coffee) DryingBy() float64 { return math.Exp(c.LnDrying) }

// doubt is how surely the coffee is known but for what is new in each batch, on a
// machine whose gas share is known to gasSd.
func (c *Coffee) doubt(measured bool, gasSd float64) observe.Doubt {
	const gas = observe.OfGasShare
	if c.Weighed == 0 {
		if measured { // what is off is off in one batch alone
			return observe.UsualDoubt(0, gasSd)
		}
		return observe.UsualDoubt(usualDBSd, gasSd)
	}
	p := c.Cov
	// What was calibrated since has an error of its own.
	if v := gasSd * gasSd; math.Abs(p[gas][gas]-v) > 1e-6*v {
		for i := range p {
			p[i][gas], p[gas][i] = 0, 0
		}
		p[gas][gas] = v
	}
	for i, v := range observe.UsualDoubt(0, gasSd) {
		if i >= learnt && p[i][i] == 0 { // kept by a program that did not know of it
			p[i][i] = v[i]
		}
	}
	return p
}

// moistureSd is how surely the green moisture of one batch is known besides, which
// no other batch can tell.
func moistureSd(measured bool) float64 {
	if measured {
		return measuredDBSd
	}
	return lotDBSd
}

// Doubt is how surely the coffee is known for the next batch, when the recipe
// states a measured green moisture or a usual one, on a machine whose gas share is
// known to gasSd.
func (c *Coffee) Doubt(measured bool, gasSd float64) observe.Doubt {
	p := c.doubt(measured, gasSd)
	batchSd := moistureSd(measured)
	p[observe.OfMoisture][observe.OfMoisture] += batchSd * batchSd
	return p
}

// Moisture is where the estimate of a batch begins for a green moisture told by
// the recipe, kg per kg dry, and how far it is free to make another of it. The
// heat that drying takes tells something of a moisture that nobody knows; once a
// batch was weighed that has told more.
func (c *Coffee) Moisture(toldDB float64, measured bool) (startDB, sdDB float64) {
	startDB = math.Max(leastDB, math.Min(mostDB, toldDB+c.MoistureAdd))
	if !measured && c.Weighed == 0 {
		return startDB, usualDBSd
	}
	return startDB, measuredDBSd
}

// Green moisture that a coffee can have, kg per kg dry (common practice, no source).
const leastDB, mostDB = 0.05, 0.20
