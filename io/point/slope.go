package point

import "math"

// slopeSpan is the number of samples a Slope looks back over.
const slopeSpan = 64

// Slope is the rate of change of a value over a short span of time, by the
// least-squares line through the samples in it. It takes usable values only; a
// gap longer than half the span leaves it without a rate.
type Slope struct {
	spanS float64
	nowS  float64
	t, v  [slopeSpan]float64
	n     int
}

// NewSlope makes a Slope over the last spanS seconds. Samples that come faster
// than 60 in a span are thinned out.
func NewSlope(spanS float64) Slope { return Slope{spanS: spanS} }

// Add takes one sample. Call it in every scan, with unusable values too: time
// goes on without them.
func (s *Slope) Add(nowS float64, v Value) {
	s.nowS = nowS
	old := 0
	for old < s.n && !(nowS-s.t[old] <= s.spanS*(1+1e-9)) {
		old++
	}
	if !v.Usable() || math.IsNaN(v.V) || math.IsInf(v.V, 0) {
		s.drop(old)
		return
	}
	if s.n > old && nowS-s.t[s.n-1] < s.spanS/60*(1-1e-9) {
		s.drop(old)
		return
	}
	if s.n-old == slopeSpan {
		old++
	}
	s.drop(old)
	s.t[s.n], s.v[s.n] = nowS, v.V
	s.n++
}

// drop removes the oldest samples.
func (s *Slope) drop(k int) {
	if k == 0 {
		return
	}
	copy(s.t[:], s.t[k:s.n])
	copy(s.v[:], s.v[k:s.n])
	s.n -= k
}

// PerS is the slope in units per second; ok is false until half the span is
// filled, and while no value has come for half the span.
func (s *Slope) PerS() (rate float64, ok bool) {
	if s.n < 3 || s.t[s.n-1]-s.t[0] < s.spanS/2*(1-1e-9) || s.nowS-s.t[s.n-1] > s.spanS/2*(1+1e-9) {
		return 0, false
	}
	var mt, mv float64
	for i := range s.n {
		mt += s.t[i] - s.t[0]
		mv += s.v[i]
	}
	mt /= float64(s.n)
	mv /= float64(s.n)
	var num, den float64
	for i := range s.n {
		dt := s.t[i] - s.t[0] - mt
		num += dt * (s.v[i] - mv)
		den += dt * dt
	}
	if den == 0 {
		return 0, false
	}
	return num / den, true
}
