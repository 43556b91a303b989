package drift

import "math"

const (
	// d2 of ranges of two, which makes a standard deviation of a mean moving range.
	d2 = 1.128
	// Sigmas is the distance of the limits from the centre, in standard deviations.
	Sigmas = 3.0
	// Weight of the newest value in the weighted mean; 0.2 to 0.3 is usual.
	Weight = 0.3
	// LeastBase is the fewest values that limits are made from (common practice,
	// no source).
	LeastBase = 8
)

// Chart is what limits say about a row of values.
type Chart struct {
	Centre, Sigma float64   // of the base
	Lower, Upper  float64   // limits of single values
	Mean          []float64 // weighted, beside each value; NaN where there was none yet
	MeanLower     float64   // limits of the weighted mean, in the long run
	MeanUpper     float64
	Out           []int // values beyond their limits
	MeanOut       []int // values at which the weighted mean is beyond its limits
}

// Limits are centre and standard deviation of a base of values, by their mean
// moving range. They are not ok if too few are known.
func Limits(base []float64) (centre, sigma float64, ok bool) {
	var known []float64
	for _, v := range base {
		if !math.IsNaN(v) {
			known = append(known, v)
		}
	}
	if len(known) < LeastBase {
		return 0, 0, false
	}
	sum, ranges := 0.0, 0.0
	for i, v := range known {
		sum += v
		if i > 0 {
			ranges += math.Abs(v - known[i-1])
		}
	}
	return sum / float64(len(known)), ranges / float64(len(known)-1) / d2, true
}

// New charts values against the centre and standard deviation of a base.
func New(values []float64, centre, sigma float64) *Chart {
	far := Sigmas * sigma
	farMean := far * math.Sqrt(Weight/(2-Weight))
	c := &Chart{Centre: centre, Sigma: sigma, Lower: centre - far, Upper: centre + far, MeanLower: centre - farMean, MeanUpper: centre + farMean,
		Mean: make([]float64, len(values))}
	mean := centre
	for i, v := range values {
		if math.IsNaN(v) {
			c.Mean[i] = math.NaN()
			continue
		}
		mean = Weight*v + (1-Weight)*mean
		c.Mean[i] = mean
		if v < c.Lower || v > c.Upper {
			c.Out = append(c.Out, i)
		}
		if mean < c.MeanLower || mean > c.MeanUpper {
			c.MeanOut = append(c.MeanOut, i)
		}
	}
	return c
}
