package observe

import (
	"math"

	"drumwright/control/bean"
)

// Predict moves the estimate one scan ahead with the inlet air (°C, probe lag
// already removed by InletLead), the drum skin (°C) and the air flow (kg/s). An
// input that is NaN or impossible is held at its last good value, and the time
// held is counted (Estimate.InputHeldS).
func (f *Filter) Predict(inletC, skinC, flowKgPerS float64) {
	if !f.started {
		return
	}
	held := true
	switch {
	case badTemperature(inletC), badTemperature(skinC):
	case !(flowKgPerS >= 0 && flowKgPerS < 1000):
	default:
		held = false
	}
	if !badTemperature(inletC) {
		f.inletC = inletC
	}
	if !badTemperature(skinC) {
		f.skinC = skinC
	}
	if flowKgPerS >= 0 && flowKgPerS < 1000 {
		f.flowKgPerS = flowKgPerS
	}
	f.elapsedSteps++
	f.gapSteps++ // taken back by Update
	f.heldSteps++
	if !held {
		f.heldSteps = 0
	}

	before := f.x
	jac := f.advance()
	propagate(&f.cov, &jac)
	noise := f.noisePerS(&before)
	drift := driftPerS
	for i := range noise {
		noise[i] += drift[i]
		f.cov[i][i] += f.p.StepS * noise[i]
	}
	f.account.predict(&jac, &drift, f.p.StepS)
	f.guard(&before)
}

// advance takes one Euler step of the model and returns its Jacobian at the
// state before the step. One step is enough: the fastest state lags 13 s.
func (f *Filter) advance() matrix {
	var (
		p   = &f.p
		k   = p.Kinetics
		x   = f.x
		h   = p.StepS
		tB  = x[iBean]
		tK  = tB + bean.KelvinOffset
		tau = p.ProbeTauS * math.Exp(x[iLnTau])
		mul = math.Exp(x[iLnHeat])
	)
	// Gas and drum wall to bed.
	gas := AirOf(p, f.inletC, f.skinC, f.flowKgPerS)
	y := mul * gas.bedNTU
	shareB := -math.Expm1(-y)
	toBed := gas.WPerK * shareB
	fromGas := toBed * (gas.AfterDrumC - tB)
	outC := gas.AfterDrumC - shareB*(gas.AfterDrumC-tB)
	wall := mul * p.HADbWPerK
	fromDrum := wall * (f.skinC - tB)
	z := (gas.AfterDrumC - tB) * math.Exp(-y) * y // of outlet air by lnHeat, negative

	// Reactions.
	dX := k.DryingRatePerS(x[iMoisture], tB)
	dXdX := 0.0
	if x[iMoisture] > 0 {
		dXdX = 2 * dX / x[iMoisture]
	}
	dS := k.DryLossRatePerS(x[iDry], tB)
	q := k.ExothermKWPerKg(x[iReaction], tB)
	qHe := k.ExothermSlopePerS(tB)
	const lam = 1000 * bean.VaporisationKJPerKg

	dry := bean.DryMassKg(p.BatchKg, p.MoistureDB) * x[iDry]
	cc := bean.DryHeatCapacityJPerKgK(tB, x[iMoisture])
	cB := dry * cc
	r0 := (fromGas + fromDrum + dry*(1000*q+lam*dX)) / cB
	rate := r0 + x[iDisturb]

	// Gradient of the rate, then the state rows.
	g := vector{
		iBean: (-toBed-wall+dry*(1000*q*bean.ExothermActivationK+lam*dX*bean.DryingActivationK)/(tK*tK))/cB -
			7*dry*r0/cB,
		iMoisture: (lam*dXdX - 5000*r0) / cc,
		iDry:      -(fromGas + fromDrum) / (cB * x[iDry]),
		iReaction: 1000 * qHe / cc,
		iLnHeat:   (gas.WPerK*z + fromDrum) / cB,
		iDisturb:  1,
	}
	e := math.Exp(-h / tau)
	share := p.GasShare
	env := (1-share)*(tB+h*rate/2) + share*outC

	var j matrix
	for i := range j {
		j[i][i] = 1
		j[iBean][i] += h * g[i]
	}
	// Terms of order h²/tau in the probe row are left out: at 0.5 s they are
	// a thousand times smaller than the ones kept.
	j[iProbe][iBean] = (1 - e) * (1 - share + share*shareB)
	j[iProbe][iProbe] = e
	j[iProbe][iLnTau] = -(env - x[iProbe]) * e * h / tau
	j[iProbe][iLnHeat] = -(1 - e) * share * z
	j[iProbe][iDisturb] = (1 - e) * (1 - share) * h / 2
	j[iMoisture][iBean] = h * dX * bean.DryingActivationK / (tK * tK)
	j[iMoisture][iMoisture] = 1 + h*dXdX
	j[iDry][iBean] = h * dS * bean.DryLossActivationK / (tK * tK)
	j[iDry][iDry] = 1 + h*k.DryLossSlopePerS(tB)
	j[iReaction][iBean] = h * q * bean.ExothermActivationK / (tK * tK)
	j[iReaction][iReaction] = 1 + h*qHe

	f.x[iBean] += h * rate
	f.x[iProbe] += (1 - e) * (env - x[iProbe])
	f.x[iMoisture] += h * dX
	f.x[iDry] += h * dS
	f.x[iReaction] += h * q
	f.rateKPerS, f.rateGrad, f.outletC, f.dryingPerS = rate, g, outC, dX
	// What the sources of error do in this step. Seen by the bed, the inlet air is
	// off by the error of its probe's lag times its slope.
	f.inletSlope += -math.Expm1(-h/slopeS) * ((f.inletC-f.inletWasC)/h - f.inletSlope)
	f.inletWasC = f.inletC
	inlet := (1 - gas.DrumShare) * f.inletSlope
	toProbe := (1 - e) * share * (1 - shareB)
	f.account.rate = [nSources]float64{
		OfDrying: lam * dX / cc, OfReaction: 1000 * q / cc,
		OfMoisture: (fromGas + fromDrum) / (cB * (1 + p.MoistureDB)), ofMass: -(fromGas + fromDrum) / cB,
		OfSkin: (toBed*gas.DrumShare + wall) / cB, OfInletLag: toBed * inlet / cB,
	}
	f.account.step = [nSources]float64{
		OfDryLoss: h * dS, OfDrying: h * dX, OfReaction: h * q, OfGasShare: (1 - e) * (outC - tB),
		OfSkin: toProbe * gas.DrumShare, OfInletLag: toProbe * inlet,
	}
	return j
}

