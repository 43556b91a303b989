package heat

import (
	"math"

	"drumwright/control/bean"
	"drumwright/control/pid"
)

// AirLoopParams describe the air heater and how its loop shall act. The first
// group is the machine and has no defaults; in the second 0 stands for the
// rule given.
type AirLoopParams struct {
	PeriodS           float64 // scan period, s
	MaxPowerW         float64 // heater at duty 1 and nominal mains, W
	ElementHeatJPerK  float64 // heat capacity of element and housing, J/K
	ElementHAWPerK    float64 // element to air at nominal flow, W/K
	NominalFlowKgPerS float64 // air mass flow, kg/s
	DuctLagS          float64 // element to probe at nominal flow, s; may be 0
	ProbeTauS         float64 // time constant of the inlet probe, s

	Efficiency    float64 // share of the heat that reaches the probe; 0.95
	SlewKPerS     float64 // fastest set point change passed on, K/s; 4
	ReferenceLagS float64 // lag of the reference behind it, s; 4
	FlowFilterS   float64 // lag on the measured flow, s; 1.5
	MinFlowShare  float64 // share of nominal flow below which power is 0; 0.25
	// ElementMaxC bounds the steady element temperature and with it the power
	// at low flow, in °C; 700 (resistance wire, common practice, no source).
	ElementMaxC float64

	// Gains at nominal flow; 0 takes each from SIMC. Scheduled over flow by the
	// SIMC rule either way.
	GainWPerK, IntegralS, DerivativeS float64
	// AtFlow are gains at air flows, rising, instead: each stands to the SIMC
	// rule at its flow as it does, between two flows in proportion to the way.
	AtFlow []AirGains
}

// AirGains are gains of the air loop at one air flow.
type AirGains struct{ FlowKgPerS, GainWPerK, IntegralS, DerivativeS float64 }

// AirDerivativeN divides the derivative time of the air loop into its filter.
const AirDerivativeN = 6

// hAFlowExponent is how the exchange of an element grows with flow
// (correlations for cylinders in cross flow give 0.5 to 0.8; from memory).
const hAFlowExponent = 0.6

// filled puts the rules in place of zeros.
func (p AirLoopParams) filled() AirLoopParams {
	p.Efficiency = orDefault(p.Efficiency, 0.95)
	p.SlewKPerS = orDefault(p.SlewKPerS, 4)
	p.ReferenceLagS = orDefault(p.ReferenceLagS, 4)
	p.FlowFilterS = orDefault(p.FlowFilterS, 1.5)
	p.MinFlowShare = orDefault(p.MinFlowShare, 0.25)
	p.ElementMaxC = orDefault(p.ElementMaxC, 700)
	return p
}

// Validate reports every value that cannot work.
func (p AirLoopParams) Validate() error {
	p = p.filled()
	c := check{owner: "air loop"}
	c.within("PeriodS", p.PeriodS, 0.01, 2, "set the scan period")
	c.within("MaxPowerW", p.MaxPowerW, 10, 1e6, "take it from the heater's plate")
	c.within("ElementHeatJPerK", p.ElementHeatJPerK, 1, 1e6, "identify it by a power step without change of flow")
	c.within("ElementHAWPerK", p.ElementHAWPerK, 0.1, 1e5, "identify it by a power step without change of flow")
	c.within("NominalFlowKgPerS", p.NominalFlowKgPerS, 1e-4, 10, "give the mass flow the other values belong to")
	c.within("DuctLagS", p.DuctLagS, 0, 60, "duct volume over volume flow")
	c.within("ProbeTauS", p.ProbeTauS, 0.1, 60, "take it from the probe's data in moving air")
	c.within("Efficiency", p.Efficiency, 0.3, 1, "leave 0 for 0.95")
	c.within("SlewKPerS", p.SlewKPerS, 0.01, 100, "leave 0 for 4 K/s")
	c.within("ReferenceLagS", p.ReferenceLagS, p.PeriodS, 120, "leave 0 for 4 s")
	c.within("FlowFilterS", p.FlowFilterS, p.PeriodS, 30, "leave 0 for 1.5 s")
	c.within("MinFlowShare", p.MinFlowShare, 0.05, 1, "leave 0 for 0.25")
	c.within("ElementMaxC", p.ElementMaxC, 100, 1400, "leave 0 for 700 °C")
	c.within("GainWPerK", p.GainWPerK, 0, 1e6, "leave 0 for the SIMC rule")
	c.within("IntegralS", p.IntegralS, 0, 1e4, "leave 0 for the SIMC rule")
	c.within("DerivativeS", p.DerivativeS, 0, 1e3, "leave 0 for the SIMC rule")
	last := 0.0
	for _, g := range p.AtFlow {
		c.within("AtFlow flow", g.FlowKgPerS, math.Nextafter(last, 1), 10, "give the flows in rising order")
		c.within("AtFlow gain", g.GainWPerK, 1e-6, 1e6, "take it from a tuning")
		c.within("AtFlow integral time", g.IntegralS, 1e-3, 1e4, "take it from a tuning")
		c.within("AtFlow derivative time", g.DerivativeS, 0, 1e3, "take it from a tuning")
		last = g.FlowKgPerS
	}
	return c.err()
}

