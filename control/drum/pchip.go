package drum

import "math"

// MaxPoints is how many points a schedule can hold; the array is fixed so that
// a step allocates nothing.
const MaxPoints = 16

// pchip is a piecewise cubic Hermite interpolant that is monotone wherever its
// data are: Fritsch & Carlson 1980, SIAM J. Numer. Anal. 17, 238-246 (original
// not seen), interior slopes after Fritsch & Butland 1984, SIAM J. Sci. Stat.
// Comput. 5, 300-304 (as cited in a numerical library manual).
type pchip struct {
	n           int
	x, y, slope [MaxPoints]float64
}

// newPCHIP needs 1..MaxPoints points with strictly rising x; the caller checks.
func newPCHIP(x, y []float64) pchip {
	p := pchip{n: len(x)}
	copy(p.x[:], x)
	copy(p.y[:], y)
	if p.n < 2 {
		return p
	}
	var h, d [MaxPoints]float64
	for i := range p.n - 1 {
		h[i] = x[i+1] - x[i]
		d[i] = (y[i+1] - y[i]) / h[i]
	}
	last := p.n - 1
	if p.n == 2 {
		p.slope[0], p.slope[1] = d[0], d[0]
		return p
	}
	for i := 1; i < last; i++ {
		if d[i-1]*d[i] > 0 {
			w1 := 2*h[i] + h[i-1]
			w2 := h[i] + 2*h[i-1]
			p.slope[i] = (w1 + w2) / (w1/d[i-1] + w2/d[i])
		}
	}
	p.slope[0] = endSlope(h[0], h[1], d[0], d[1])
	p.slope[last] = endSlope(h[last-1], h[last-2], d[last-1], d[last-2])
	return p
}

// endSlope is the one-sided three-point estimate, held back so that the first
// piece stays monotone.
func endSlope(h0, h1, d0, d1 float64) float64 {
	s := ((2*h0+h1)*d0 - h0*d1) / (h0 + h1)
	switch {
	case s*d0 <= 0:
		return 0
	case d0*d1 < 0 && math.Abs(s) > 3*math.Abs(d0):
		return 3 * d0
	}
	return s
}

// at clamps x to the data: outside them nothing is known, so nothing is
// extrapolated.
func (p *pchip) at(x float64) float64 {
	last := p.n - 1
	if !(x > p.x[0]) {
		return p.y[0]
	}
	if x >= p.x[last] {
		return p.y[last]
	}
	i := 0
	for x >= p.x[i+1] {
		i++
	}
	h := p.x[i+1] - p.x[i]
	t := (x - p.x[i]) / h
	u := 1 - t
	y := (1+2*t)*u*u*p.y[i] + t*u*u*h*p.slope[i] +
		t*t*(3-2*t)*p.y[i+1] - t*t*u*h*p.slope[i+1]
	// Rounding must not push a monotone piece past its own ends.
	return min(max(y, min(p.y[i], p.y[i+1])), max(p.y[i], p.y[i+1]))
}
