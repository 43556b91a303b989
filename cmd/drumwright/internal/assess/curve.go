package assess

import (
	"math"

	"drumwright/profiles"
)

// Curve is a smooth target for the bean probe whose rate of rise falls all the
// way: T(t) = TD - r (tD - t) - B (exp(-t/θ) - exp(-tD/θ)).
type Curve struct {
	Name          string
	DropS, DropC  float64
	EndKPerMin    float64 // r
	ThetaS, RiseK float64
}

// curves are a medium, a fast and a long roast. They are not trajectories of
// the simulated machine.
var curves = [...]Curve{
	{"A", 630, 210, 5, 220, 137.22773174412234},
	{"B", 545, 205, 6, 200, 128.73153857193697},
	{"C", 715, 215, 4, 250, 158.90302063734234},
}

// At is the wanted probe temperature at a time since charge.
func (c *Curve) At(tS float64) float64 {
	return c.DropC - c.EndKPerMin/60*(c.DropS-tS) - c.RiseK*(math.Exp(-tS/c.ThetaS)-math.Exp(-c.DropS/c.ThetaS))
}

// Recipes give a curve by points: here each minute from firstPointS on.
const (
	firstPointS = 120.0
	pointEveryS = 60.0
)

func (c *Curve) points() []profiles.CurvePoint {
	var ps []profiles.CurvePoint
	for t := firstPointS; t < c.DropS-pointEveryS/2; t += pointEveryS {
		ps = append(ps, profiles.CurvePoint{AtS: profiles.Seconds(t), Bean: profiles.Celsius(c.At(t))})
	}
	return append(ps, profiles.CurvePoint{AtS: profiles.Seconds(c.DropS), Bean: profiles.Celsius(c.DropC)})
}
