package pid

// Slope is the filtered rate of change of a signal, by backward difference:
// it cannot ring, and goes to the plain difference as the filter goes to 0.
// It is kept free of any gain, so that a scheduled gain never disturbs it.
// The zero value waits for its first sample.
type Slope struct {
	last, perS float64
	seated     bool
}

// Step takes the next sample and gives the slope per second.
// filterS is the filter's time constant, periodS the scan period.
// Source: Astrom & Hagglund 1995, ch. 3 (from memory).
func (s *Slope) Step(x, filterS, periodS float64) float64 {
	if s.seated {
		s.perS = (filterS*s.perS + x - s.last) / (filterS + periodS)
	}
	s.last, s.seated = x, true
	return s.perS
}

// Unseat forgets the last sample and the slope: the next sample starts afresh
// with slope 0. For a gap in the readings, across which no rate is known.
func (s *Slope) Unseat() { *s = Slope{} }
