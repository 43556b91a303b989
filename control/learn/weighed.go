package learn

import (
	"math"

	"drumwright/control/bean"
	"drumwright/control/observe"
)

// Seen is what was estimated of a batch, kept until it is weighed.
type Seen struct {
	Loss       float64 `json:"loss"`        // at drop, share of green mass
	MoistureDB float64 `json:"moisture_db"` // at drop, kg per kg dry
	GreenDB    float64 `json:"green_db"`    // green moisture, as estimated by then
	StartDB    float64 `json:"start_db"`    // green moisture that the estimate began with
	Measured   bool    `json:"measured"`    // by the recipe that was measured of this lot, not a usual value
	Free       bool    `json:"free"`        // the estimate was free to make another moisture of it
}

// Seen is what is to be kept of a batch until it is weighed: it was roasted with
// lessons (nil = none) and a green moisture told by its recipe, kg per kg dry.
func (c *Course) Seen(with *Lessons, toldDB float64, measured bool) Seen {
	if with == nil {
		with = &Lessons{}
	}
	s := Seen{Loss: c.Loss, MoistureDB: c.MoistureDB, GreenDB: c.GreenDB, Measured: measured}
	s.StartDB, _, s.Free = with.Coffee.Moisture(toldDB, measured)
	return s
}

// Standard deviations of what weighing corrects, before anything is weighed,
// and of what it cannot see (judgement; on the kinetics as in package observe).
const (
	usualDBSd    = 0.0145 // of a usual green moisture, kg per kg dry
	measuredDBSd = 0.0025 // of one measured of this lot; anew in each batch
	scaleLossSd  = 0.001  // of weighing, and of chaff and beans left behind
	modelLossSd  = 0.0015 // of what the estimate misses otherwise
	lotDBSd      = 0.0010 // by which a lot's moisture wanders from batch to batch
)

// MostLoss and LeastLoss bound a weighed loss that can be one.
const LeastLoss, MostLoss = 0.05, 0.30

// After is what the coffee teaches once a batch of it was weighed: the rates of
// drying and of dry-matter loss and the green moisture share the difference
// between weighed and estimated loss by how surely each was known (a Kalman
// filter whose state is the coffee). It gains less from each further batch.
func (c Coffee) After(greenKg, roastedKg float64, w Seen) Coffee {
	p := c.Cov
	if c.Weighed == 0 {
		p = observe.UsualCoffee(usualDBSd)
		if w.Measured { // what is off is off in this batch alone
			p = observe.UsualCoffee(lotDBSd)
		}
	}
	p[2][2] += lotDBSd * lotDBSd

	loss := 1 - roastedKg/greenKg
	g := observe.LossGradient(w.Loss, w.MoistureDB, w.StartDB)
	r := scaleLossSd*scaleLossSd + modelLossSd*modelLossSd
	if w.Measured {
		r += math.Pow(g[2]*measuredDBSd, 2)
	}
	var pg [3]float64
	s := r
	for i := range pg {
		for j := range g {
			pg[i] += p[i][j] * g[j]
		}
		s += g[i] * pg[i]
	}
	miss := loss - w.Loss
	if w.Free { // the next batch begins anew, and is held to what is learned here
		miss += g[2] * (w.GreenDB - w.StartDB)
	}
	if miss*miss > spikes*s { // a weight that hardly can be moves little
		s = miss * miss / spikes
	}
	c.LnDryLoss += pg[0] / s * miss
	c.LnDrying += pg[1] / s * miss
	c.MoistureAdd += pg[2] / s * miss
	for i := range p {
		for j := range p {
			p[i][j] -= pg[i] * pg[j] / s
		}
	}
	c.Cov = p
	c.Weighed++
	c.bounded()
	return c
}

// spikes is the squared miss over its variance from which a weighing counts less.
const spikes = 9.0

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

// Unsure is how surely the coffee is known for the next batch, as package observe
// wants it, when the recipe states a measured green moisture or a usual one.
func (c *Coffee) Unsure(measured bool) [3][3]float64 {
	batchSd := lotDBSd // what no earlier batch can tell
	if measured {
		batchSd = measuredDBSd
	}
	if c.Weighed == 0 {
		if measured {
			return observe.UsualCoffee(measuredDBSd)
		}
		return observe.UsualCoffee(usualDBSd)
	}
	cov := c.Cov
	cov[2][2] += batchSd * batchSd
	return cov
}

// Moisture is where the estimate of a batch begins for a green moisture told by
// the recipe, kg per kg dry, and how far it is free to make another of it. The
// heat that drying takes tells something of a moisture that nobody knows; once a
// batch was weighed that has told more.
func (c *Coffee) Moisture(toldDB float64, measured bool) (startDB, sdDB float64, free bool) {
	startDB = math.Max(leastDB, math.Min(mostDB, toldDB+c.MoistureAdd))
	if free = !measured && c.Weighed == 0; free {
		return startDB, usualDBSd, true
	}
	return startDB, measuredDBSd, false
}

// Green moisture that a coffee can have, kg per kg dry (common practice, no source).
const leastDB, mostDB = 0.05, 0.20
