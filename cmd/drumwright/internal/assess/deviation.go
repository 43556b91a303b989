package assess

import "drumwright/control/plant"

// Deviation is how far the true machine and coffee are from what the
// controller was told. The zero value is the machine as its file says.
type Deviation struct {
	plant.Mismatch
	FlowFrac      float64 // of the true air flow, unseen by the flow meter
	DrumHeatFrac  float64 // of the drum wall's heat exchange with the bed alone
	InletProbeS   float64 // true lag of the inlet probe; 0 = as told
	SkinAtChargeK float64 // skin at charge off what the recipe says
	SpeedExponent float64 // bed conductances with drum speed; the controller takes 0
	BumpC         float64 // sd of bed bumps at the bean probe, correlated over bumpS
	NoiseC        float64 // sd of the probes' noise; 0 = the simulated machine's own
}

const bumpS = 3.0

// of makes the true machine. It has no noise of its own: field adds that, so
// that what a probe would show without noise stays known.
func (d *Deviation) of(p plant.Params) plant.Params {
	p = p.With(d.Mismatch)
	p.SkinBedWPerK *= 1 + d.DrumHeatFrac
	if d.InletProbeS > 0 {
		p.InletProbeS = d.InletProbeS
	}
	p.SpeedExponent = d.SpeedExponent
	p.NoiseC, p.StepC = 0, 0
	return p
}
