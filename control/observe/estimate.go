package observe

import (
	"math"

	"drumwright/control/bean"
)

// Estimate is what the filter knows after the last call, with one standard
// deviation where it is worth reporting.
type Estimate struct {
	BeanC, BeanSdC         float64 // bean temperature, °C, sd in K
	RateKPerS, RateSdKPerS float64 // its rate
	ProbeC                 float64 // bean probe without noise, °C
	MoistureDB             float64 // kg water per kg dry matter
	MoistureSdDB           float64
	GreenDB                float64 // moisture at charge, kg water per kg dry matter
	DryingPerS             float64 // rate of MoistureDB, 1/s, never positive
	DryFraction            float64 // dry mass over initial dry mass
	ReactionKJPerKg        float64 // heat released, kJ/kg dry
	TauS, TauSdS           float64 // lag of the bean probe, s
	HeatFactor             float64 // on the bed conductances, 1 is as described
	LnTau, LnHeat          float64 // the same as logarithms, for learning
	DisturbanceKPerS       float64 // rate the model does not explain
	LossFraction, LossSd   float64 // of the green weight
	OutletC                float64 // air leaving the bed, °C

	ElapsedS    float64 // since Start
	ReadingGapS float64 // since the last accepted bean probe reading
	InputHeldS  float64 // inlet, skin or flow held for so long
	Restarts    int     // times the filter had to begin again
	// Usable is false when a loop should not be closed on the estimate: not
	// started, a gap over MaxReadingGapS, an input held over MaxInputGapS, or
	// BeanSdC over MaxBeanSdC.
	Usable bool
}

// Estimate returns the present estimate. Rate, outlet air and drying rate are
// those of the last Predict.
func (f *Filter) Estimate() Estimate {
	if !f.started {
		return Estimate{}
	}
	x, p := &f.x, &f.p
	tau := p.ProbeTauS * math.Exp(x[iLnTau])
	e := Estimate{
		BeanC: x[iBean], RateKPerS: f.rateKPerS, ProbeC: x[iProbe],
		RateSdKPerS: f.sdAlong(&f.rateGrad),
		MoistureDB:  x[iMoisture], MoistureSdDB: math.Sqrt(f.cov[iMoisture][iMoisture]),
		GreenDB:    x[iStart],
		DryingPerS: f.dryingPerS, DryFraction: x[iDry], ReactionKJPerKg: x[iReaction],
		TauS: tau, TauSdS: tau * math.Sqrt(f.cov[iLnTau][iLnTau]),
		HeatFactor: math.Exp(x[iLnHeat]), LnTau: x[iLnTau], LnHeat: x[iLnHeat],
		DisturbanceKPerS: x[iDisturb],
		LossFraction:     bean.LossFraction(x[iDry], x[iMoisture], x[iStart]),
		OutletC:          f.outletC,
		ElapsedS:         f.elapsedS(),
		ReadingGapS:      float64(f.gapSteps) * p.StepS,
		InputHeldS:       float64(f.heldSteps) * p.StepS,
		Restarts:         f.restarts,
	}
	e.LossSd = f.lossSd(e.LossFraction)
	// The share of gas in the probe's surroundings is not a state: a probe
	// alone cannot show it. Its uncertainty is added here instead.
	gas := 0.0
	if f.elapsedSteps > 0 {
		gas = p.GasShareSd * (f.outletC - x[iBean]) / (1 - p.GasShare)
	}
	e.BeanSdC = math.Sqrt(f.cov[iBean][iBean] + gas*gas)
	e.Usable = e.BeanSdC <= MaxBeanSdC && e.ReadingGapS <= MaxReadingGapS && e.InputHeldS <= MaxInputGapS
	return e
}

// lossSd is how surely the loss is known: by how surely the coffee is. The
// filter's own covariance says too little of it, because its kinetics err anew
// from minute to minute, while those of a coffee err one way for a whole roast,
// and the heat they take looks like moisture. So of what the filter takes itself
// to have found out about the moisture half is believed (judgement; on simulated
// roasts its error is between that and the whole).
func (f *Filter) lossSd(loss float64) float64 {
	start := max(f.x[iStart], 1e-3)
	g := LossGradient(loss, f.x[iMoisture], start)
	if prior := f.p.MoistureSdDB * f.p.MoistureSdDB; prior > 0 {
		g[2] *= math.Sqrt((1 + min(1, f.cov[iStart][iStart]/prior)) / 2)
	}
	v := modelLossSd * modelLossSd * loss / (loss + 0.02)
	for i := range g {
		for j := range g {
			v += g[i] * g[j] * f.p.CoffeeCov[i][j]
		}
	}
	return math.Sqrt(max(v, 0))
}

// modelLossSd is what the loss is off by for other reasons than the coffee's,
// late in a roast (from simulated roasts).
const modelLossSd = 0.0005

// sdAlong returns sqrt(g' P g).
func (f *Filter) sdAlong(g *vector) float64 {
	s := 0.0
	for i := range g {
		if g[i] == 0 {
			continue
		}
		for j := range g {
			s += g[i] * g[j] * f.cov[i][j]
		}
	}
	return math.Sqrt(max(s, 0))
}

// Covariance returns the covariance of the nine states: bean and probe
// temperature (°C), moisture, dry fraction, reaction heat (kJ/kg), ln tau,
// ln heat, disturbance (K/s), moisture at charge. Meant for tests and studies.
func (f *Filter) Covariance() [nStates][nStates]float64 { return f.cov }
