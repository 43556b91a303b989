package pid

// SIMC gives the series settings for the process
// k exp(-theta s) / ((tau1 s + 1)(tau2 s + 1)) with closed-loop time constant
// tauC. k is in measured units per output unit, times in s; tau2S 0 gives a PI.
// tauCS = thetaS is the tight choice, with Ms near 1.6.
// Source: Skogestad 2003, J. Process Control 13, 291-309 (from memory).
func SIMC(k, tau1S, tau2S, thetaS, tauCS float64) Series {
	return Series{
		Kc:  tau1S / (k * (tauCS + thetaS)),
		TiS: min(tau1S, 4*(tauCS+thetaS)),
		TdS: tau2S,
	}
}

// SIMCIntegrating gives the series settings for k' exp(-theta s) /
// (s (tau2 s + 1)), with kPerS in measured units per output unit and second.
// Source: as SIMC.
func SIMCIntegrating(kPerS, tau2S, thetaS, tauCS float64) Series {
	return Series{
		Kc:  1 / (kPerS * (tauCS + thetaS)),
		TiS: 4 * (tauCS + thetaS),
		TdS: tau2S,
	}
}
