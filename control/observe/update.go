package observe

// Update corrects the estimate with one bean probe reading, °C. NaN or an
// impossible value counts as missing: the estimate stays the predicted one and
// its sd grows by itself. While the probe sinks into the bed (ImmersionS after
// charge) the reading only sets the probe state. A spike moves the state by a
// bounded amount.
func (f *Filter) Update(readingC float64) {
	if !f.started || badTemperature(readingC) {
		return
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
		return
	}
	v := readingC - f.x[iProbe]
	s := f.cov[iProbe][iProbe] + f.p.NoiseRK2
	if v*v > spikeVariance*s {
		s = v * v / spikeVariance
	}
	row := f.cov[iProbe]
	var gain vector
	for i := range gain {
		gain[i] = row[i] / s
		f.x[i] += gain[i] * v
	}
	// The Joseph form written out for one measurement: it stays non-negative
	// for any gain, also the reduced one of a spike.
	for i := range f.cov {
		for j := 0; j <= i; j++ {
			f.cov[i][j] += -gain[i]*row[j] - row[i]*gain[j] + gain[i]*gain[j]*s
			f.cov[j][i] = f.cov[i][j]
		}
	}
	f.guard(&before)
}

func (f *Filter) elapsedS() float64 { return float64(f.elapsedSteps) * f.p.StepS }
