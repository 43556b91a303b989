package observe

import "math"

// Sources of error of an estimate: what it was told and could be told wrongly. An
// error of one of these stays the same through a batch, so what it does to the
// estimate does not average out as noise would. The first NLasting belong to the
// coffee and the machine, and are there again in the next batch.
const (
	OfDryLoss  = iota // logarithm of the rate of dry-matter loss
	OfDrying          // logarithm of the drying rate
	OfMoisture        // green moisture, kg per kg dry
	OfReaction        // logarithm of the reaction heat
	OfGasShare        // share of the bean probe's surroundings that is gas
	OfSkin            // temperature of the drum wall that gas and beans touch, K
	OfInletLag        // lag of the inlet probe, s
	NLasting          // how many these are
)

const (
	ofMass = NLasting + iota // logarithm of the green weight
	ofHeat                   // logarithm of the heat multiplier
	ofTau                    // logarithm of the bean probe's lag
	ofBean                   // bean temperature at charge, K
	nSources
)

// Doubt is how surely coffee and machine are known beforehand: the covariance of
// the lasting sources.
type Doubt [NLasting][NLasting]float64

// How surely a coffee is known before any of it was weighed, as the sd of the
// logarithms of its rates and of its reaction heat; and how surely what a machine
// file does not say of (judgement). Where anything within a span is as likely, an sd
// of the span over 1.6 comes nearest to 68 and 95 %: rates within 20 % either way,
// for one. A sensor on the outside of a drum that is heated from there shows some
// 5 K more than its inside has; InletLead leaves about 1 s of lag.
const (
	RateSd     = 0.125
	ReactionSd = 0.26
	skinSdK    = 6.0
	inletLagSd = 1.0 // s
	massSd     = 0.005
)

// UsualDoubt is the doubt about a coffee of which nothing was weighed yet, its
// green moisture known to moistureSdDB, kg per kg dry, in a machine whose gas share
// is known to gasShareSd.
func UsualDoubt(moistureSdDB, gasShareSd float64) Doubt {
	var d Doubt
	for i, sd := range [NLasting]float64{RateSd, RateSd, moistureSdDB, ReactionSd, gasShareSd, skinSdK, inletLagSd} {
		d[i][i] = sd * sd
	}
	return d
}

// slopeS smooths the slope of the inlet air, by which a wrong lag of its probe
// becomes a wrong temperature.
const slopeS = 5.0

func (f *Filter) restSd() [nSources - NLasting]float64 {
	return [nSources - NLasting]float64{massSd, f.p.LnHeatSd, f.p.LnTauSd, f.beanSdK}
}

// account is the linear account of how far the states are off: what each source
// does to them, by its unit, and the covariance that noise and drift have made.
type account struct {
	by    [nSources]vector
	noise matrix
	// What the sources do in one step: to the rate of the bean temperature, K/s,
	// and to the state of stateOf.
	rate, step [nSources]float64
}

// stateOf is the state that a source acts on by itself.
var stateOf = [nSources]int{OfDryLoss: iDry, OfDrying: iMoisture, OfReaction: iReaction, OfGasShare: iProbe, OfSkin: iProbe, OfInletLag: iProbe}

// begin is the account at charge, when what was told is what is estimated.
func (e *account) begin() {
	*e = account{}
	e.by[OfMoisture][iMoisture], e.by[OfMoisture][iStart] = 1, 1
	e.by[ofHeat][iLnHeat], e.by[ofTau][iLnTau], e.by[ofBean][iBean] = 1, 1, 1
}

// predict takes the account one step of stepS on, by the step's Jacobian.
func (e *account) predict(j *matrix, driftPerS *vector, stepS float64) {
	for i := range e.by {
		was, now := &e.by[i], vector{}
		for r := range j {
			for c, v := range j[r] {
				if v != 0 {
					now[r] += v * was[c]
				}
			}
		}
		now[iBean] += stepS * e.rate[i]
		now[stateOf[i]] += e.step[i]
		*was = now
	}
	propagate(&e.noise, j)
	for i := range driftPerS {
		e.noise[i][i] += stepS * driftExpected * driftPerS[i]
	}
}

// immersed is the account while the probe's state is what it reads.
func (e *account) immersed(varK2 float64) {
	for i := range e.noise {
		e.noise[i][iProbe], e.noise[iProbe][i] = 0, 0
	}
	e.noise[iProbe][iProbe] = varK2
	for i := range e.by {
		e.by[i][iProbe] = 0
	}
}

// update takes the account through an update with gains on a reading of variance
// varK2.
func (e *account) update(gain *vector, varK2 float64) {
	for i := range e.by {
		probe := e.by[i][iProbe]
		for k := range gain {
			e.by[i][k] -= gain[k] * probe
		}
	}
	joseph(&e.noise, gain, varK2)
}

// along is what the sources do to a quantity with gradient g.
func (e *account) along(g *vector) (by [nSources]float64) {
	for i := range by {
		for k, v := range g {
			if v != 0 {
				by[i] += v * e.by[i][k]
			}
		}
	}
	return by
}

// between is the covariance of two quantities by noise and by all sources but
// the lasting: of gradients g and h, and with what the sources do to them.
func (f *Filter) between(g, h *vector, byG, byH *[nSources]float64) float64 {
	v := 0.0
	for i := range g {
		if g[i] == 0 {
			continue
		}
		for j := range h {
			v += g[i] * h[j] * f.account.noise[i][j]
		}
	}
	for i, sd := range f.restSd() {
		v += sd * sd * byG[NLasting+i] * byH[NLasting+i]
	}
	return v
}

// sd is the standard deviation of a quantity of gradient g, with what the sources
// do to it.
func (f *Filter) sd(g *vector, by *[nSources]float64) float64 {
	v := f.between(g, g, by, by)
	for i := range NLasting {
		for j := range NLasting {
			v += by[i] * by[j] * f.p.Doubt[i][j]
		}
	}
	return math.Sqrt(max(v, 0))
}
