package observe

import "math"

// Update corrects the estimate with one bean probe reading, °C. NaN or an
// impossible value counts as missing: the estimate stays the predicted one and
// its sd grows by itself. While the probe sinks into the bed (ImmersionS after
// charge) the reading only sets the probe state. A spike moves the state by a
// bounded amount.
func (f *Filter) Update(readingC float64) {
	if !f.started || badTemperature(readingC) {
		return
	}
	if f.gapSteps > 1 {
		f.noise.pause()
	}
	f.gapSteps = 0
	f.lastReadingC = readingC
	before := f.x
	if f.elapsedS() < ImmersionS {
		f.x[iProbe] = readingC
		for i := range f.cov {
			f.cov[i][iProbe], f.cov[iProbe][i] = 0, 0
		}
		f.cov[iProbe][iProbe] = 0.1
		f.account.immersed(f.p.NoiseRK2)
		return
	}
	v := readingC - f.x[iProbe]
	worthK2 := f.noise.variance(f.p.NoiseRK2, f.p.StepS, f.elapsedS())
	s := f.cov[iProbe][iProbe] + worthK2
	most := math.Sqrt(spikeVariance * s)
	f.noise.put(f.x[iProbe]+min(max(v, -most), most), f.p.StepS, f.elapsedS())
	if v*v > spikeVariance*s {
		s = v * v / spikeVariance
	}
	row := f.cov[iProbe]
	var gain vector
	for i := range gain {
		gain[i] = row[i] / s
		f.x[i] += gain[i] * v
	}
	joseph(&f.cov, &gain, s-row[iProbe])
	f.account.update(&gain, worthK2)
	f.guard(&before)
}

// joseph takes a covariance through the update with one measurement, of the
// probe, of variance r: the Joseph form written out. It stays non-negative for
// any gain, also the reduced one of a spike.
func joseph(cov *matrix, gain *vector, r float64) {
	row := cov[iProbe]
	s := row[iProbe] + r
	for i := range cov {
		for j := 0; j <= i; j++ {
			cov[i][j] += -gain[i]*row[j] - row[i]*gain[j] + gain[i]*gain[j]*s
			cov[j][i] = cov[i][j]
		}
	}
}

func (f *Filter) elapsedS() float64 { return float64(f.elapsedSteps) * f.p.StepS }
