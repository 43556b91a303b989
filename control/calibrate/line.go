package calibrate

import (
	"fmt"
	"math"
)

// Point is one comparison: what was read, and what the reference said.
type Point struct {
	Read float64
	True float64
	U    float64 // of True and of the comparison together, covers about 95 %
}

// Line is a correction: true = Gain·read + Offset.
type Line struct {
	Gain, GainU     float64
	Offset, OffsetU float64
	cov             float64 // of gain and offset, in squares of standard uncertainties
	WorstU          float64 // largest residual as a share of what its point allows
}

// coverage is the factor from a standard uncertainty to one of about 95 %.
const coverage = 2.0

// apart is how far apart two points must be to tell a gain, in the unit read.
const apart = 20.0

// FitLine finds the correction by weighted least squares. One point gives the
// offset alone, with a gain of 1 taken as right; points closer together than 20
// give their mean offset. Residuals greater than the points allow widen the
// uncertainty.
func FitLine(points []Point) (Line, error) {
	if len(points) == 0 {
		return Line{}, fmt.Errorf("no comparison is given: at least one is needed")
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	var sw, sx, sy float64
	for _, p := range points {
		if !(p.U > 0) || math.IsNaN(p.Read) || math.IsInf(p.Read, 0) || math.IsNaN(p.True) || math.IsInf(p.True, 0) {
			return Line{}, fmt.Errorf("comparison %g = %g ± %g: three finite numbers and an uncertainty above 0 are needed", p.Read, p.True, p.U)
		}
		w := coverage * coverage / (p.U * p.U)
		sw, sx, sy = sw+w, sx+w*p.Read, sy+w*p.True
		lo, hi = math.Min(lo, p.Read), math.Max(hi, p.Read)
	}
	meanX, meanY := sx/sw, sy/sw
	l := Line{Gain: 1, Offset: meanY - meanX}
	free, varGain := len(points)-1, 0.0
	if hi-lo >= apart {
		free--
		var sxx, sxy float64
		for _, p := range points {
			w := coverage * coverage / (p.U * p.U)
			sxx += w * (p.Read - meanX) * (p.Read - meanX)
			sxy += w * (p.Read - meanX) * (p.True - meanY)
		}
		l.Gain = sxy / sxx
		l.Offset = meanY - l.Gain*meanX
		varGain = 1 / sxx
	}
	chi := 0.0
	for _, p := range points {
		r := (l.Gain*p.Read + l.Offset - p.True) / p.U
		chi += coverage * coverage * r * r
		l.WorstU = math.Max(l.WorstU, math.Abs(r))
	}
	wider := 1.0
	if free > 0 {
		wider = math.Max(1, chi/float64(free))
	}
	varGain *= wider
	l.cov = -meanX * varGain
	l.GainU = coverage * math.Sqrt(varGain)
	l.OffsetU = coverage * math.Sqrt(wider/sw+meanX*meanX*varGain)
	return l, nil
}

// At is the corrected value of a reading and its uncertainty.
func (l *Line) At(read float64) (v, u float64) {
	k := coverage * coverage
	return l.Gain*read + l.Offset, math.Sqrt(math.Max(0, l.OffsetU*l.OffsetU+2*read*k*l.cov+read*read*l.GainU*l.GainU))
}

// speedsApart is by how much two drum constants may differ before something is
// wrong: a slipping belt, or another count of turns (common practice, no source).
const speedsApart = 0.02

// FitRatio finds true = k·read through the origin, as for drum speed over drive
// frequency, and refuses points whose ratios differ by more than 2 %.
func FitRatio(points []Point) (k, u float64, err error) {
	if len(points) < 2 {
		return 0, 0, fmt.Errorf("%d points, at least two at different readings are needed", len(points))
	}
	var sxx, sxy, lo, hi float64
	lo = math.Inf(1)
	for _, p := range points {
		if !(p.Read > 0 && p.True > 0 && p.U > 0) {
			return 0, 0, fmt.Errorf("point %g = %g ± %g: all must be above 0", p.Read, p.True, p.U)
		}
		w := coverage * coverage / (p.U * p.U)
		sxx += w * p.Read * p.Read
		sxy += w * p.Read * p.True
		lo, hi = math.Min(lo, p.True/p.Read), math.Max(hi, p.True/p.Read)
	}
	k = sxy / sxx
	if hi-lo > speedsApart*k {
		return 0, 0, fmt.Errorf("the points give %.4g to %.4g for one, more than 2 %% apart: measure again, and look for slip", lo, hi)
	}
	chi := 0.0
	for _, p := range points {
		r := coverage * (k*p.Read - p.True) / p.U
		chi += r * r
	}
	return k, coverage * math.Sqrt(math.Max(1, chi/float64(len(points)-1))/sxx), nil
}
