package control

import (
	"fmt"
	"hash/fnv"
	"strconv"

	"drumwright/control/bean"
	"drumwright/control/beanloop"
	"drumwright/control/heat"
	"drumwright/control/learn"
	"drumwright/control/observe"
	"drumwright/control/pid"
	"drumwright/control/tune"
	"drumwright/io/point"
	"drumwright/profiles"
)

// kgPerS turns an air flow of the files into that of the equations.
func kgPerS(f profiles.KgPerHour) float64 { return float64(f) / 3600 }

func airParams(m *profiles.Machine) heat.AirLoopParams {
	a, l := m.Heaters.Air, m.Loops.Air
	var atFlow []heat.AirGains
	for _, g := range l.AtFlow {
		atFlow = append(atFlow, heat.AirGains{FlowKgPerS: kgPerS(g.Flow), GainWPerK: g.GainWPerK, IntegralS: float64(g.IntegralS), DerivativeS: float64(g.DerivS)})
	}
	return heat.AirLoopParams{AtFlow: atFlow,
		PeriodS: float64(m.Scan.PeriodS), MaxPowerW: float64(a.PowerW), ElementHeatJPerK: float64(a.ElementJPK),
		ElementHAWPerK: float64(a.ElementWPK), NominalFlowKgPerS: kgPerS(m.Air.Nominal), DuctLagS: float64(a.DuctLagS),
		ProbeTauS: float64(a.ProbeLagS), Efficiency: float64(a.Efficiency), SlewKPerS: float64(l.Slew),
		MinFlowShare: float64(m.Air.MinForHeat / m.Air.Nominal),
		GainWPerK:    l.Gains.GainWPerK, IntegralS: float64(l.Gains.IntegralS), DerivativeS: float64(l.Gains.DerivS),
	}
}

func baseParams(m *profiles.Machine) heat.BaseLoopParams {
	r, l := m.Heaters.Radiant, m.Loops.Base
	return heat.BaseLoopParams{
		PeriodS: float64(m.Scan.PeriodS), MaxPowerW: float64(r.PowerW), DrumHeatJPerK: float64(m.Bed.DrumHeat),
		DrumLossWPerK: float64(m.Bed.DrumLoss), GasExchangeWPerK: float64(m.Bed.GasToDrum), PanelHeatJPerK: float64(r.PanelJPK),
		PanelAreaM2: r.AreaM2, PanelEmissivity: r.Emissivity, PanelLossWPerK: float64(r.PanelWPK), SlewKPerS: float64(l.Slew),
		GainWPerK: l.Gains.GainWPerK, IntegralS: float64(l.Gains.IntegralS), DerivativeS: float64(l.Gains.DerivS),
	}
}

// bedParams is what the estimator starts a batch of this recipe with.
func bedParams(m *profiles.Machine, r *profiles.Recipe) observe.Params {
	p := observe.DefaultParams()
	p.HAGbWPerK, p.HADbWPerK, p.HAGdWPerK = float64(m.Bed.GasToBeans), float64(m.Bed.DrumToBeans), float64(m.Bed.GasToDrum)
	p.G0KgPerS = kgPerS(m.Air.Nominal)
	p.BatchKg = float64(r.Charge.Green)
	if r.Charge.Moisture > 0 {
		p.MoistureDB = bean.MoistureDryBasis(float64(r.Charge.Moisture))
	}
	p.GasShare = float64(m.Bed.GasShare)
	p.ProbeTauS = float64(m.Bed.ProbeLagS)
	p.StepS = float64(m.Scan.PeriodS)
	return p
}

// exhaustMarginK is how far below its limit the bean loop keeps the exhaust
// (judgement: noise, and what a loop at its limit swings).
const exhaustMarginK = 6.0

