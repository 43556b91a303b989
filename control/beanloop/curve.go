package beanloop

import (
	"errors"
	"fmt"
	"math"
)

// Point is one breakpoint of a target curve.
type Point struct {
	TimeS float64 // since charge
	TempC float64 // of the bean probe
}

// Curve is a smooth target for the bean probe through given points.
//
// The inversion multiplies the slope by the probe lag and the second derivative
// by it again, so both must be continuous: that rules out straight pieces and
// shape-preserving cubics, whose second derivative jumps at every point. A
// plain cubic spline is continuous but its second derivative is made up at the
// first and last point, just where the curve must be extended. The curve is
// therefore the sum of a trend, the usual falling rate of rise
//
//	a + r t - b exp(-t/θ),
//
// fitted to the points by least squares, and a natural cubic spline through
// what the fit leaves over. It passes through every point. Before the first
// point the left-over fades out and the trend carries on towards room
// temperature at charge, which is what a bean probe without the plunge would
// show; after the last point the curve goes on straight.
//
// Give points no denser than their own precision allows: two points 5 s apart,
// each rounded to 1 °C, may be off by 12 K/min between them.
type Curve struct {
	trend trend
	times []float64
	rest  []float64 // what the trend leaves over at the points, K
	bend  []float64 // its second derivative there, K/s²

	headSlope                float64 // slope of rest at the first point, K/s
	endC, endKPerS, endTimeS float64
}

const (
	minSpacingS = 5.0
	// fadeS is how fast the left-over fades before the first point.
	fadeS = 30.0
	// dipKPerS is how far the slope may fall below zero between rising points.
	dipKPerS = -1.0 / 60
)

// NewCurve builds the curve through at least two points, in order of time, at
// least 5 s apart and never falling. It refuses points so uneven that the
// smooth curve through them would fall on the way.
func NewCurve(points []Point) (*Curve, error) {
	if len(points) < 2 {
		return nil, fmt.Errorf("beanloop: the bean curve has %d points, at least 2 are needed: add points from the turn to the drop", len(points))
	}
	var errs []error
	for i, p := range points {
		switch {
		case !(p.TimeS >= 0 && p.TimeS <= 7200) || !(p.TempC >= 0 && p.TempC <= 300):
			errs = append(errs, fmt.Errorf("beanloop: bean curve point %d is %g s, %g °C, allowed 0 to 7200 s and 0 to 300 °C: correct the point", i+1, p.TimeS, p.TempC))
		case i > 0 && !(p.TimeS-points[i-1].TimeS >= minSpacingS):
			errs = append(errs, fmt.Errorf("beanloop: bean curve point %d is at %g s, %g s after the one before, allowed is %g s or more: put the points in order and further apart", i+1, p.TimeS, p.TimeS-points[i-1].TimeS, minSpacingS))
		case i > 0 && p.TempC < points[i-1].TempC:
			errs = append(errs, fmt.Errorf("beanloop: bean curve point %d is %g °C, below the %g °C before it; a target from the turn on may not fall: correct the point", i+1, p.TempC, points[i-1].TempC))
		}
	}
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	c := &Curve{trend: fitTrend(points)}
	for _, p := range points {
		v, _, _ := c.trend.at(p.TimeS)
		c.times = append(c.times, p.TimeS)
		c.rest = append(c.rest, p.TempC-v)
	}
	c.bend = naturalSpline(c.times, c.rest)
	_, c.headSlope, _ = c.segment(1, c.times[0])
	n := len(points) - 1
	c.endTimeS = c.times[n]
	c.endC, c.endKPerS, _ = c.inside(c.endTimeS)
	c.endKPerS = max(c.endKPerS, 0)

	for i := 1; i <= n; i++ {
		from, to := c.times[i-1], c.times[i]
		for k := 0.0; k <= 16; k++ {
			t := from + (to-from)*k/16
			if _, slope, _ := c.inside(t); slope < dipKPerS {
				return nil, fmt.Errorf("beanloop: between the bean curve points at %g s and %g s a smooth curve would fall by %.1f K/min at %.0f s, allowed is 1: move these points or their neighbours so that the rate of rise changes less sharply",
					from, to, -60*slope, t)
			}
		}
	}
	return c, nil
}

// At returns value (°C), slope (K/s) and second derivative (K/s²) at a time
// since charge, for any finite time.
func (c *Curve) At(tS float64) (valueC, slopeKPerS, secondKPerS2 float64) {
	switch {
	case tS < c.times[0]:
		return c.before(tS)
	case tS > c.endTimeS:
		return c.endC + c.endKPerS*(tS-c.endTimeS), c.endKPerS, 0
	}
	return c.inside(tS)
}

// StartS and EndS return the times of the first and last point, s since charge.
func (c *Curve) StartS() float64 { return c.times[0] }

// EndS returns the time of the last point, s since charge.
func (c *Curve) EndS() float64 { return c.endTimeS }

func (c *Curve) inside(tS float64) (v, s, b float64) {
	lo, hi := 0, len(c.times)-1
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; c.times[mid] <= tS {
			lo = mid
		} else {
			hi = mid
		}
	}
	v, s, b = c.trend.at(tS)
	rv, rs, rb := c.segment(hi, tS)
	return v + rv, s + rs, b + rb
}

// segment evaluates the spline of the left-over between points i-1 and i.
func (c *Curve) segment(i int, tS float64) (v, s, b float64) {
	h := c.times[i] - c.times[i-1]
	p, q := (c.times[i]-tS)/h, (tS-c.times[i-1])/h
	y0, y1, b0, b1 := c.rest[i-1], c.rest[i], c.bend[i-1], c.bend[i]
	v = p*y0 + q*y1 + ((p*p*p-p)*b0+(q*q*q-q)*b1)*h*h/6
	s = (y1-y0)/h + ((3*q*q-1)*b1-(3*p*p-1)*b0)*h/6
	return v, s, p*b0 + q*b1
}

// before continues the trend and fades the left-over as (y + c1 u + c2 u²)
// exp(-u/fadeS), u seconds before the first point, with c1 and c2 such that
// value, slope and second derivative (zero there) join.
func (c *Curve) before(tS float64) (v, s, b float64) {
	v, s, b = c.trend.at(tS)
	u := c.times[0] - tS
	y := c.rest[0]
	c1 := y/fadeS - c.headSlope
	c2 := c1/fadeS - y/(2*fadeS*fadeS)
	e := math.Exp(-u / fadeS)
	f, df, ddf := y+c1*u+c2*u*u, c1+2*c2*u, 2*c2
	return v + f*e,
		s - (df-f/fadeS)*e,
		b + (ddf-2*df/fadeS+f/(fadeS*fadeS))*e
}

// naturalSpline returns the second derivatives at the points of the cubic
// spline through them whose second derivative is zero at both ends (textbook
// tridiagonal system).
func naturalSpline(t, y []float64) []float64 {
	n := len(t)
	bend, over := make([]float64, n), make([]float64, n)
	for i := 1; i < n-1; i++ {
		h0, h1 := t[i]-t[i-1], t[i+1]-t[i]
		right := 6 * ((y[i+1]-y[i])/h1 - (y[i]-y[i-1])/h0)
		pivot := 2*(h0+h1) - h0*over[i-1]
		over[i] = h1 / pivot
		bend[i] = (right - h0*bend[i-1]) / pivot
	}
	for i := n - 2; i > 0; i-- {
		bend[i] -= over[i] * bend[i+1]
	}
	return bend
}
