package control

import (
	"math"

	"drumwright/control/batch"
	"drumwright/io/point"
	"drumwright/io/record"
)

// The time until the machine is ready is reckoned from how fast drum skin and air
// come nearer, which the base loop's slew keeps even. Before readyKnownS nothing
// comes near evenly yet, and below nearerKPerS nothing comes near at all (judgement).
const (
	readyKnownS   = 150.0
	nearerSmoothS = 100.0
	nearerKPerS   = 0.02
)

// nearing follows one temperature on its way to where it is to be.
type nearing struct {
	laggedC float64
	begunS  float64
	begun   bool
}

// rateKPerS is how fast the temperature changes: on an even way its distance from
// a lagged self is the lag's time constant times the rate.
func (n *nearing) rateKPerS(nowS, dt, c float64) float64 {
	if math.IsNaN(c) {
		n.begun = false
		return math.NaN()
	}
	if !n.begun {
		*n = nearing{laggedC: c, begunS: nowS, begun: true}
	}
	n.laggedC += -math.Expm1(-dt/nearerSmoothS) * (c - n.laggedC)
	grown := -math.Expm1(-(nowS - n.begunS) / nearerSmoothS)
	if grown <= 0 {
		return math.NaN()
	}
	return (c - n.laggedC) / (nearerSmoothS * grown)
}

// foreseeReady says when the machine will be ready, or why that is not known.
func (c *Controller) foreseeReady(img *point.Image, dt float64, rec *record.Scan) {
	rec.ReadyInS, rec.NoReady = 0, ""
	if c.state != batch.Warming {
		c.nearing = [2]nearing{}
		return
	}
	ch, band, soak := &c.recipe.Charge, float64(c.m.Batch.ReadyBandK), float64(c.m.Batch.SoakS)
	left, steady := 0.0, true
	for i, x := range [...]struct{ now, want float64 }{{usable(img, point.DrumSkin), float64(ch.Skin)}, {usable(img, point.InletAir), float64(ch.Air)}} {
		rate, off := c.nearing[i].rateKPerS(c.nowS, dt, x.now), x.want-x.now
		if rate = math.Copysign(1, off) * rate; math.Abs(off) <= band {
			continue
		}
		steady = steady && rate >= nearerKPerS
		left = math.Max(left, (math.Abs(off)-band)/rate)
	}
	switch {
	case c.facts.InS < readyKnownS && !c.facts.Warm:
		rec.NoReady = "How long it takes is not known yet: it is reckoned from the first minutes of warming."
	case !steady || math.IsNaN(left):
		rec.NoReady = "How long it takes is not known: drum skin or air come no nearer, or cannot be read."
	default:
		rec.ReadyInS = left + math.Max(0, soak-c.warmS)
	}
}
