package tune

import (
	"math"
	"math/cmplx"

	"drumwright/control/pid"
)

// Margins is how far a loop is from oscillating.
type Margins struct {
	Ms        float64 // largest sensitivity |1/(1+L)|; 1.4 calm, 1.6 the target here, above 2 refused; +Inf if the loop is unstable
	Gain      float64 // gain margin, a factor; +Inf if the phase never gets to -180 degrees
	PhaseDeg  float64 // phase margin; +Inf if the gain never falls through 1
	DelayS    float64 // further dead time that would make the loop oscillate; +Inf likewise
	CrossRadS float64 // frequency at which the gain falls through 1
}

// What the tuner aims at and what it refuses (Astrom & Hagglund 2006 use 1.4 to
// 2.0, from memory).
const (
	TargetMs  = 1.6
	HighestMs = 2.0
)

// controllerResponse is the continuous controller at w rad/s: derivative on the
// reading, filtered by Td/N.
func controllerResponse(g pid.Gains, w float64) complex128 {
	s := complex(0, w)
	c := complex128(1)
	if g.TiS > 0 {
		c += 1 / (complex(g.TiS, 0) * s)
	}
	if g.TdS > 0 {
		c += complex(g.TdS, 0) * s / (1 + complex(g.TdS/g.N, 0)*s)
	}
	return complex(g.Kc, 0) * c
}

// MarginsOf gives the margins of gains on a process, from 6000 frequencies over
// seven decades around its time constants. Sampling counts as half a period of
// dead time.
func MarginsOf(p Process, g pid.Gains, periodS float64) Margins {
	p.DelayS += periodS / 2
	scaleS := math.Max(p.DelayS+p.Tau2S, 1e-9)
	if !p.Integrating {
		scaleS += p.Tau1S
	}
	m := Margins{Gain: math.Inf(1), PhaseDeg: math.Inf(1), DelayS: math.Inf(1)}
	const points = 6000
	var last complex128
	phase := 0.0 // degrees, followed from the lowest frequency on
	for k := range points {
		w := math.Pow(10, -3+7*float64(k)/points) / scaleS
		l := controllerResponse(g, w) * p.Response(w)
		m.Ms = math.Max(m.Ms, 1/cmplx.Abs(1+l))
		if k == 0 {
			if phase = cmplx.Phase(l) * 180 / math.Pi; phase > 0 {
				phase -= 360 // an integrator never leads
			}
		} else {
			phase += cmplx.Phase(l/last) * 180 / math.Pi
			// The negative real axis is crossed upwards: the phase falls through -180.
			if imag(last) < 0 && imag(l) >= 0 && real(l) < 0 && real(last) < 0 {
				share := -imag(last) / (imag(l) - imag(last))
				m.Gain = math.Min(m.Gain, -1/(real(last)+share*(real(l)-real(last))))
			}
			if cmplx.Abs(last) >= 1 && cmplx.Abs(l) < 1 {
				if left := 180 + phase; left < m.PhaseDeg {
					m.PhaseDeg, m.CrossRadS = left, w
					m.DelayS = left * math.Pi / 180 / w
				}
			}
		}
		last = l
	}
	if m.PhaseDeg <= 0 {
		m.Ms = math.Inf(1)
	}
	return m
}
