package beanloop

import (
	"math"

	"drumwright/control/bean"
	"drumwright/control/observe"
)

// Forecast is what becomes of the curve's end if all the heat that the limits
// allow is given from now on. The zero value says that it can be met.
type Forecast struct {
	ShortC float64 // of the last temperature, at its time, °C
	LateS  float64 // time after that at which it is reached, s; LongestS if not by then
}

// LongestS is how far past the end of the curve a forecast looks.
const LongestS = 600.0

const forecastStepS = 5.0

// Forecast marches the model to the end of the curve with the inlet air as high
// as its limits allow: the recipe's or machine's, the exhaust's, and topC, the
// most that the air heater can give. Drum skin, air flow and what the estimator
// calls a disturbance stay as they are. It allocates nothing.
func (l *Loop) Forecast(e observe.Estimate, in Input, c Plan, topC float64) Forecast {
	m := &l.p.Machine
	endC := c.EndC()
	var (
		h, inletC                  = forecastStepS, in.InletC
		beanC, probeC              = e.BeanC, e.ProbeC
		moisture, dry, reaction    = e.MoistureDB, e.DryFraction, e.ReactionKJPerKg
		k                          = m.Kinetics
		follow                     = -math.Expm1(-h / e.TauS)
		endS, untilS, startKg, out = c.EndS(), c.EndS() + LongestS, bean.DryMassKg(m.BatchKg, m.MoistureDB), Forecast{}
	)
	for t := in.SinceChargeS; ; t += h {
		if t >= endS {
			if out.ShortC == 0 {
				if out.ShortC = endC - probeC; !(out.ShortC > 0) {
					return Forecast{}
				}
			}
			if out.LateS = t - endS; probeC >= endC || t >= untilS {
				return out
			}
		}
		gas := observe.AirOf(m, inletC, in.SkinC, in.FlowKgPerS)
		share := gas.BedShare(e.HeatFactor)
		outletC := gas.AfterDrumC - share*(gas.AfterDrumC-beanC)
		mostC := min(l.p.HighC, topC)
		if l.p.ExhaustC > 0 && !math.IsNaN(in.ExhaustC) && share < 1 && gas.DrumShare < 1 {
			afterDrumC := (l.p.ExhaustC - share*beanC) / (1 - share)
			mostC = min(mostC, (afterDrumC-gas.DrumShare*in.SkinC)/(1-gas.DrumShare))
		}
		mostC = max(mostC, l.p.LowC)
		inletC += min(max(mostC-inletC, -l.p.SlewKPerS*h), l.p.SlewKPerS*h)

		mass := startKg * dry
		q, dX, dS := k.ExothermKWPerKg(reaction, beanC), k.DryingRatePerS(moisture, beanC), k.DryLossRatePerS(dry, beanC)
		heatW := gas.WPerK*share*(gas.AfterDrumC-beanC) + e.HeatFactor*m.HADbWPerK*(in.SkinC-beanC) + 1000*mass*(q+bean.VaporisationKJPerKg*dX)
		beanC += h * (heatW/(mass*bean.DryHeatCapacityJPerKgK(beanC, moisture)) + e.DisturbanceKPerS)
		probeC += follow * ((1-m.GasShare)*beanC + m.GasShare*outletC - probeC)
		moisture, dry, reaction = moisture+h*dX, dry+h*dS, reaction+h*q
		if math.IsNaN(beanC) {
			return Forecast{}
		}
	}
}