// PreviewS is how far the inlet air runs behind a set point at nominal flow
// once the slew has caught up: what an outer loop should look ahead, in s.
func (p AirLoopParams) PreviewS() float64 {
	p = p.filled()
	return p.ReferenceLagS + p.DuctLagS
}

// Tuning gives the gains (W/K, s, s) at an air flow in kg/s and a mean air
// temperature in °C, in the form u = Kc (e + 1/Ti integral e + Td de/dt).
// By rule they are the numbers of the series form, a little softer so.
// The element is the large lag; probe and half the duct are cancelled by the
// derivative; the rest of the duct and a scan and a half are dead time.
func (p AirLoopParams) Tuning(flowKgPerS, meanC float64) pid.Series {
	p = p.filled()
	s := p.simc(flowKgPerS, meanC)
	if len(p.AtFlow) > 0 {
		return p.scheduled(s, flowKgPerS, meanC)
	}
	n := p.simc(p.NominalFlowKgPerS, meanC)
	if p.GainWPerK > 0 {
		s.Kc *= p.GainWPerK / n.Kc
	}
	if p.IntegralS > 0 {
		s.TiS *= p.IntegralS / n.TiS
	}
	if p.DerivativeS > 0 {
		s.TdS *= p.DerivativeS / n.TdS
	}
	return s
}

// scheduled scales the rule's gains at a flow by how the explicit ones on both
// sides of it stand to the rule.
func (p *AirLoopParams) scheduled(rule pid.Series, flowKgPerS, meanC float64) pid.Series {
	i := 0
	for i < len(p.AtFlow)-1 && flowKgPerS > p.AtFlow[i+1].FlowKgPerS {
		i++
	}
	kc, ti, td := p.ratios(i, meanC)
	if j := i + 1; j < len(p.AtFlow) && flowKgPerS > p.AtFlow[i].FlowKgPerS {
		way := (flowKgPerS - p.AtFlow[i].FlowKgPerS) / (p.AtFlow[j].FlowKgPerS - p.AtFlow[i].FlowKgPerS)
		kc2, ti2, td2 := p.ratios(j, meanC)
		kc, ti, td = kc+way*(kc2-kc), ti+way*(ti2-ti), td+way*(td2-td)
	}
	return pid.Series{Kc: kc * rule.Kc, TiS: ti * rule.TiS, TdS: td * rule.TdS}
}

func (p *AirLoopParams) ratios(i int, meanC float64) (kc, ti, td float64) {
	g := &p.AtFlow[i]
	r := p.simc(g.FlowKgPerS, meanC)
	return g.GainWPerK / r.Kc, g.IntegralS / r.TiS, g.DerivativeS / r.TdS
}

func (p *AirLoopParams) simc(flowKgPerS, meanC float64) pid.Series {
	l := p.Lags(flowKgPerS, meanC)
	theta := l.DelayS + 1.5*p.PeriodS
	// Cancelling a probe lag with less than this amplifies its noise.
	tauC := max(theta, 0.75*l.Tau2S)
	return pid.SIMC(l.Gain, l.Tau1S, l.Tau2S, theta, tauC)
}

// Lags is what a loop's rule takes the machine for: a gain in K/W, or K/(W s) where
// Tau1S is 0 and the machine integrates, two lags and a dead time, the scan's apart.
type Lags struct{ Gain, Tau1S, Tau2S, DelayS float64 }

// Lags gives them for the air heater at an air flow in kg/s and a mean air
// temperature in °C.
func (p AirLoopParams) Lags(flowKgPerS, meanC float64) Lags {
	p = p.filled()
	gc := flowKgPerS * bean.AirCpJPerKgK(meanC)
	ductS := p.ductS(flowKgPerS)
	return Lags{Gain: p.Efficiency / gc, Tau1S: p.ElementHeatJPerK / (gc * p.effectiveness(flowKgPerS, gc)), Tau2S: p.ProbeTauS + ductS/2, DelayS: ductS / 2}
}

// effectiveness is the share of the element's excess temperature that the air
// takes on: 1 - exp(-NTU), an element at one temperature.
func (p *AirLoopParams) effectiveness(flowKgPerS, gcWPerK float64) float64 {
	hA := p.ElementHAWPerK * math.Pow(flowKgPerS/p.NominalFlowKgPerS, hAFlowExponent)
	return -math.Expm1(-hA / gcWPerK)
}

func (p *AirLoopParams) ductS(flowKgPerS float64) float64 {
	return p.DuctLagS * p.NominalFlowKgPerS / flowKgPerS
}
