package heat

import (
	"errors"
	"fmt"
	"math"
)

// check gathers the faults of a parameter set.
type check struct {
	owner string
	errs  []error
}

func (c *check) within(name string, v, lo, hi float64, remedy string) {
	if !(v >= lo && v <= hi) {
		c.errs = append(c.errs, fmt.Errorf("%s: %s is %g, allowed is %g..%g; %s", c.owner, name, v, lo, hi, remedy))
	}
}

func (c *check) err() error { return errors.Join(c.errs...) }

func orDefault(v, rule float64) float64 {
	if v == 0 {
		return rule
	}
	return v
}

func finite(vs ...float64) bool {
	for _, v := range vs {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

func clamp(v, lo, hi float64) float64 { return max(lo, min(hi, v)) }
