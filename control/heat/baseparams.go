package heat

import (
	"drumwright/control/bean"
	"drumwright/control/pid"
)

// BaseLoopParams describe the drum, the radiant panel below it and how the
// loop shall act. The first group is the machine and has no defaults; in the
// second 0 stands for the rule given.
type BaseLoopParams struct {
	PeriodS          float64 // scan period, s
	MaxPowerW        float64 // panel at duty 1 and nominal mains, W
	DrumHeatJPerK    float64 // heat capacity of the drum, J/K
	DrumLossWPerK    float64 // drum to room, W/K
	GasExchangeWPerK float64 // inlet air to drum wall, W/K; may be 0
	PanelHeatJPerK   float64 // heat capacity of the panel, J/K
	PanelAreaM2      float64 // radiating area, m²
	PanelEmissivity  float64 // effective, panel to drum
	PanelLossWPerK   float64 // panel to room, W/K; may be 0

	SlewKPerS     float64 // fastest set point change passed on, K/s; 0.15
	ReferenceLagS float64 // each of the two lags of the reference, s; 40
	DelayS        float64 // dead time to tune for, s; 5
	ClosedLoopS   float64 // wanted closed-loop time constant, s; 60
	// PanelTypicalC is the panel temperature its lag is taken at, in °C; 527.
	PanelTypicalC float64

	// Gains in standard form; 0 takes each from SIMC.
	GainWPerK, IntegralS, DerivativeS float64
}

// BaseDerivativeN divides the derivative time into its filter: that of the
// series form for gains by rule, the explicit one otherwise.
const BaseDerivativeN = 5

func (p BaseLoopParams) filled() BaseLoopParams {
	p.SlewKPerS = orDefault(p.SlewKPerS, 0.15)
	p.ReferenceLagS = orDefault(p.ReferenceLagS, 40)
	p.DelayS = orDefault(p.DelayS, 5)
	p.ClosedLoopS = orDefault(p.ClosedLoopS, 60)
	p.PanelTypicalC = orDefault(p.PanelTypicalC, 527)
	return p
}

// Validate reports every value that cannot work.
func (p BaseLoopParams) Validate() error {
	p = p.filled()
	c := check{owner: "base loop"}
	c.within("PeriodS", p.PeriodS, 0.01, 5, "set the scan period")
	c.within("MaxPowerW", p.MaxPowerW, 10, 1e6, "take it from the panel's plate")
	c.within("DrumHeatJPerK", p.DrumHeatJPerK, 10, 1e7, "drum mass times about 500 J/(kg K) for steel")
	c.within("DrumLossWPerK", p.DrumLossWPerK, 0.001, 1e4, "steady power over excess temperature of the empty drum")
	c.within("GasExchangeWPerK", p.GasExchangeWPerK, 0, 1e5, "0 leaves the decoupling out")
	c.within("PanelHeatJPerK", p.PanelHeatJPerK, 1, 1e6, "panel mass times its specific heat")
	c.within("PanelAreaM2", p.PanelAreaM2, 1e-4, 100, "measure the radiating face")
	c.within("PanelEmissivity", p.PanelEmissivity, 0.05, 1, "0.7 to 0.9 is usual for an oxidised or ceramic face")
	c.within("PanelLossWPerK", p.PanelLossWPerK, 0, 1e4, "heat the panel's back gives to the room")
	c.within("SlewKPerS", p.SlewKPerS, 0.001, 10, "leave 0 for 0.15 K/s")
	c.within("ReferenceLagS", p.ReferenceLagS, p.PeriodS, 1000, "leave 0 for 40 s")
	c.within("DelayS", p.DelayS, 0.01, 300, "leave 0 for 5 s")
	c.within("ClosedLoopS", p.ClosedLoopS, 0.01, 3000, "leave 0 for 60 s")
	c.within("PanelTypicalC", p.PanelTypicalC, 50, 1400, "leave 0 for 527 °C")
	c.within("GainWPerK", p.GainWPerK, 0, 1e6, "leave 0 for the SIMC rule")
	c.within("IntegralS", p.IntegralS, 0, 1e5, "leave 0 for the SIMC rule")
	c.within("DerivativeS", p.DerivativeS, 0, 1e4, "leave 0 for the SIMC rule")
	return c.err()
}

// Gains are what the loop runs on, in standard form.
func (p BaseLoopParams) Gains() pid.Gains {
	s := p.rule()
	kc, ti, td := s.Ideal()
	g := pid.Gains{Kc: orDefault(p.GainWPerK, kc), TiS: orDefault(p.IntegralS, ti), TdS: orDefault(p.DerivativeS, td), B: 1, C: 1}
	if g.N = BaseDerivativeN; p.DerivativeS == 0 {
		g.N = max(1, BaseDerivativeN*td/s.TdS) // the filter of the series form
	}
	return g
}

// rule gives the series gains (W/K, s, s) by SIMC. The drum counts as an
// integrator; the panel is a lag, cancelled by the derivative, that passes on
// the share of its heat that it does not lose.
func (p BaseLoopParams) rule() pid.Series {
	l := p.Lags()
	return pid.SIMCIntegrating(l.Gain, l.Tau2S, l.DelayS, p.filled().ClosedLoopS)
}

// Lags is what rule takes drum and panels for.
func (p BaseLoopParams) Lags() Lags {
	p = p.filled()
	k := p.PanelTypicalC + bean.KelvinOffset
	radiantWPerK := 4 * p.radiationWPerK4() * k * k * k
	share := radiantWPerK / (radiantWPerK + p.PanelLossWPerK)
	lagS := p.PanelHeatJPerK / (radiantWPerK + p.PanelLossWPerK)
	return Lags{Gain: share / p.DrumHeatJPerK, Tau2S: lagS, DelayS: p.DelayS}
}

func (p *BaseLoopParams) radiationWPerK4() float64 {
	return p.PanelEmissivity * p.PanelAreaM2 * bean.StefanBoltzmannWPerM2K4
}
