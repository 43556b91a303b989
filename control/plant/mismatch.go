package plant

// Mismatch is how far the true machine and coffee depart from what a controller
// was told. The zero value changes nothing; a Frac of -0.2 is 20 % less.
type Mismatch struct {
	MassFrac         float64 // of BatchKg
	HeatTransferFrac float64 // of both bed conductances
	ExothermFrac     float64
	DryingFrac       float64
	DryLossFrac      float64
	ProbeLagFrac     float64 // of the bean probe, in bed and in gas
	GasShareAdd      float64
	MoistureWBAdd    float64
	MainsFrac        float64
	AmbientAddK      float64
	SkinHeatCapFrac  float64
}

// With returns the parameters of the true machine.
func (p Params) With(m Mismatch) Params {
	p.BatchKg *= 1 + m.MassFrac
	p.HeatTransfer *= 1 + m.HeatTransferFrac
	p.Kinetics.ExothermFactor *= 1 + m.ExothermFrac
	p.Kinetics.DryingFactor *= 1 + m.DryingFrac
	p.Kinetics.DryLossFactor *= 1 + m.DryLossFrac
	p.BeanProbeS *= 1 + m.ProbeLagFrac
	p.BeanProbeAirS *= 1 + m.ProbeLagFrac
	p.GasShare += m.GasShareAdd
	p.MoistureWB += m.MoistureWBAdd
	p.MainsV *= 1 + m.MainsFrac
	p.AmbientC += m.AmbientAddK
	p.SkinJPerK *= 1 + m.SkinHeatCapFrac
	return p
}
