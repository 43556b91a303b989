package point

// slopeSpan is the number of samples a Slope looks back over.
const slopeSpan = 64

// Slope is the rate of change of a value over a short span of time, by the
// least-squares line through the samples in it. It takes usable values only; a
// gap longer than the span starts it over.
type Slope struct {
	spanS float64
	t, v  [slopeSpan]float64
	n     int
}

// NewSlope makes a Slope over the last spanS seconds (at most 64 samples).
func NewSlope(spanS float64) Slope { return Slope{spanS: spanS} }

// Add takes one sample.
func (s *Slope) Add(nowS float64, v Value) {
	if !v.Usable() {
		return
	}
	for s.n > 0 && (s.n == slopeSpan || nowS-s.t[0] > s.spanS) {
		copy(s.t[:], s.t[1:s.n])
		copy(s.v[:], s.v[1:s.n])
		s.n--
	}
	s.t[s.n], s.v[s.n] = nowS, v.V
	s.n++
}

// PerS is the slope in units per second; ok is false until half the span is
// filled.
func (s *Slope) PerS() (rate float64, ok bool) {
	if s.n < 3 || s.t[s.n-1]-s.t[0] < s.spanS/2 {
		return 0, false
	}
	var mt, mv float64
	for i := range s.n {
		mt += s.t[i]
		mv += s.v[i]
	}
	mt /= float64(s.n)
	mv /= float64(s.n)
	var num, den float64
	for i := range s.n {
		num += (s.t[i] - mt) * (s.v[i] - mv)
		den += (s.t[i] - mt) * (s.t[i] - mt)
	}
	if den == 0 {
		return 0, false
	}
	return num / den, true
}

// Forget drops all samples.
func (s *Slope) Forget() { s.n = 0 }
