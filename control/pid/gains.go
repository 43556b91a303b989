package pid

import (
	"errors"
	"fmt"
	"math"
)

// Gains are the settings of the controller in ISA standard (ideal) form:
//
//	u = Kc [ (B r - y) + 1/Ti * integral(r - y) + Td * d/dt (C r - y)filtered ]
//
// with the derivative filtered by 1/(1 + s Td/N).
// Source: Astrom & Hagglund 1995, PID Controllers, ch. 3 (from memory).
type Gains struct {
	// Kc is the gain, output units per measured unit. Negative for a process
	// whose reading falls when the output rises; never 0.
	Kc float64
	// TiS is the integral time in s. 0 means no integral action.
	TiS float64
	// TdS is the derivative time in s. 0 means no derivative action.
	TdS float64
	// N divides TdS into the time constant of the derivative filter; 5 to 20
	// is usual. Needed only if TdS > 0.
	N float64
	// B weighs the set point in the proportional part, 0..1. It shapes the
	// answer to the set point only, never the margins.
	B float64
	// C weighs the set point in the derivative part, 0..1. 0 unless the set
	// point is already ramped.
	C float64
	// TtS is the tracking time of the anti-windup in s. 0 means the usual
	// rule: sqrt(Ti Td), or Ti without derivative.
	TtS float64
}

// Validate reports every setting that cannot work.
func (g Gains) Validate() error {
	var errs []error
	bad := func(name string, v float64, allowed string) {
		errs = append(errs, fmt.Errorf("pid gains: %s is %g, allowed is %s", name, v, allowed))
	}
	if !finite(g.Kc) || g.Kc == 0 {
		bad("Kc", g.Kc, "a finite number other than 0")
	}
	for _, t := range [...]struct {
		name string
		v    float64
	}{{"TiS", g.TiS}, {"TdS", g.TdS}, {"TtS", g.TtS}} {
		if !finite(t.v) || t.v < 0 {
			bad(t.name, t.v, "0 or more seconds; set 0 to leave it out")
		}
	}
	if g.TdS > 0 && (!finite(g.N) || g.N < 1) {
		bad("N", g.N, "1 or more when TdS is set, usually 5 to 20")
	}
	if !(g.B >= 0 && g.B <= 1) {
		bad("B", g.B, "0..1")
	}
	if !(g.C >= 0 && g.C <= 1) {
		bad("C", g.C, "0..1")
	}
	return errors.Join(errs...)
}

// filterS is the time constant of the derivative filter.
func (g Gains) filterS() float64 {
	if g.TdS == 0 {
		return 0
	}
	return g.TdS / g.N
}

// trackingS is the tracking time after the rule for an unset one.
func (g Gains) trackingS() float64 {
	switch {
	case g.TtS > 0:
		return g.TtS
	case g.TdS > 0:
		return math.Sqrt(g.TiS * g.TdS)
	default:
		return g.TiS
	}
}

// Series holds the settings of the series (interacting) form
//
//	u = Kc (1 + 1/(TiS s)) (1 + TdS s) e
//
// in which the SIMC rules are written. Its fields mean the same as those of
// Gains only when TdS is 0.
type Series struct {
	Kc, TiS, TdS float64
}

// Ideal converts to standard form. The filter stays at the same time constant
// if the N of the result is the series N divided by (1 + TdS/TiS).
// Source: standard algebra, Astrom & Hagglund 1995, ch. 3 (from memory).
func (s Series) Ideal() (kc, tiS, tdS float64) {
	if s.TdS == 0 {
		return s.Kc, s.TiS, 0
	}
	f := 1 + s.TdS/s.TiS
	return s.Kc * f, s.TiS * f, s.TdS / f
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