// noisePerS is the variance the model's ignorance adds each second. The terms
// that grow with the reaction rates say the kinetics are known to about 12 %
// (26 % for the heat) over 150 s; without them the sd of the loss is far too
// small. Chosen on simulated roasts, no literature authority.
func (f *Filter) noisePerS(x *vector) vector {
	k := f.p.Kinetics
	dX := 0.12 * k.DryingRatePerS(x[iMoisture], x[iBean])
	dS := 0.12 * k.DryLossRatePerS(x[iDry], x[iBean])
	q := 0.26 * k.ExothermKWPerKg(x[iReaction], x[iBean])
	return vector{iMoisture: 150*dX*dX + 1e-12, iDry: 150*dS*dS + 1e-14, iReaction: 150 * q * q}
}

// driftPerS is the variance by which the rest of the model may drift each second.
// The gains are prepared for that much; a driftExpected part of it is expected, and
// stated (judgement).
var driftPerS = vector{
	iBean: 0.003 * 0.003, iProbe: 0.01 * 0.01,
	iLnTau: 0.001 * 0.001, iLnHeat: 0.0005 * 0.0005, iDisturb: 0.0004 * 0.0004,
}

const driftExpected = 0.25

// propagate replaces a covariance by J P J', symmetric. Two thirds of J is
// zero, so rows skip zero entries.
func propagate(cov, j *matrix) {
	var a matrix
	for i := range j {
		for k, v := range j[i] {
			if v == 0 {
				continue
			}
			for c := range a[i] {
				a[i][c] += v * cov[k][c]
			}
		}
	}
	for r := range j {
		for c := 0; c <= r; c++ {
			s := 0.0
			for k, v := range j[c] {
				if v != 0 {
					s += a[r][k] * v
				}
			}
			cov[r][c], cov[c][r] = s, s
		}
	}
}
