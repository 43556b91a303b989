package observe

import (
	"math"

	"drumwright/control/bean"
)

// Estimate is what the filter knows after the last call, with one standard
// deviation where it is worth reporting: of 100 batches of coffees and machines
// that differ from what was told by as much as Params says they may, the truth is
// within one sd in about 68 and within two in about 95.
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
	Weighing               Weighing
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
		MoistureDB: x[iMoisture],
		GreenDB:    x[iStart],
		DryingPerS: f.dryingPerS, DryFraction: x[iDry], ReactionKJPerKg: x[iReaction],
		TauS:       tau,
		HeatFactor: math.Exp(x[iLnHeat]), LnTau: x[iLnTau], LnHeat: x[iLnHeat],
		DisturbanceKPerS: x[iDisturb],
		LossFraction:     bean.LossFraction(x[iDry], x[iMoisture], x[iStart]),
		OutletC:          f.outletC,
		ElapsedS:         f.elapsedS(),
		ReadingGapS:      float64(f.gapSteps) * p.StepS,
		InputHeldS:       float64(f.heldSteps) * p.StepS,
		Restarts:         f.restarts,
	}
	e.BeanSdC, e.MoistureSdDB = f.sdOf(iBean), f.sdOf(iMoisture)
	e.TauSdS = tau * f.sdOf(iLnTau)
	byRate := f.account.along(&f.rateGrad)
	for i := range byRate {
		byRate[i] += f.account.rate[i]
	}
	e.RateSdKPerS = f.sd(&f.rateGrad, &byRate)
	e.LossSd, e.Weighing = f.weighing()
	e.Usable = e.BeanSdC <= MaxBeanSdC && e.ReadingGapS <= MaxReadingGapS && e.InputHeldS <= MaxInputGapS
	return e
}

func (f *Filter) sdOf(state int) float64 {
	var g vector
	g[state] = 1
	by := f.account.along(&g)
	return f.sd(&g, &by)
}

// Weighing is what the roasted weight will tell of the coffee: by what the errors of
// its sources have made the estimated loss and the estimated green moisture wrong,
// and how far these are off besides.
type Weighing struct {
	LossBy  [NLasting]float64 `json:"loss_by"`  // of the estimated loss, by the error of each source
	GreenBy [NLasting]float64 `json:"green_by"` // of GreenDB, likewise
	// Rest is the variance of the loss, its covariance with GreenDB and the variance
	// of GreenDB by all else.
	Rest [3]float64 `json:"rest"`
}

// weighing returns the sd of the loss, and what weighing will tell.
func (f *Filter) weighing() (lossSd float64, w Weighing) {
	x, start := f.x[iMoisture], 1+f.x[iStart]
	loss := vector{iMoisture: -f.x[iDry] / start, iDry: -(1 + x) / start, iStart: f.x[iDry] * (1 + x) / (start * start)}
	green := vector{iStart: 1}
	byLoss, byGreen := f.account.along(&loss), f.account.along(&green)
	copy(w.LossBy[:], byLoss[:])
	copy(w.GreenBy[:], byGreen[:])
	w.Rest = [3]float64{f.between(&loss, &loss, &byLoss, &byLoss), f.between(&loss, &green, &byLoss, &byGreen), f.between(&green, &green, &byGreen, &byGreen)}
	return f.sd(&loss, &byLoss), w
}

// Covariance returns the covariance of the nine states: bean and probe
// temperature (°C), moisture, dry fraction, reaction heat (kJ/kg), ln tau,
// ln heat, disturbance (K/s), moisture at charge. Meant for tests and studies.
func (f *Filter) Covariance() [nStates][nStates]float64 { return f.cov }
