package observe

import "math"

// InletLead replaces the lag of the inlet air probe by a shorter one of 2 s: a
// lead of the probe's lag over a first-order filter, (1 + tau s)/(1 + 2 s). The
// filter keeps the lead from amplifying noise by more than about tau/2. The
// zero value with TauS and StepS set is ready.
type InletLead struct {
	TauS  float64 // lag of the inlet probe, s; 4 is usual (common practice, no source)
	StepS float64 // scan period, s

	filteredC float64
	started   bool
}

const leadFilterS = 2.0

// Step takes one reading in °C and returns the air temperature it stands for.
// NaN in gives NaN out and leaves the filter alone.
func (l *InletLead) Step(readingC float64) float64 {
	if badTemperature(readingC) {
		return math.NaN()
	}
	if !l.started {
		l.filteredC, l.started = readingC, true
	}
	l.filteredC += -math.Expm1(-l.StepS/leadFilterS) * (readingC - l.filteredC)
	return l.filteredC + l.TauS/leadFilterS*(readingC-l.filteredC)
}
