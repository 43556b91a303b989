package learn

import "math"

// Guard lets a learned rate act in a batch only as far as the batch bears it
// out. It reckons what the rate does to the probe; the error that the probe
// would have without it then is that which is seen, plus what was done. Where
// that error does not have the shape that the rate is there to cancel, the rate
// is withdrawn, so that a lesson of another coffee, mass or season cannot make
// much worse what the loop alone would do.
type Guard struct {
	full, acted response
	both, both2 float64 // error without × effect, effect², K² s, fading
	share       float64
	trust       float64
}

const (
	// guardTrustK2S is how much of what is seen it takes to move away from the
	// share trusted at first; guardMemoryS how long it counts (chosen on simulated
	// roasts).
	guardTrustK2S = 0.2
	guardMemoryS  = 100.0
	guardMoveS    = 6.0
	guardClipK    = 3.0
)

// Start begins a batch with a share of the learned rate, 0 to 1.
func (g *Guard) Start(share float64) { *g = Guard{share: share, trust: share} }

// Step takes the learned rate for this scan, the probe's error (target minus
// probe, K; NaN = not known) and whether the loop could act, and returns what of
// the rate is to act.
func (g *Guard) Step(d *Dynamics, tS, stepS, rateKPerS, errK float64, seen, free bool) float64 {
	if seen && !math.IsNaN(errK) {
		fade := math.Exp(-stepS / guardMemoryS)
		without := within(errK+g.acted.probeK, -guardClipK, guardClipK)
		g.both = fade*g.both + stepS*without*g.full.probeK
		g.both2 = fade*g.both2 + stepS*g.full.probeK*g.full.probeK
		want := within((guardTrustK2S*g.trust+g.both)/(guardTrustK2S+g.both2), 0, g.trust)
		g.share += stepS / guardMoveS * (want - g.share)
	}
	if !free {
		rateKPerS = 0
	}
	acts := g.share * rateKPerS
	g.full.step(d, tS, stepS, rateKPerS)
	g.acted.step(d, tS, stepS, acts)
	return acts
}

// EffectK is what the rate that acted has done to the probe by now, K.
func (g *Guard) EffectK() float64 { return g.acted.probeK }
