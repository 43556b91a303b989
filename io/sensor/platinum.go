package sensor

import "math"

// Constants of IEC 60751:2008 (as quoted by two makers' pages that cite it; the
// standard itself was not seen).
const (
	platinumA  = 3.9083e-3
	platinumB  = -5.775e-7
	platinumC3 = -4.183e-12

	platinumLoC = -200.0
	platinumHiC = 850.0

	// Shares of the resistance at 0 °C outside which a wire is open or shorted:
	// just beyond what -200 and 850 °C give.
	shortedShare = 0.18
	openShare    = 3.91
)

// platinumOhm is the resistance at a temperature by the equation of Callendar
// and van Dusen.
func platinumOhm(c, r0 float64) float64 {
	r := 1 + c*(platinumA+c*platinumB)
	if c < 0 {
		r += platinumC3 * (c - 100) * c * c * c
	}
	return r0 * r
}

// platinumC solves the equation: the quadratic from 0 °C up, and Newton's method
// on from it below.
func platinumC(ohm, r0 float64) (c float64, ok bool) {
	w := ohm / r0
	if !(w >= shortedShare && w <= openShare) {
		return math.NaN(), false
	}
	c = (-platinumA + math.Sqrt(platinumA*platinumA-4*platinumB*(1-w))) / (2 * platinumB)
	if w >= 1 {
		return c, true
	}
	for range 4 { // the quadratic is off by at most 2.5 K; each step squares it
		slope := platinumA + 2*platinumB*c + platinumC3*c*c*(4*c-300)
		c -= (platinumOhm(c, 1) - w) / slope
	}
	return c, true
}
