package observe

import (
	"math"

	"drumwright/control/bean"
)

// Index of each state. The order is also that of Covariance.
const (
	iBean     = iota // bean temperature, °C
	iProbe           // what the probe shows without noise, °C
	iMoisture        // kg water per kg dry matter
	iDry             // dry mass over initial dry mass
	iReaction        // heat released by the reactions, kJ/kg dry
	iLnTau           // log of probe lag over ProbeTauS
	iLnHeat          // log of the multiplier on both bed conductances
	iDisturb         // unknown extra rate of the bean temperature, K/s
	iStart           // moisture at charge, for the loss and its sd
	nStates
)

// Bounds of the states, and the limits after which the estimate should no
// longer close a loop.
const (
	moistureMax = 0.25
	lnTauMin    = -0.8
	lnTauMax    = 0.7
	lnHeatMax   = 0.7
	disturbMax  = 0.15 // K/s

	// ImmersionS is how long after charge the probe is taken to be still
	// sinking into the bed: its readings say nothing about the beans yet. A bed
	// that closes over the probe with 3 s leaves it 4 % more gas than usual by
	// then, which readings that count for as little as those of the first half
	// minute (see noise.go) do not let the filter take for colder beans. The
	// longer it waits, the further off a fast curve is joined.
	ImmersionS = 10.0
	// MaxReadingGapS, MaxInputGapS and MaxBeanSdC bound Estimate.Usable.
	MaxReadingGapS = 60.0
	MaxInputGapS   = 5.0
	MaxBeanSdC     = 5.0

	maxDiagonal   = 1e6
	minDiagonal   = 1e-14
	spikeVariance = 25.0 // squared innovation over its variance
	minFlowShare  = 0.01 // of G0; keeps the gas terms finite with the blower off
)

type (
	vector [nStates]float64
	matrix [nStates][nStates]float64
)

// Filter is the estimator of one batch. Call Start at charge, then once a scan
// Predict and Update. The zero value is inert until started.
type Filter struct {
	p       Params
	x       vector
	cov     matrix
	started bool

	elapsedSteps, gapSteps, heldSteps, restarts int

	inletC, skinC, flowKgPerS float64 // last good inputs
	lastReadingC              float64
	beanSdK                   float64 // of the bean temperature at charge

	noise probeNoise // of the readings

	rateKPerS, outletC, dryingPerS float64 // of the last predict
	rateGrad                       vector

	account               account
	inletSlope, inletWasC float64 // smoothed slope of the inlet air, K/s
}

// Start begins a batch at charge. ambientC is the temperature of the green
// beans: with ambientKnown the filter trusts it to 2 K, else it takes 25 °C to
// 6 K. readingC is the bean probe (NaN if missing). The error lists parameters
// out of range, and then the filter is left as it was.
func (f *Filter) Start(p Params, ambientC float64, ambientKnown bool, readingC float64) error {
	if err := p.Validate(); err != nil {
		return err
	}
	beanC, beanSd := 25.0, 6.0
	if ambientKnown && !badTemperature(ambientC) {
		beanC, beanSd = ambientC, 2
	}
	// Without a reading the probe may be anywhere between room and hot drum.
	probeC, probeSd := beanC, 100.0
	if !badTemperature(readingC) {
		probeC, probeSd = readingC, 1
	}
	*f = Filter{p: p, started: true, lastReadingC: probeC, inletC: probeC, inletWasC: probeC, skinC: probeC, flowKgPerS: p.G0KgPerS}
	f.x = vector{
		iBean: beanC, iProbe: probeC, iMoisture: p.MoistureDB, iDry: 1,
		iLnTau: p.LnTau, iLnHeat: p.LnHeat, iStart: p.MoistureDB,
	}
	f.beanSdK = beanSd
	f.spread(beanSd, probeSd)
	f.account.begin()
	return nil
}

// spread sets the covariance to its start values. Those of dry fraction and
// reaction heat grow with what has already happened: at charge both are known,
// in mid roast (after a restart) they are not.
func (f *Filter) spread(beanSd, probeSd float64) {
	moistureSd := f.p.MoistureSdDB
	sd := vector{
		iBean: beanSd, iProbe: probeSd, iMoisture: moistureSd,
		iDry: 1e-4 + 0.3*(1-f.x[iDry]), iReaction: 0.05 + 0.3*f.x[iReaction],
		iLnTau: f.p.LnTauSd, iLnHeat: f.p.LnHeatSd, iDisturb: 0.01, iStart: moistureSd,
	}
	f.cov = matrix{}
	for i := range sd {
		f.cov[i][i] = sd[i] * sd[i]
	}
	// The beans start at the moisture they were charged with, so the two
	// uncertainties are one.
	c := 0.999 * moistureSd * moistureSd
	f.cov[iMoisture][iStart], f.cov[iStart][iMoisture] = c, c
}

// guard restores the invariant: bounds, positive diagonal, and a restart from
// the last reading if anything became infinite or lost all meaning. before is
// the state of the previous step, known to be good.
func (f *Filter) guard(before *vector) {
	for i := range f.x {
		if !finite(f.x[i]) {
			f.x = *before
			f.restart()
			return
		}
		for j := range f.x {
			if !finite(f.cov[i][j]) {
				f.restart()
				return
			}
		}
		if f.cov[i][i] > maxDiagonal {
			f.restart()
			return
		}
		f.cov[i][i] = max(f.cov[i][i], minDiagonal)
	}
	f.clamp()
}

// restart begins again from the last reading. Moisture, loss and reaction heat
// are kept: they were inside their bounds, and forgetting the roast so far
// would be a worse guess.
func (f *Filter) restart() {
	f.restarts++
	f.clamp()
	f.x[iBean], f.x[iProbe], f.x[iDisturb] = f.lastReadingC, f.lastReadingC, 0
	f.spread(6, 1)
	f.account = account{noise: f.cov}
	f.rateKPerS, f.rateGrad = 0, vector{}
}

func (f *Filter) clamp() {
	x := &f.x
	x[iMoisture] = min(max(x[iMoisture], 0), moistureMax)
	x[iDry] = min(max(x[iDry], bean.DryFractionMin), 1)
	x[iReaction] = min(max(x[iReaction], 0), bean.ExothermTotalKJPerKg)
	x[iLnTau] = min(max(x[iLnTau], lnTauMin), lnTauMax)
	x[iLnHeat] = min(max(x[iLnHeat], -lnHeatMax), lnHeatMax)
	x[iDisturb] = min(max(x[iDisturb], -disturbMax), disturbMax)
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// badTemperature is true for what no probe in a roaster can mean, in °C.
func badTemperature(tC float64) bool { return !(tC > -100 && tC < 2000) }
