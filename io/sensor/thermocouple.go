package sensor

import "math"

// thermocouple is the reference function of one type and its inverse.
type thermocouple struct {
	loC, hiC float64
	forward  []piece
	inverse  []piece
	a        [3]float64 // a0·exp(a1·(t−a2)²), type K from 0 °C up
}

// piece is a polynomial, lowest power first, good up to a bound of its argument.
type piece struct {
	upTo float64
	c    []float64
}

// pick is the first piece that reaches as far as x, or the last.
func pick(list []piece, x float64) []float64 {
	for i := range list {
		if x <= list[i].upTo {
			return list[i].c
		}
	}
	return list[len(list)-1].c
}

// value is the polynomial and its slope at x.
func value(c []float64, x float64) (v, slope float64) {
	for i := len(c) - 1; i >= 0; i-- {
		slope = slope*x + v
		v = v*x + c[i]
	}
	return v, slope
}

// at is the electromotive force against a junction at 0 °C, mV, and its slope,
// mV/K.
func (t *thermocouple) at(c float64) (mV, slope float64) {
	mV, slope = value(pick(t.forward, c), c)
	if t.a[0] != 0 && c > 0 {
		d := c - t.a[2]
		e := t.a[0] * math.Exp(t.a[1]*d*d)
		mV += e
		slope += 2 * t.a[1] * d * e
	}
	return mV, slope
}

func (t *thermocouple) millivolts(c float64) float64 {
	mV, _ := t.at(c)
	return mV
}

// endMV lets what was rounded to 0.001 mV reach both ends of the range.
const endMV = 0.001

// celsius is the temperature of the measuring junction. Voltages add, and not
// temperatures: the cold junction's is put to the measured one before anything
// is inverted. The inverse polynomials are good to some 0.05 K; two steps of
// Newton's method on the reference function take the rest away.
func (t *thermocouple) celsius(mV, junctionC float64) (c float64, ok bool) {
	if !(junctionC >= t.loC && junctionC <= t.hiC) {
		return math.NaN(), false
	}
	mV += t.millivolts(junctionC)
	if !(mV >= t.millivolts(t.loC)-endMV && mV <= t.millivolts(t.hiC)+endMV) {
		return math.NaN(), false
	}
	c, _ = value(pick(t.inverse, mV), mV)
	for range 2 {
		e, slope := t.at(c)
		c -= (e - mV) / slope
	}
	return c, true
}