// ExhaustMostC is where the bean loop of a machine keeps the exhaust, °C; 0 if
// the machine has no probe there.
func ExhaustMostC(m *profiles.Machine) float64 {
	if !m.HasIn[point.Exhaust] {
		return 0
	}
	return float64(m.Limits.ExhaustHigh.At) - exhaustMarginK
}

// learned brings in what earlier batches have taught about machine and coffee.
func learned(p observe.Params, m *profiles.Machine, r *profiles.Recipe, l *learn.Lessons) observe.Params {
	measured := r.Charge.MoistureKnown
	if l == nil {
		l = &learn.Lessons{}
	}
	p.Doubt = l.Coffee.Doubt(measured, float64(m.Bed.GasShareSd))
	p.MoistureDB, p.MoistureSdDB = l.Coffee.Moisture(p.MoistureDB, measured)
	p.Kinetics = l.Coffee.Kinetics(p.Kinetics)
	p.LnTau, p.LnTauSd = l.Machine.Probe(p.LnTauSd)
	p.LnHeat, p.LnHeatSd = l.Path.Heat(p.BatchKg, p.LnHeatSd)
	return p
}

// Dynamics is how the bean loop of a machine answers to what is learned.
func Dynamics(m *profiles.Machine) learn.Dynamics {
	p := beanLoopParams(m, observe.Params{})
	return learn.Dynamics{Gains: p.Gains, LookS: p.LookS, ProbeTauS: float64(m.Bed.ProbeLagS)}
}

// CurveMark tells the curves of recipes apart; a recipe without a curve has "".
func CurveMark(r *profiles.Recipe) string {
	if len(r.Curve) == 0 {
		return ""
	}
	h := fnv.New64a()
	for _, p := range r.Curve {
		fmt.Fprintf(h, "%g %g;", float64(p.AtS), float64(p.Bean))
	}
	return strconv.FormatUint(h.Sum64(), 16)
}

func beanLoopParams(m *profiles.Machine, bed observe.Params) beanloop.Params {
	p := beanloop.DefaultParams(bed)
	b := m.Loops.Bean
	p.LookS = float64(b.LookS)
	p.Gains = beanloop.GainsFor(p.LookS, float64(m.Heaters.Air.DuctLagS), float64(m.Scan.PeriodS), float64(m.Bed.ProbeLagS))
	if b.CloserS > 0 {
		p.Gains.EarlyTauCS *= float64(b.CloserS) / p.Gains.LateTauCS
		p.Gains.LateTauCS = float64(b.CloserS)
	}
	p.ExhaustC = ExhaustMostC(m)
	p.LowC, p.HighC, p.SlewKPerS = float64(m.Loops.Air.MinSet), float64(m.Loops.Air.MaxSet), float64(m.Loops.Air.Slew)
	return p
}

// LoopGains are the gains that a loop of a machine runs on, "air" at an air flow
// in kg/h and a temperature in °C, or "base"; the N of its derivative filter;
// and whether it has no form without a derivative.
func LoopGains(m *profiles.Machine, loop string, flowKgPerH, tempC float64) (g pid.Gains, n float64, onlyPID bool) {
	if loop == "base" {
		return baseParams(m).Gains(), heat.BaseDerivativeN, true
	}
	s := airParams(m).Tuning(flowKgPerH/3600, (tempC+25)/2)
	return pid.Gains{Kc: s.Kc, TiS: s.TiS, TdS: s.TdS, N: heat.AirDerivativeN, B: 1}, heat.AirDerivativeN, false
}

// LoopProcess is what the figures of the machine file make of a loop's process; see
// LoopGains.
func LoopProcess(m *profiles.Machine, loop string, flowKgPerH, tempC float64) tune.Process {
	l := baseParams(m).Lags()
	if loop == "air" {
		l = airParams(m).Lags(flowKgPerH/3600, (tempC+25)/2)
	}
	return tune.Process{Gain: l.Gain, Tau1S: l.Tau1S, Tau2S: l.Tau2S, DelayS: l.DelayS, Integrating: l.Tau1S == 0}
}
