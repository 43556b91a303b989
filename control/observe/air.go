package observe

import (
	"math"

	"drumwright/control/bean"
)

// Air is the gas on its way through the drum, before it meets the bed.
type Air struct {
	WPerK      float64 // heat capacity flow, mass flow × cp at the inlet, W/K
	DrumShare  float64 // effectiveness of the exchange with the drum wall
	AfterDrumC float64 // temperature after the drum wall, °C

	bedNTU float64 // hA of the bed over WPerK, heat multiplier 1
}

// AirOf returns the gas state for one inlet temperature (°C), drum skin (°C)
// and flow (kg/s). The bed conductance goes with flow to the power 0.6 (usual
// for packed and tumbling beds; value from memory). A flow below 1 % of G0 is
// taken as 1 %, so that a stopped blower gives little heat rather than 0/0.
func AirOf(p *Params, inletC, skinC, flowKgPerS float64) Air {
	flow := max(flowKgPerS, minFlowShare*p.G0KgPerS)
	w := flow * bean.AirCpJPerKgK(inletC)
	share := bean.Effectiveness(p.HAGdWPerK, w)
	return Air{
		WPerK: w, DrumShare: share, AfterDrumC: inletC - share*(inletC-skinC),
		bedNTU: p.HAGbWPerK * math.Pow(flow/p.G0KgPerS, 0.6) / w,
	}
}

// BedShare returns the effectiveness of the exchange with the bed for a heat
// multiplier (Estimate.HeatFactor).
func (a Air) BedShare(heatFactor float64) float64 { return -math.Expm1(-heatFactor * a.bedNTU) }
