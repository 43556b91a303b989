package drum

import (
	"fmt"
	"math"
)

// Bed is the cross-section of the bean bed at rest in a smooth drum: a circular
// segment. Its bed is only 3 to 7 beans deep in small drums, so treat every
// figure as good to about 30 percent (common practice, no source).
type Bed struct {
	FillFrac     float64 // share of the drum cross-section, 0..1
	HalfAngleRad float64 // half-angle the bed spans at the axis
	DepthMM      float64 // greatest depth, wall to surface
	ChordMM      float64 // width of the surface
	CentroidMM   float64 // distance of the bed's centre of mass from the axis
	radiusMM     float64
}

// NewBed finds the segment that holds bedML millilitres in a drum of the given
// inner radius and length, mm.
func NewBed(radiusMM, lengthMM, bedML float64) (Bed, error) {
	if !positive(radiusMM) || !positive(lengthMM) {
		return Bed{}, fmt.Errorf("drum bed: drum is %g mm by %g mm (radius by length), both must be finite and above 0; measure the inside", radiusMM, lengthMM)
	}
	drumML := math.Pi * radiusMM * radiusMM * lengthMM / 1000
	if !(bedML > 0 && bedML < drumML) {
		return Bed{}, fmt.Errorf("drum bed: %g ml of beans in a drum of %.0f ml, must be above 0 and below the drum; check batch mass and bulk density", bedML, drumML)
	}
	fill := bedML / drumML
	eps := halfAngle(fill)
	sin, cos := math.Sincos(eps)
	return Bed{
		FillFrac:     fill,
		HalfAngleRad: eps,
		DepthMM:      radiusMM * (1 - cos),
		ChordMM:      2 * radiusMM * sin,
		CentroidMM:   2 * radiusMM * sin * sin * sin / (3 * (eps - sin*cos)),
		radiusMM:     radiusMM,
	}, nil
}

// CirculationMM2PerS is the area of bed that passes the surface each second for
// a drum turning as a rigid body at the skin speed, mm/s.
func (b Bed) CirculationMM2PerS(skinMMS float64) float64 {
	return skinMMS * b.DepthMM * (1 - b.DepthMM/(2*b.radiusMM))
}

// TurnoverS is how long it takes to circulate the whole bed once, s.
func (b Bed) TurnoverS(skinMMS float64) float64 {
	q := b.CirculationMM2PerS(skinMMS)
	if !(q > 0) {
		return math.Inf(1)
	}
	return b.FillFrac * math.Pi * b.radiusMM * b.radiusMM / q
}

// halfAngle solves fill = (2e - sin 2e)/(2 pi) for e by bisection: the function
// rises over the whole of (0, pi), and 60 halvings reach double precision.
func halfAngle(fill float64) float64 {
	lo, hi := 0.0, math.Pi
	for range 60 {
		mid := (lo + hi) / 2
		if (2*mid-math.Sin(2*mid))/(2*math.Pi) < fill {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}
