package learn

import "drumwright/control/beanloop"

// Dynamics is what is known of the closed bean loop: how the probe answers an
// addition to the wanted rate.
type Dynamics struct {
	Gains     beanloop.Gains
	LookS     float64 // how far behind the wanted rate the bean is
	ProbeTauS float64
}

// response is the answer so far. The loop wants the rate of the curve, so the
// error it is left with obeys a linear law of its own:
//
//	bean' = late - bean/tauC - k2 probe,  probe' = (bean - probe)/tau,
//
// late being the addition through the lag of the air loop.
type response struct {
	lateKPerS, beanK, probeK float64
}

func (r *response) step(d *Dynamics, tS, stepS, rateKPerS float64) {
	tauC, k2 := d.Gains.At(tS)
	r.lateKPerS += stepS / max(d.LookS, stepS) * (rateKPerS - r.lateKPerS)
	bean := r.beanK
	r.beanK += stepS * (r.lateKPerS - r.beanK/tauC - k2*r.probeK)
	r.probeK += stepS / max(d.ProbeTauS, stepS) * (bean - r.probeK)
}
