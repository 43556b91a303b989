package drum

import (
	"fmt"
	"math"
)

// Figure is a number with what is known about it. Uncertainty is the half-width
// that covers about 95 percent (coverage factor 2); 0 means exact. Method says
// in plain words where the number comes from.
type Figure struct {
	Value       float64 `json:"value"`
	Uncertainty float64 `json:"uncertainty"`
	Method      string  `json:"method,omitempty"`
}

// check refuses a figure that is not a finite number with a finite uncertainty,
// or whose value leaves lo..hi.
func (f Figure) check(name, unit string, lo, hi float64) error {
	switch {
	case !(f.Value >= lo && f.Value <= hi):
		return fmt.Errorf("%s is %g %s, allowed is %g to %g; measure it again", name, f.Value, unit, lo, hi)
	case !(f.Uncertainty >= 0) || math.IsInf(f.Uncertainty, 1):
		return fmt.Errorf("uncertainty of %s is %g %s, must be finite and not below 0", name, f.Uncertainty, unit)
	}
	return nil
}

// propagate evaluates f at the inputs, and again with each input moved up and
// down by its uncertainty. Each output's uncertainty is the root of the sum of
// squares of half the changes, inputs taken as independent: the numerical form
// of the law of propagation, JCGM 100:2008, 5.1.2 and note 2 of 5.1.3 (from
// memory). Where one side of a strongly bent f changes more, that side counts,
// so that a maximum does not look certain.
func propagate[T any](in []Figure, f func(x []float64) T, outputs func(*T) []float64) (nominal T, uncertainty []float64) {
	x := make([]float64, len(in))
	for i := range in {
		x[i] = in[i].Value
	}
	nominal = f(x)
	at := outputs(&nominal)
	square := make([]float64, len(at))
	for i := range in {
		u := in[i].Uncertainty
		if u == 0 {
			continue
		}
		x[i] = in[i].Value + u
		up := f(x)
		x[i] = in[i].Value - u
		down := f(x)
		x[i] = in[i].Value
		hi, lo := outputs(&up), outputs(&down)
		for k := range at {
			c := math.Abs(hi[k]-lo[k]) / 2
			if one := math.Max(math.Abs(hi[k]-at[k]), math.Abs(lo[k]-at[k])); one > 2*c {
				c = one
			}
			square[k] += c * c
		}
	}
	for k := range square {
		square[k] = math.Sqrt(square[k])
	}
	return nominal, square
}
