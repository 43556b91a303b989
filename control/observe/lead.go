package observe

import "math"

// InletLead replaces the lag of the inlet air probe by a shorter one of 1 s: a
// lead of the probe's lag over a first-order filter, (1 + tau s)/(1 + 1 s), set
// so that a ramp comes out at that lag whatever the scan period. The filter
// keeps the lead from amplifying noise by more than about tau. Air that is
// always seen 2 s late while it rises at 4 K/s after the charge looks like a bed
// that takes up less heat, and the estimate takes two minutes to unlearn that.
// The zero value with TauS and StepS set is ready.
type InletLead struct {
	TauS  float64 // lag of the inlet probe, s; 4 is usual (common practice, no source)
	StepS float64 // scan period, s

	filteredC float64
	started   bool
}

// leadFilterS was chosen on simulated roasts between noise and lag.
const leadFilterS = 1.0

// Step takes one reading in °C and returns the air temperature it stands for.
// NaN in gives NaN out and leaves the filter alone.
func (l *InletLead) Step(readingC float64) float64 {
	if badTemperature(readingC) {
		return math.NaN()
	}
	if !l.started {
		l.filteredC, l.started = readingC, true
	}
	share := -math.Expm1(-l.StepS / leadFilterS)
	l.filteredC += share * (readingC - l.filteredC)
	trailsS := l.StepS * (1 - share) / share // behind a ramp, at this scan period
	return readingC + (l.TauS-leadFilterS)/trailsS*(readingC-l.filteredC)
}
