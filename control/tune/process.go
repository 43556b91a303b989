package tune

import (
	"math"
	"math/cmplx"
)

// Process is Gain exp(-DelayS s) / ((Tau1S s + 1)(Tau2S s + 1)), or with
// Integrating Gain exp(-DelayS s) / (s (Tau2S s + 1)).
type Process struct {
	Gain        float64 // measured unit per input unit, such as K/W; integrating: per s of it
	Tau1S       float64 // the longer lag, s; of no meaning if Integrating
	Tau2S       float64 // the shorter lag, s; 0 = none
	DelayS      float64 // dead time, s
	Integrating bool
}

// Response gives the frequency response at w rad/s.
func (p Process) Response(w float64) complex128 {
	s := complex(0, w)
	g := complex(p.Gain, 0) * cmplx.Exp(-s*complex(p.DelayS, 0)) / (1 + complex(p.Tau2S, 0)*s)
	if p.Integrating {
		return g / s
	}
	return g / (1 + complex(p.Tau1S, 0)*s)
}

// Tangent gives the apparent dead time L and lag T that the AMIGO rules ask
// for: the steepest tangent of the step response cuts zero at L, and 63.2 % of
// the way is reached at L + T. For an integrating process T is +Inf.
func (p Process) Tangent() (lS, tS float64) {
	if p.Integrating {
		return p.DelayS + p.Tau2S, math.Inf(1)
	}
	if p.Tau2S <= 0 {
		return p.DelayS, p.Tau1S
	}
	t1, t2 := p.Tau1S, p.Tau2S
	if math.Abs(t1-t2) < 1e-6*t1 {
		t2 = t1 * (1 - 1e-6)
	}
	rise := func(t float64) float64 { return 1 - (t1*math.Exp(-t/t1)-t2*math.Exp(-t/t2))/(t1-t2) }
	steepS := t1 * t2 / (t1 - t2) * math.Log(t1/t2)
	slope := (math.Exp(-steepS/t1) - math.Exp(-steepS/t2)) / (t1 - t2)
	cut := steepS - rise(steepS)/slope
	low, high := 0.0, 10*(t1+t2)
	for range 80 {
		if mid := (low + high) / 2; rise(mid) < 1-math.Exp(-1) {
			low = mid
		} else {
			high = mid
		}
	}
	return p.DelayS + cut, low - cut
}

// state is the process between two changes of its input, for a unit gain.
type state struct{ x1, x2 float64 }

// move lets dt seconds pass with the input at u; exact.
func (p *Process) move(s *state, u, dt float64) {
	if dt <= 0 {
		return
	}
	if p.Integrating {
		if p.Tau2S <= 0 {
			s.x2 += u * dt
			return
		}
		fade := -math.Expm1(-dt / p.Tau2S)
		s.x2 += u*dt + (s.x1-u)*p.Tau2S*fade
		s.x1 += (u - s.x1) * fade
		return
	}
	e1 := math.Exp(-dt / p.Tau1S)
	if p.Tau2S <= 0 {
		s.x1 = u + (s.x1-u)*e1
		s.x2 = s.x1
		return
	}
	e2 := math.Exp(-dt / p.Tau2S)
	var mixed float64
	if d := p.Tau1S - p.Tau2S; math.Abs(d) < 1e-6*p.Tau1S {
		mixed = dt / p.Tau2S * e2
	} else {
		mixed = p.Tau1S / d * (e1 - e2)
	}
	s.x2 = u + (s.x2-u)*e2 + (s.x1-u)*mixed
	s.x1 = u + (s.x1-u)*e1
}
