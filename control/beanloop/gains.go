package beanloop

// Gains are the two feedback gains of the loop over the time since charge. The
// time constant of the bean error is shorter while a heavy or cold batch can
// still be caught, then rises to its final value.
type Gains struct {
	EarlyTauCS, LateTauCS float64 // time constant wanted of the bean error, s
	RampFromS, RampToS    float64 // time since charge between the two, s
	// ProbeShare is k2 × tauC: how much of the feedback acts on the probe's own
	// error rather than on the lag-free one.
	ProbeShare float64
}

// DefaultGains returns 15 s early, 30 s from 160 s after charge, and a probe
// share of 0.225: with a probe lag of 30 s the error then has a natural
// frequency of 0.037 rad/s and damping 0.90. Chosen on simulated roasts of 250 g
// and 1 kg; no literature authority. Early on the probe still falls from where
// it was before charge, and with 20 s instead of 15 the share that acts on its
// error brought it 0.6 °C below the curve two minutes after charge.
func DefaultGains() Gains {
	return Gains{EarlyTauCS: 15, LateTauCS: 30, RampFromS: 100, RampToS: 160, ProbeShare: 0.225}
}

// GainsFor returns gains for another machine: the late time constant three
// times the delay left in the path (look ahead, duct, 1.5 scans) but not below
// 0.7 of the probe lag, the early one half of it, and the probe share for
// damping 0.9 and never negative. The rule is judgement; lags of 18 to 42 s and
// time constants of 20 to 80 s were tried in simulation.
func GainsFor(lookS, ductS, scanS, probeTauS float64) Gains {
	g := DefaultGains()
	g.LateTauCS = max(3*(lookS+ductS+1.5*scanS), 0.7*probeTauS)
	g.EarlyTauCS = g.LateTauCS / 2
	sum := (1/probeTauS + 1/g.LateTauCS) / 1.8
	g.ProbeShare = max(probeTauS*sum*sum*g.LateTauCS-1, 0)
	return g
}

// At returns the time constant tauC, s, and the probe gain k2, 1/s, at a time
// since charge.
func (g Gains) At(sinceChargeS float64) (tauCS, k2PerS float64) {
	share := min(max((sinceChargeS-g.RampFromS)/(g.RampToS-g.RampFromS), 0), 1)
	tauCS = g.EarlyTauCS + share*(g.LateTauCS-g.EarlyTauCS)
	return tauCS, g.ProbeShare / tauCS
}
