package tune

import (
	"math"

	"drumwright/control/pid"
)

// Setting is gains by one rule.
type Setting struct {
	Rule  string
	Gains pid.Gains
}

// SIMCPI gives PI gains for a first-order or integrating process by SIMC, with
// closed-loop time constant tauCS; 0 means the dead time, the tight choice.
// A second lag enters by the half rule.
// Source: Skogestad 2003, J. Process Control 13, 291-309 (from memory).
func SIMCPI(p Process, tauCS float64) pid.Gains {
	tau1, theta := p.Tau1S, p.DelayS
	if p.Integrating {
		theta += p.Tau2S
	} else {
		tau1, theta = tau1+p.Tau2S/2, theta+p.Tau2S/2
	}
	return gainsOf(simc(p, tau1, 0, theta, tauCS), 0)
}

// SIMCPID gives PID gains for a process with a second lag, which the derivative
// cancels, with filter N of the series derivative time.
func SIMCPID(p Process, tauCS, n float64) pid.Gains {
	return gainsOf(simc(p, p.Tau1S, p.Tau2S, p.DelayS, tauCS), n)
}

// SIMCDelayPID gives PID gains for a first-order process: the SIMC PI with a
// series derivative of a third of the dead time.
// Source: Grimholt & Skogestad 2018, J. Process Control 70, 36-46 (abstract seen).
func SIMCDelayPID(p Process, tauCS, n float64) pid.Gains {
	s := simc(p, p.Tau1S, 0, p.DelayS, tauCS)
	s.TdS = p.DelayS / 3
	return gainsOf(s, n)
}

func simc(p Process, tau1, tau2, theta, tauCS float64) pid.Series {
	if tauCS == 0 {
		tauCS = theta
	}
	if p.Integrating {
		return pid.SIMCIntegrating(p.Gain, tau2, theta, tauCS)
	}
	return pid.SIMC(p.Gain, tau1, tau2, theta, tauCS)
}

// gainsOf turns series settings into those of the controller. The filter stays
// at the series derivative time over n, and the set point meets the series gain.
func gainsOf(s pid.Series, n float64) pid.Gains {
	kc, ti, td := s.Ideal()
	g := pid.Gains{Kc: kc, TiS: ti, TdS: td, B: s.Kc / kc}
	if td > 0 {
		g.N = math.Max(1, n*td/s.TdS)
	}
	return g
}

// AMIGOPI gives PI gains by the AMIGO step response rule.
// Source: Astrom & Hagglund 2004, J. Process Control 14, 635-650, as quoted in
// public code; the original was not seen.
func AMIGOPI(p Process) pid.Gains {
	l, t := p.Tangent()
	if p.Integrating { // the limit of the rule for an ever longer lag
		return pid.Gains{Kc: 0.35 / (p.Gain * l), TiS: 13.35 * l, B: 1}
	}
	return pid.Gains{
		Kc:  0.15/p.Gain + (0.35-l*t/((l+t)*(l+t)))*t/(p.Gain*l),
		TiS: 0.35*l + 13*l*t*t/(t*t+12*l*t+7*l*l),
		B:   amigoWeight(l, t),
	}
}

// AMIGOPID gives PID gains by the AMIGO step response rule, in standard form.
// Source: as AMIGOPI.
func AMIGOPID(p Process, n float64) pid.Gains {
	l, t := p.Tangent()
	if p.Integrating {
		return pid.Gains{Kc: 0.45 / (p.Gain * l), TiS: 8 * l, TdS: 0.5 * l, N: n, B: 1}
	}
	return pid.Gains{
		Kc:  (0.2 + 0.45*t/l) / p.Gain,
		TiS: (0.4*l + 0.8*t) * l / (l + 0.1*t),
		TdS: 0.5 * l * t / (0.3*l + t),
		N:   n,
		B:   amigoWeight(l, t),
	}
}

func amigoWeight(l, t float64) float64 {
	if l/(l+t) < 0.5 {
		return 0
	}
	return 1
}
