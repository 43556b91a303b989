package drum

import (
	"fmt"
	"math"
)

// Law is the speed law v = GreenMMS exp(-DecayPerLoss x) over mass-loss fraction
// x. It proposes speeds where the operator has no trial yet; it is a fit to
// trade practice, not physics.
type Law struct {
	GreenMMS     float64 // skin speed for green beans, mm/s
	DecayPerLoss float64 // how fast speed falls with mass-loss fraction
}

// DefaultDecayPerLoss fits the usual trade speeds to within their rounding
// (common practice, no source).
const DefaultDecayPerLoss = 1.85

// SkinMMS is the law's skin speed, mm/s, at a mass-loss fraction.
func (l Law) SkinMMS(lossFrac float64) float64 {
	return l.GreenMMS * math.Exp(-l.DecayPerLoss*lossFrac)
}

// FitLaw fits ln v = ln v0 - k x through the points by least squares with equal
// weights. At least two points at different losses are needed.
func FitLaw(points []Point) (Law, error) {
	var n, sx, sy, sxx, sxy float64
	for i, p := range points {
		if !positive(p.SkinMMS) || math.IsNaN(p.LossFrac) || math.IsInf(p.LossFrac, 0) {
			return Law{}, fmt.Errorf("speed law: point %d is %g mm/s at loss %g, speed must be finite and above 0; repeat the trial", i+1, p.SkinMMS, p.LossFrac)
		}
		y := math.Log(p.SkinMMS)
		n++
		sx += p.LossFrac
		sy += y
		sxx += p.LossFrac * p.LossFrac
		sxy += p.LossFrac * y
	}
	den := n*sxx - sx*sx
	if n < 2 || den <= 1e-12 {
		return Law{}, fmt.Errorf("speed law: %d points at one mass loss, at least two at different losses are needed; add a trial with roasted beans", len(points))
	}
	slope := (n*sxy - sx*sy) / den
	return Law{GreenMMS: math.Exp((sy - slope*sx) / n), DecayPerLoss: -slope}, nil
}
